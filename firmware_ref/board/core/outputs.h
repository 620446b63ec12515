/* The relays: policy of the mode, calls, delays, anti-short-cycle. */
#ifndef BOARD_OUTPUTS_H
#define BOARD_OUTPUTS_H

#include <stdbool.h>
#include <stdint.h>

#include "logic.h"
#include "mains.h"
#include "parameters.h"

typedef struct {
    bool drive;  /* the relay is fed */
    bool wanted; /* where it is to be, from due_ms on */
    uint32_t due_ms;
    uint32_t moved_ms; /* when its drive changed last */
    bool resting; /* anti-short-cycle runs since rest_ms */
    uint32_t rest_ms;
    uint32_t seen_ms; /* the change of the call that was answered last */
} output_state;

typedef struct {
    output_state output[OUTPUTS];
    uint32_t mode_ms; /* when the present mode began */
    bool busy;        /* something is yet to move, or to be kept off */
} outputs_state;

/* All off. */
void outputs_start(outputs_state *o, uint32_t now_ms);

/* To be called when the mode or a call has changed, and every millisecond while `busy`. */
void outputs_tick(outputs_state *o, const parameters *p, board_mode mode, const mode_move *move,
                  const mains_input calls[CALLS], uint32_t now_ms);

#endif
