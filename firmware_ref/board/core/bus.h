/* A refrigerant sensor on a Modbus RTU bus: this board is the client that asks it.
 *
 * A port sends the question when it is told to, and hands over the bytes that came since the tick before; the
 * silences of the line are counted in ticks. */
#ifndef BOARD_BUS_H
#define BOARD_BUS_H

#include <stdbool.h>
#include <stdint.h>

#include "parameters.h"

enum { BUS_QUESTION = 8, BUS_ANSWER_MOST = 255, BUS_TICK_BYTES = 8 };

typedef enum { READING_NONE, READING_VALUE, READING_LOST } bus_reading;

typedef struct {
    uint8_t question[BUS_QUESTION];
    uint8_t answer[BUS_ANSWER_MOST];
    uint16_t count;      /* bytes of the answer so far */
    uint16_t crc;        /* of them */
    uint16_t since_ms;   /* the question */
    uint8_t quiet_ms;    /* without a byte */
    uint8_t silence_ms;  /* that end a frame */
    bool waiting;        /* for an answer */
    bool damaged;        /* a byte of it */
    bus_reading reading;
    uint16_t concentration;
} bus_client;

/* The supply has come: nothing is known of the sensor. */
void bus_start(bus_client *b, const bus_parameters *p);

/* One millisecond.  True: send the question now. */
bool bus_tick(bus_client *b, const bus_parameters *p, const uint8_t *bytes, uint8_t count, bool damaged);

#endif
