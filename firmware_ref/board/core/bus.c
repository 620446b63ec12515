#include "bus.h"

#include "defects.h"

enum { HEAD = 3, CHECK = 2, EXCEPTION = 0x80, FIRST_MS = 20 };
/* 3.5 characters of 11 bits, by rate; 1.75 ms above 19200 baud; in whole ticks, and one more since they do not fall
 * together. */
static const uint8_t silences_ms[] = {18, 10, 6, 4, 3};

static uint16_t crc_with(uint16_t crc, uint8_t byte)
{
    crc ^= byte;
    for (uint8_t i = 0; i < 8; i++) {
        crc = (uint16_t)((crc & 1u) != 0u ? (crc >> 1) ^ 0xA001u : crc >> 1);
    }
    return crc;
}

static uint16_t first_register(const bus_parameters *p)
{
    return p->status < p->concentration ? p->status : p->concentration;
}

static uint8_t registers(const bus_parameters *p)
{
    const uint16_t last = p->status < p->concentration ? p->concentration : p->status;
    return (uint8_t)(last - first_register(p) + 1u);
}

void bus_start(bus_client *b, const bus_parameters *p)
{
    *b = (bus_client){.reading = READING_NONE, .silence_ms = silences_ms[p->rate]};
    const uint16_t first = first_register(p);
    const uint8_t body[BUS_QUESTION - CHECK] = {
        p->address, p->function, (uint8_t)(first >> 8), (uint8_t)first, 0, registers(p)};
    uint16_t crc = 0xFFFFu;
    for (uint8_t i = 0; i < sizeof body; i++) {
        b->question[i] = body[i];
        crc = crc_with(crc, body[i]);
    }
    b->question[sizeof body] = (uint8_t)crc;
    b->question[sizeof body + 1u] = (uint8_t)(crc >> 8);
    b->since_ms = (uint16_t)(p->period_ms - FIRST_MS);
}

static uint16_t register_at(const bus_client *b, uint16_t number, const bus_parameters *p)
{
    const uint8_t *at = b->answer + HEAD + 2u * (uint16_t)(number - first_register(p));
    if (HAS(bus_bytes_swapped) && number == p->concentration) { return (uint16_t)(at[1] << 8 | at[0]); }
    return (uint16_t)(at[0] << 8 | at[1]);
}

static void lose(bus_client *b, const bus_parameters *p, uint8_t way)
{
    if ((p->lost_by & way) != 0u) {
        b->reading = READING_LOST;
    }
}

/* What the answer says, if it is one. */
static void take(bus_client *b, const bus_parameters *p)
{
    const uint16_t length = (uint16_t)(HEAD + 2u * registers(p) + CHECK);
    const bool sound = b->count > HEAD && !b->damaged && b->answer[0] == p->address &&
                       (b->crc == 0u || HAS(bus_crc_ignored));
    if (!sound) {
        lose(b, p, LOST_BY_CRC);
    } else if (b->answer[1] == (p->function | EXCEPTION)) {
        if (!HAS(bus_exception_ignored)) { lose(b, p, LOST_BY_EXCEPTION); }
    } else if (b->answer[1] != p->function || b->count != length) {
        lose(b, p, LOST_BY_CRC);
    } else if (p->status != p->concentration && (register_at(b, p->status, p) & p->lost_bits) != 0u &&
               !HAS(bus_fault_ignored)) {
        b->reading = READING_LOST;
    } else {
        b->reading = READING_VALUE;
        b->concentration = register_at(b, p->concentration, p);
        if (HAS(bus_scale_wrong)) { b->concentration /= 10u; }
    }
}

static void hear(bus_client *b, const uint8_t *bytes, uint8_t count, bool damaged)
{
    b->quiet_ms = count > 0u ? 0u : (uint8_t)(b->quiet_ms < UINT8_MAX ? b->quiet_ms + 1u : b->quiet_ms);
    if (!b->waiting) {
        return; /* nobody was asked */
    }
    b->damaged |= damaged;
    for (uint8_t i = 0; i < count; i++) {
        if (b->count < BUS_ANSWER_MOST) {
            b->answer[b->count++] = bytes[i];
            b->crc = crc_with(b->crc, bytes[i]);
        } else {
            b->damaged = true;
        }
    }
}

bool bus_tick(bus_client *b, const bus_parameters *p, const uint8_t *bytes, uint8_t count, bool damaged)
{
    hear(b, bytes, count, damaged);
    if (b->since_ms < UINT16_MAX) {
        b->since_ms++;
    }
    if (HAS(bus_silence_ignored) && b->waiting && b->count == HEAD + 2u * registers(p) + CHECK) {
        take(b, p);
        b->since_ms = p->period_ms;
        b->waiting = false;
        b->quiet_ms = b->silence_ms;
    }
    if (b->waiting && b->count > 0u && b->quiet_ms >= b->silence_ms) {
        take(b, p);
        b->waiting = false;
    } else if (b->waiting && b->count == 0u && b->since_ms >= p->patience_ms) {
        lose(b, p, LOST_BY_SILENCE);
        b->waiting = false;
    }
    if (b->waiting || b->since_ms < p->period_ms || b->quiet_ms < b->silence_ms) {
        return false;
    }
    b->waiting = true;
    b->damaged = false;
    b->count = b->since_ms = 0;
    b->crc = 0xFFFFu;
    return true;
}
