#include "memory.h"

#include <stddef.h>

#include "crc.h"
#include "defects.h"

enum { KEPT_MASK = 0x03, LATCHED = 0x04, DOWN = 0x08, FAULT_SHIFT = 4 };

/* Slot: sequence, what (kept, latched, down, last fault), 4 bytes of hold left, a spare byte, 2 bytes of check. */
enum { AT_SEQUENCE = 0, AT_WHAT = 1, AT_LEFT = 2, AT_SPARE = 6, AT_CHECK = 7 };

static uint8_t *slot_at(memory_state *m, uint8_t slot)
{
    return m->image + (size_t)slot * SLOT_STRIDE;
}

static uint16_t check_of(const uint8_t *slot)
{
    return (uint16_t)(slot[AT_CHECK] | ((uint16_t)slot[AT_CHECK + 1] << 8));
}

static bool sound(const uint8_t *slot)
{
    return check_of(slot) == crc16(slot, AT_CHECK) || (HAS(torn_record) && slot[AT_WHAT] != 0xFFu);
}

static void pack(uint8_t *slot, uint8_t sequence, const memory_record *r)
{
    slot[AT_SEQUENCE] = sequence;
    slot[AT_WHAT] = (uint8_t)((uint8_t)r->kept | (r->latched ? LATCHED : 0) | (r->down ? DOWN : 0) |
                              (uint8_t)((uint8_t)r->last_fault << FAULT_SHIFT));
    for (uint8_t i = 0; i < 4u; i++) {
        slot[AT_LEFT + i] = (uint8_t)(r->hold_left_ms >> (8u * i));
    }
    slot[AT_SPARE] = 0;
    const uint16_t check = crc16(slot, AT_CHECK);
    slot[AT_CHECK] = (uint8_t)check;
    slot[AT_CHECK + 1] = (uint8_t)(check >> 8);
}

static memory_record unpack(const uint8_t *slot)
{
    memory_record r = {
        .kept = (memory_kept)(slot[AT_WHAT] & KEPT_MASK),
        .latched = (slot[AT_WHAT] & LATCHED) != 0,
        .down = (slot[AT_WHAT] & DOWN) != 0,
        .last_fault = (memory_fault)(slot[AT_WHAT] >> FAULT_SHIFT),
    };
    for (uint8_t i = 0; i < 4u; i++) {
        r.hold_left_ms |= (uint32_t)slot[AT_LEFT + i] << (8u * i);
    }
    return r;
}

static bool same(const memory_record *a, const memory_record *b)
{
    return a->kept == b->kept && a->hold_left_ms == b->hold_left_ms && a->latched == b->latched &&
           a->down == b->down && a->last_fault == b->last_fault;
}

void memory_start(memory_state *m, const uint8_t store[STORE_BYTES])
{
    *m = (memory_state){.slot = 1, .written = SLOT_BYTES};
    for (uint8_t i = 0; i < STORE_BYTES; i++) {
        m->image[i] = store[i];
    }
    bool found = false;
    for (uint8_t slot = 0; slot < SLOTS; slot++) {
        const uint8_t *at = slot_at(m, slot);
        const uint8_t newer = (uint8_t)(at[AT_SEQUENCE] - m->sequence);
        if (sound(at) && (!found || newer < 0x80u)) {
            found = true;
            m->sequence = at[AT_SEQUENCE];
            m->slot = slot;
            m->saved = unpack(at);
        }
    }
}

static void begin(memory_state *m)
{
    m->slot = (uint8_t)(1u - m->slot);
    m->sequence++;
    m->written = 0;
    m->again = false;
    pack(slot_at(m, m->slot), m->sequence, &m->saved);
}

void memory_save(memory_state *m, const memory_record *record)
{
    if (same(&m->saved, record)) {
        return;
    }
    if (HAS(memory_not_erased) && record->kept == KEPT_NOTHING) { return; }
    m->saved = *record;
    if (m->written < SLOT_BYTES) {
        m->again = true;
    } else {
        begin(m);
    }
}

bool memory_next(memory_state *m, uint8_t *address, uint8_t *value)
{
    if (m->written == SLOT_BYTES) {
        if (!m->again) {
            return false;
        }
        begin(m);
    }
    *address = (uint8_t)(m->slot * SLOT_STRIDE + m->written);
    *value = m->image[*address];
    m->written++;
    return true;
}
