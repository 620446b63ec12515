/* The service button: what was pressed, and what it asks for.
 *
 * A contact that stays in its new position for `settle_ms` has moved, at the
 * moment at which it began to; anything shorter is a bounce.  A gesture is known
 * when the button is let go: of the long presses the longest that it was held
 * for; of the others when no further press can belong to it. */
#ifndef BOARD_BUTTON_H
#define BOARD_BUTTON_H

#include <stdbool.h>
#include <stdint.h>

#include "parameters.h"

typedef struct {
    bool pressed;        /* debounced */
    uint16_t turning_ms; /* how long the contact has read otherwise */
    uint32_t begun_ms;   /* the press that is, or was last */
    uint8_t presses;     /* that may belong together; the first of them began … */
    uint32_t first_ms;   /* … here */
} button_state;

/* One millisecond. */
button_ask button_tick(button_state *s, const button_parameters *p, bool contact, uint32_t now_ms);

#endif
