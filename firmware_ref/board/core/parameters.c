#include "parameters.h"

#include "crc.h"
#include "defects.h"

enum {
    FLAG_ALL_MUST_BE_LOST = 1 << 0,
    FLAG_LATCHING = 1 << 1,
    FLAG_FAULT_INTO_HOLD = 1 << 2,
    FLAG_ENDS_ONLY_LOW = 1 << 3,
    FLAG_CHECK_BEFORE_NORMAL = 1 << 4,
    FLAG_LEAK_WAITS = 1 << 5,
    FLAG_LOSS_WAITS = 1 << 6
};

enum {
    SENSOR_USED = 1 << 0,
    SENSOR_BIASED = 1 << 1,
    SENSOR_FALLING = 1 << 2,
    SENSOR_OPEN_IS_LOST = 1 << 3,
    SENSOR_SHORT_IS_LOST = 1 << 4,
    SENSOR_TROUBLE_IS_LOST = 1 << 5,
    SENSOR_TROUBLE_CLOSED = 1 << 6,
    SENSOR_ON_BUS = 1 << 7
};

enum { OUTPUT_USED = 1 << 0, OUTPUT_FED_BY_CALL = 1 << 1 };

/* Fields stand one behind the other, lowest byte first. */
static uint8_t next_8(const uint8_t **at)
{
    return *(*at)++;
}

static uint16_t next_16(const uint8_t **at)
{
    const uint16_t low = next_8(at);
    return (uint16_t)(low | ((uint16_t)next_8(at) << 8));
}

static uint32_t next_32(const uint8_t **at)
{
    const uint32_t low = next_16(at);
    return low | ((uint32_t)next_16(at) << 16);
}

static void load_sensor(sensor_parameters *s, const uint8_t **at)
{
    const uint8_t flags = next_8(at);
    s->used = (flags & SENSOR_USED) != 0;
    s->biased = (flags & SENSOR_BIASED) != 0;
    s->falling = (flags & SENSOR_FALLING) != 0;
    s->open_is_lost = (flags & SENSOR_OPEN_IS_LOST) != 0;
    s->short_is_lost = (flags & SENSOR_SHORT_IS_LOST) != 0;
    s->trouble_is_lost = (flags & SENSOR_TROUBLE_IS_LOST) != 0;
    s->trouble_closed = (flags & SENSOR_TROUBLE_CLOSED) != 0;
    s->on_bus = (flags & SENSOR_ON_BUS) != 0;
    s->trip_mv = next_16(at);
    s->clear_mv = next_16(at);
    s->short_below_mv = next_16(at);
    s->open_above_mv = next_16(at);
    if (HAS(trip_level_high)) { s->trip_mv = (uint16_t)(s->trip_mv + s->trip_mv / 10u); }
    if (HAS(trip_level_from_clear)) { s->trip_mv = s->clear_mv; }
    if (HAS(clear_level_high)) { s->clear_mv = (uint16_t)(s->clear_mv + s->clear_mv / 7u); }
    if (HAS(hysteresis_missing)) { s->clear_mv = s->trip_mv; }
    if (HAS(range_unchecked)) {
        s->short_below_mv = 20u;
        s->open_above_mv = 4980u;
    }
    if (HAS(trouble_ignored)) { s->trouble_is_lost = false; }
}

static void load_bus(bus_parameters *b, const uint8_t **at)
{
    b->sensor = next_8(at);
    b->address = next_8(at);
    b->rate = next_8(at);
    b->parity = next_8(at);
    b->function = next_8(at);
    b->lost_by = next_8(at);
    b->concentration = next_16(at);
    b->status = next_16(at);
    b->lost_bits = next_16(at);
    b->period_ms = next_16(at);
    b->patience_ms = next_16(at);
}

