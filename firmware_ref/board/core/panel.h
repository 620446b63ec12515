/* The light and the button.  Codes and gestures are invented for this board.
 *
 * Light: steady in normal; groups of flashes elsewhere (five leak-active, two
 * post-leak hold, four sensor-fault); dark in start-up.  Button: two presses
 * within 3 s show the last stored fault once, a press of 8 s clears it. */
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
    uint8_t group;      /* flashes of the group that is being shown; 0: none */
    uint16_t phase_ms;  /* into the group */
    uint8_t recall;     /* flashes still to be shown once */
} panel_state;

/* One millisecond.  True: the person clears the stored fault. */
bool panel_tick(panel_state *s, const logic_state *l, bool contact);

/* Whether the light is on now. */
bool panel_light(const panel_state *s, const logic_state *l);

#endif
