/* The modes of the board and what leads from one to another. */
#ifndef BOARD_LOGIC_H
#define BOARD_LOGIC_H

#include <stdbool.h>
#include <stdint.h>

#include "memory.h"
#include "parameters.h"
#include "sensor.h"

/* From when on an output has to answer a change of mode. */
typedef enum { MOVE_NONE, MOVE_TRIP, MOVE_LOSS, MOVE_REACT } move_kind;

typedef struct {
    move_kind kind;
    uint8_t events;    /* AFTER_…: what an anti-short-cycle delay may run after … */
    uint32_t since_ms; /* … and from when */
} mode_move;

typedef struct {
    board_mode mode;
    bool lost_noticed; /* while mitigating: the loss has qualified, the return has not */
    bool latched;      /* a fault that only the reset takes away, whatever the mode is */
    bool waits_for_low; /* the hold stands until the sensor is low again */
    uint32_t low_ms;   /* how long the clear has been qualifying */
    uint32_t hold_left_ms;
    uint32_t tripped_ms;
    uint32_t test_left_ms;
    memory_fault last_fault;
} logic_state;

/* What `remembered` and the profile's rule make of a boot; `supply_ms`: when the supply came. */
mode_move logic_boot(logic_state *l, const parameters *p, const memory_record *remembered, uint32_t supply_ms);

/* One millisecond; `up_ms`: since the supply came. */
mode_move logic_tick(logic_state *l, const parameters *p, const sensor_state *s, uint32_t up_ms, uint32_t now_ms);

/* What the service button asks for, where the mode has an answer to it. */
mode_move logic_ask(logic_state *l, const parameters *p, const sensor_state *s, button_ask ask, uint32_t now_ms);

/* What is to be kept now. */
memory_record logic_record(const logic_state *l, const parameters *p);

#endif