static void load_output(output_parameters *o, const uint8_t **at)
{
    const uint8_t flags = next_8(at);
    o->used = (flags & OUTPUT_USED) != 0;
    o->fed_by_call = (flags & OUTPUT_FED_BY_CALL) != 0;
    o->call = next_8(at);
    for (uint8_t mode = 0; mode < MODES; mode++) {
        o->policy[mode] = next_8(at);
    }
    o->follow_on_ms = next_32(at);
    o->follow_off_ms = next_32(at);
    o->react_on_ms = next_32(at);
    o->react_off_ms = next_32(at);
    o->trip_more_ms = next_32(at);
    o->loss_more_ms = next_32(at);
    o->restart_after = next_8(at);
    o->restart_ms = next_32(at);
}

static void load_button(button_parameters *b, const uint8_t **at)
{
    b->settle_ms = next_16(at);
    b->window_ms = 0;
    for (uint8_t ask = 0; ask < ASKS; ask++) {
        gesture_parameters *g = &b->gesture[ask];
        g->presses = next_8(at);
        g->ms = next_16(at);
        if (g->presses > 0u && g->ms > b->window_ms) {
            b->window_ms = g->ms;
        }
    }
}

bool parameters_load(parameters *p, const uint8_t image[IMAGE_BYTES])
{
    const uint8_t *at = image;
    const uint8_t *check = image + IMAGE_BYTES - 2;
    if (next_8(&at) != IMAGE_VERSION || next_16(&check) != crc16(image, IMAGE_BYTES - 2)) {
        return false;
    }
    const uint8_t flags = next_8(&at);
    p->all_must_be_lost = (flags & FLAG_ALL_MUST_BE_LOST) != 0;
    p->latching = (flags & FLAG_LATCHING) != 0;
    p->fault_into_hold = (flags & FLAG_FAULT_INTO_HOLD) != 0;
    p->ends_only_low = (flags & FLAG_ENDS_ONLY_LOW) != 0;
    p->check_before_normal = (flags & FLAG_CHECK_BEFORE_NORMAL) != 0;
    p->leak_waits = (flags & FLAG_LEAK_WAITS) != 0;
    p->loss_waits = (flags & FLAG_LOSS_WAITS) != 0;
    p->on_band = (band_rule)next_8(&at);
    p->when_lost = (lost_rule)next_8(&at);
    p->after_cut = (cut_rule)next_8(&at);
    p->boot_ms = next_32(&at);
    p->warm_up_ms = next_32(&at);
    p->trip_ms = next_32(&at);
    p->clear_ms = next_32(&at);
    p->hold_ms = next_32(&at);
    p->loss_ms = next_32(&at);
    p->return_ms = next_32(&at);
    p->ride_through_ms = next_32(&at);
    p->reset_ms = next_32(&at);
    p->self_test_ms = next_32(&at);
    for (uint8_t i = 0; i < SENSORS; i++) {
        load_sensor(&p->sensor[i], &at);
    }
    load_bus(&p->bus, &at);
    for (uint8_t i = 0; i < OUTPUTS; i++) {
        load_output(&p->output[i], &at);
    }
    for (uint8_t mode = 0; mode < MODES; mode++) {
        p->code[mode] = next_8(&at);
    }
    p->flash_ms = next_16(&at);
    p->gap_ms = next_16(&at);
    p->pause_ms = next_16(&at);
    load_button(&p->button, &at);
    if (HAS(light_codes_swapped)) {
        const uint8_t leak = p->code[MODE_LEAK_ACTIVE];
        p->code[MODE_LEAK_ACTIVE] = p->code[MODE_POST_LEAK_HOLD];
        p->code[MODE_POST_LEAK_HOLD] = leak;
    }
    if (HAS(second_sensor_ignored)) { p->sensor[1].used = false; }
    if (HAS(hold_16_bit)) { p->hold_ms = (uint16_t)p->hold_ms; }
    if (HAS(hold_factor)) { p->hold_ms = p->hold_ms / 60u * 50u; }
    if (HAS(clear_slow)) { p->clear_ms *= 6u; }
    if (HAS(boot_long)) { p->boot_ms *= 3u; }
    if (HAS(band_ignored)) { p->on_band = BAND_CONTINUE; }
    if (HAS(return_ignored)) { p->latching = true; }
    if (HAS(latch_missing)) { p->latching = false; }
    if (HAS(dip_reboots)) { p->ride_through_ms = 13u; }
    return true;
}
