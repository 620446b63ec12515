/* The light and the button.  Gestures are invented for this board.
 *
 * Light: the parameters' code for each mode.  A group is a pause and then its
 * flashes; a group that has begun is finished before another code begins.
 * Button: two presses within 3 s show the last stored fault once, a press of
 * 8 s clears it. */
#ifndef BOARD_PANEL_H
#define BOARD_PANEL_H

#include <stdbool.h>
#include <stdint.h>

#include "logic.h"

typedef struct {
    bool pressed;       /* debounced */
    uint8_t settle_ms;  /* how long the contact has read otherwise */
    uint16_t held_ms;
    uint8_t presses;
    uint16_t since_ms;  /* the first of them */
    uint8_t code;       /* what is being shown */
    uint16_t phase_ms;  /* into the group */
    uint8_t recall;     /* a code still to be shown once */
} panel_state;

/* One millisecond.  True: the person clears the stored fault. */
bool panel_tick(panel_state *s, const parameters *p, const logic_state *l, bool contact);

/* Whether the light is on now. */
bool panel_light(const panel_state *s, const parameters *p);

#endif
