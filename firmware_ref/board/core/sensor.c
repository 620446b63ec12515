#include "sensor.h"

#include "defects.h"

void sensor_start(sensor_state *s)
{
    *s = (sensor_state){.condition = SENSOR_BETWEEN};
    for (uint8_t i = 0; i < SENSORS; i++) {
        s->input[i].condition = SENSOR_BETWEEN;
    }
}

uint16_t sensor_millivolts(uint16_t code)
{
    return (uint16_t)((code * 5000uL + 2500uL) / 1024uL);
}

static bool out_of_range(const sensor_parameters *p, uint16_t mv)
{
    return (p->short_is_lost && mv < p->short_below_mv && !HAS(short_unseen)) ||
           (p->open_is_lost && mv > p->open_above_mv && !HAS(open_taken_for_gas));
}

static uint16_t smooth(sensor_input *s, uint16_t millivolts)
{
    if (!s->begun) {
        s->begun = true;
        for (uint8_t i = 0; i < SENSOR_SAMPLES; i++) {
            s->sample_mv[i] = millivolts;
        }
        s->sum_mv = (uint16_t)(millivolts * SENSOR_SAMPLES);
    }
    s->sum_mv = (uint16_t)(s->sum_mv - s->sample_mv[s->place] + millivolts);
    s->sample_mv[s->place] = millivolts;
    s->place = (uint8_t)((s->place + 1u) % SENSOR_SAMPLES);
    return s->sum_mv / SENSOR_SAMPLES;
}

static sensor_condition judge(const sensor_parameters *p, uint16_t mv)
{
    if (p->falling) {
        return mv <= p->trip_mv ? SENSOR_HIGH : mv > p->clear_mv ? SENSOR_LOW : SENSOR_BETWEEN;
    }
    return mv >= p->trip_mv ? SENSOR_HIGH : mv < p->clear_mv ? SENSOR_LOW : SENSOR_BETWEEN;
}

/* Samples out of range never get into the mean: on its way into a loss or out of it, or from one end of the range to
 * the other, a signal would seem to cross every level. */
static void look_at_signal(sensor_input *s, const sensor_parameters *p, uint16_t millivolts)
{
    if (!out_of_range(p, millivolts)) {
        s->out = 0;
        s->condition = judge(p, smooth(s, millivolts));
    } else if (!HAS(loss_ignored) && ++s->out >= SENSOR_OUT) {
        s->out = SENSOR_OUT;
        s->begun = false;
        s->condition = SENSOR_LOST;
    }
}

/* A sensor that says that it is in trouble is lost, whatever its leak contact says meanwhile. */
static void look(sensor_input *s, const sensor_parameters *p, uint16_t millivolts, bool trouble_closed)
{
    const bool trouble = p->trouble_is_lost && trouble_closed == p->trouble_closed;
    if (!trouble) {
        s->trouble = 0;
        look_at_signal(s, p, millivolts);
    } else if (++s->trouble >= SENSOR_OUT) {
        s->trouble = SENSOR_OUT;
        s->begun = false;
        s->condition = SENSOR_LOST;
    }
}

/* Until the first answer it is as after a start. */
static void look_at_bus(sensor_input *s, const sensor_parameters *p, const bus_client *bus)
{
    if (bus->reading == READING_VALUE) {
        s->condition = judge(p, bus->concentration);
    } else if (bus->reading == READING_LOST && !HAS(loss_ignored)) {
        s->condition = SENSOR_LOST;
    }
}

static sensor_condition together(const sensor_state *s, const parameters *p, bool *any_lost)
{
    bool high = false, all_low = true, all_lost = true;
    *any_lost = false;
    for (uint8_t i = 0; i < SENSORS; i++) {
        if (p->sensor[i].used) {
            const sensor_condition one = s->input[i].condition;
            high |= one == SENSOR_HIGH;
            all_low &= one == SENSOR_LOW;
            all_lost &= one == SENSOR_LOST;
            *any_lost |= one == SENSOR_LOST;
        }
    }
    if (high) {
        return SENSOR_HIGH;
    }
    if (p->all_must_be_lost ? all_lost : *any_lost) {
        return SENSOR_LOST;
    }
    return all_low ? SENSOR_LOW : SENSOR_BETWEEN;
}

/* A condition that is broken starts from nothing when it comes again. */
static void count(uint32_t *held_ms, bool holds)
{
    if (!holds) {
        *held_ms = 0;
    } else if (*held_ms < UINT32_MAX) {
        (*held_ms)++;
    }
}

void sensor_sample(sensor_state *s, const parameters *p, const uint16_t millivolts[SENSORS], uint8_t troubles,
                   const bus_client *bus)
{
    bool any_lost;
    for (uint8_t i = 0; i < SENSORS; i++, troubles >>= 1) {
        if (p->sensor[i].on_bus) {
            look_at_bus(&s->input[i], &p->sensor[i], bus);
        } else if (p->sensor[i].used) {
            look(&s->input[i], &p->sensor[i], millivolts[i], (troubles & 1u) != 0u);
        }
    }
    s->condition = together(s, p, &any_lost);
    const bool high = s->condition == SENSOR_HIGH;
    if (!(HAS(trip_accumulates) && !high && s->high_ms < p->trip_ms)) { count(&s->high_ms, high); }
    count(&s->lost_ms, s->condition == SENSOR_LOST);
    count(&s->good_ms, !any_lost);
}
