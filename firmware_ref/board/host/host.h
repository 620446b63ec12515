/* Host port: the core in virtual time, with the parts around it that a bench can tell apart.
 *
 * Times are microseconds since the port was made.  Inputs come in order of
 * time.  Relays have their operate and release time and bounce; optos follow
 * the half cycles; the converter has its step and its noise; the EEPROM takes
 * its time for a byte; the watchdog bites; the electronics live on their
 * capacitor for a while.  What varies from board to board comes from the seed. */
#ifndef BOARD_HOST_H
#define BOARD_HOST_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

#define API __attribute__((visibility("default")))

/* Terminals: 0…7 the relays in the order of the parameter table, then alarm.no, alarm.nc and the light. */
enum { TERMINALS = OUTPUTS + 1, LIGHT = OUTPUTS };

typedef struct host host;

typedef struct {
    int64_t at_us;
    int32_t terminal;
    int32_t on;
} host_change;

/* Wired as the image says: each relay switches its call or R.  NULL: no memory. */
API host *host_new(const uint8_t image[IMAGE_BYTES], uint32_t frequency_hz, uint32_t seed);
/* A build with all defects: which one its boards have from now on, in the order of defects.csv; 0: none. */
API void host_defect(int32_t number);
API void host_free(host *h);

API void host_supply(host *h, bool on, int64_t at_us);
API void host_call(host *h, uint32_t call, bool on, int64_t at_us);
API void host_sensor(host *h, uint32_t sensor, uint32_t millivolts, int64_t at_us);
API void host_trouble(host *h, uint32_t sensor, bool closed, int64_t at_us);
/* A byte of the Modbus sensor's answer, over at `at_us`. */
API void host_bus(host *h, uint8_t byte, int64_t at_us);
/* Whether the board has begun to ask, at `at_us`, and nobody has taken it yet: at most the last question is kept. */
API bool host_asks(host *h, uint8_t question[BUS_QUESTION], int64_t *at_us);
API void host_button(host *h, bool pressed, int64_t at_us);
API void host_advance(host *h, int64_t to_us);

/* The oldest change at a terminal not yet taken; false: none. */
API bool host_take(host *h, host_change *change);
/* When a terminal changes if no input does, or a moment before that; to be asked again then. */
API int64_t host_next(const host *h);

/* For tests: a reset of the running controller, its record store, its mode and light, a supply that fails in the
 * middle of the n-th byte from now that is written to the store (the byte is left erased). */
API void host_reset(host *h);
API void host_store(const host *h, uint8_t store[STORE_BYTES]);
API void host_put_store(host *h, const uint8_t store[STORE_BYTES]);
API int32_t host_mode(const host *h);
API bool host_light(const host *h);
API bool host_alive(const host *h);
API void host_tear(host *h, uint32_t byte);
API uint32_t host_resets(const host *h);

#endif
