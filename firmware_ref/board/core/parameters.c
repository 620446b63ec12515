#include "parameters.h"

#include "crc.h"
#include "defects.h"

enum {
    FLAG_BIASED = 1 << 0,
    FLAG_FALLING = 1 << 1,
    FLAG_OPEN_IS_LOST = 1 << 2,
    FLAG_SHORT_IS_LOST = 1 << 3,
    FLAG_LATCHING = 1 << 4,
    FLAG_FAULT_INTO_HOLD = 1 << 5,
    FLAG_ENDS_ONLY_LOW = 1 << 6,
    FLAG_CHECK_BEFORE_NORMAL = 1 << 7
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

bool parameters_load(parameters *p, const uint8_t image[IMAGE_BYTES])
{
    const uint8_t *at = image;
    const uint8_t *check = image + IMAGE_BYTES - 2;
    if (next_8(&at) != IMAGE_VERSION || next_16(&check) != crc16(image, IMAGE_BYTES - 2)) {
        return false;
    }
    const uint8_t flags = next_8(&at);
    p->biased = (flags & FLAG_BIASED) != 0;
    p->falling = (flags & FLAG_FALLING) != 0;
    p->open_is_lost = (flags & FLAG_OPEN_IS_LOST) != 0;
    p->short_is_lost = (flags & FLAG_SHORT_IS_LOST) != 0;
    p->latching = (flags & FLAG_LATCHING) != 0;
    p->fault_into_hold = (flags & FLAG_FAULT_INTO_HOLD) != 0;
    p->ends_only_low = (flags & FLAG_ENDS_ONLY_LOW) != 0;
    p->check_before_normal = (flags & FLAG_CHECK_BEFORE_NORMAL) != 0;
    p->on_band = (band_rule)next_8(&at);
    p->when_lost = (lost_rule)next_8(&at);
    p->after_cut = (cut_rule)next_8(&at);
    p->trip_mv = next_16(&at);
    p->clear_mv = next_16(&at);
    p->short_below_mv = next_16(&at);
    p->open_above_mv = next_16(&at);
    p->boot_ms = next_32(&at);
    p->warm_up_ms = next_32(&at);
    p->trip_ms = next_32(&at);
    p->clear_ms = next_32(&at);
    p->hold_ms = next_32(&at);
    p->loss_ms = next_32(&at);
    p->return_ms = next_32(&at);
    p->ride_through_ms = next_32(&at);
    p->reset_ms = next_32(&at);
    for (uint8_t i = 0; i < OUTPUTS; i++) {
        load_output(&p->output[i], &at);
    }
    if (HAS(trip_level_high)) { p->trip_mv = (uint16_t)(p->trip_mv + p->trip_mv / 10u); }
    if (HAS(trip_level_from_clear)) { p->trip_mv = p->clear_mv; }
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
