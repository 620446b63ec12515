/* The refrigerant sensor: its signal into a condition, and for how long the condition has held. */
#ifndef BOARD_SENSOR_H
#define BOARD_SENSOR_H

#include <stdbool.h>
#include <stdint.h>

#include "parameters.h"

typedef enum { SENSOR_LOW, SENSOR_BETWEEN, SENSOR_HIGH, SENSOR_LOST } sensor_condition;

/* The mean of so many samples is judged; so many out of range, one after the other, are a loss. */
enum { SENSOR_SAMPLES = 8, SENSOR_OUT = 4 };

typedef struct {
    uint16_t sample_mv[SENSOR_SAMPLES];
    uint16_t sum_mv;
    uint8_t place;
    uint8_t out; /* samples out of range */
    bool begun;
    sensor_condition condition;
    /* Without a break, in ms; `good` is anything but lost. */
    uint32_t high_ms, lost_ms, good_ms;
} sensor_state;

/* What a 10-bit reading against 5 V stands for: the middle of its step. */
uint16_t sensor_millivolts(uint16_t code);

void sensor_start(sensor_state *s);

/* One sample, once a millisecond. */
void sensor_sample(sensor_state *s, const parameters *p, uint16_t millivolts);

#endif
