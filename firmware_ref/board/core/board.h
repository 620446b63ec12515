/* The board: inputs in, outputs out, once a millisecond.  No registers, no allocation, no clock of its own.
 *
 * A port (avr/, host/) samples the inputs, calls `board_tick` and carries out
 * what comes back; README.md says what each line means electrically. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "bus.h"
#include "button.h"
#include "logic.h"
#include "mains.h"
#include "memory.h"
#include "outputs.h"
#include "panel.h"
#include "parameters.h"
#include "sensor.h"

typedef struct {
    uint8_t calls;      /* bit n: the opto of call n conducts in this millisecond */
    bool supply;        /* so does that of the supply */
    bool button;        /* the contact is closed */
    uint16_t sensor_mv[SENSORS]; /* at the terminals */
    uint8_t troubles;   /* bit n: the trouble contact of sensor n is closed */
    uint8_t bus[BUS_TICK_BYTES]; /* what came over the bus since the tick before */
    uint8_t bus_count;
    bool bus_damaged;   /* one of them was not whole, or some were lost */
    bool store_ready;   /* the EEPROM can take a byte */
} board_inputs;

typedef struct {
    uint8_t relays; /* bit n: drive of output n, in the order of the parameter table */
    uint8_t alarms; /* bit 0: drive of the relay that closes, bit 1: of the one that opens */
    bool light;
    uint8_t bias;   /* bit n: feed the divider of sensor n, a contact */
    bool bus_asks;  /* send the question, `bus.question` of the board */
    bool alive;     /* feed the watchdog */
    bool store;     /* write `store_value` at `store_address` of the record store */
    uint8_t store_address, store_value;
} board_outputs;

/* Why the controller starts. */
typedef enum {
    START_EMPTY,  /* its supply was gone altogether: power-on, brown-out */
    START_RUNNING /* it was reset while it had supply: watchdog, reset pin */
} start_cause;

typedef enum { POWER_BOOTING, POWER_RUNNING, POWER_DOWN } power_state;

typedef struct {
    bool usable; /* the parameter image was good */
    power_state power;
    uint32_t now_ms;
    uint32_t supply_ms; /* when the supply came, or (down) went */
    uint8_t watched; /* calls up to here are followed by an output */
    mains_input calls[CALLS];
    mains_input supply;
    sensor_state sensor;
    bus_client bus;
    uint8_t bias;
    logic_state logic;
    outputs_state outputs;
    uint8_t relays; /* their drives, as lines */
    button_state button;
    panel_state panel;
    memory_state memory;
    parameters parameters;
} board;

/* `image`: the parameter table; `store`: the record store. */
void board_start(board *b, const uint8_t image[IMAGE_BYTES], const uint8_t store[STORE_BYTES], start_cause cause);

void board_tick(board *b, const board_inputs *in, board_outputs *out);

/* What the board is doing; for tests, and for nothing else. */
board_mode board_shows(const board *b);

#endif
