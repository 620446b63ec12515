/* The refrigerant sensors: their signals into one condition, and for how long it has held. */
#ifndef BOARD_SENSOR_H
#define BOARD_SENSOR_H

#include <stdbool.h>
#include <stdint.h>

#include "bus.h"
#include "parameters.h"

typedef enum { SENSOR_LOW, SENSOR_BETWEEN, SENSOR_HIGH, SENSOR_LOST } sensor_condition;

/* The mean of so many samples is judged; so many out of range, one after the other, are a loss. */
enum { SENSOR_SAMPLES = 8, SENSOR_OUT = 4 };

/* One of them. */
typedef struct {
    uint16_t sample_mv[SENSOR_SAMPLES];
    uint16_t sum_mv;
    uint8_t place;
    uint8_t out;     /* samples out of range */
    uint8_t trouble; /* samples with the trouble contact in its place for trouble */
    bool begun;
    sensor_condition condition;
} sensor_input;

/* All together: a leak of one is a leak, whatever the others say; low only if all are. */
typedef struct {
    sensor_input input[SENSORS];
    sensor_condition condition;
    /* Without a break, in ms; `good`: none of them is lost. */
    uint32_t high_ms, lost_ms, good_ms;
} sensor_state;

/* What a 10-bit reading against 5 V stands for: the middle of its step. */
uint16_t sensor_millivolts(uint16_t code);

void sensor_start(sensor_state *s);

/* One sample of each, once a millisecond.  `troubles`: bit n: the trouble contact of sensor n is closed; `bus`: what
 * is known of the one that is on it. */
void sensor_sample(sensor_state *s, const parameters *p, const uint16_t millivolts[SENSORS], uint8_t troubles,
                   const bus_client *bus);

#endif
