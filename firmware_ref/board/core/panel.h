/* The light: the parameters' code for each mode.
 *
 * A group is a pause and then its flashes; a group that has begun is finished
 * before another code begins. */
#ifndef BOARD_PANEL_H
#define BOARD_PANEL_H

#include <stdbool.h>
#include <stdint.h>

#include "logic.h"

typedef struct {
    uint8_t code;      /* what is being shown */
    uint16_t phase_ms; /* into the group */
    uint8_t recall;    /* a code still to be shown once */
    bool recalled;     /* this is it: a pause follows, lest the last flash run into a steady light */
} panel_state;

/* One millisecond. */
void panel_tick(panel_state *s, const parameters *p, const logic_state *l, uint32_t now_ms);

/* The code of the last stored fault, if it flashes, is shown once. */
void panel_recall(panel_state *s, const parameters *p, const logic_state *l);

/* Whether the light is on now. */
bool panel_light(const panel_state *s, const parameters *p);

#endif
