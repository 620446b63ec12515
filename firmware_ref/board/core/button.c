#include "button.h"

#include "defects.h"

/* The presses so far are all that there will be. */
static button_ask counted(button_state *s, const button_parameters *p)
{
    const uint8_t presses = s->presses;
    s->presses = 0;
    for (uint8_t ask = 0; ask < ASKS; ask++) {
        const gesture_parameters *g = &p->gesture[ask];
        if (g->presses == presses && s->begun_ms - s->first_ms <= g->ms) {
            return (button_ask)ask;
        }
    }
    return ASK_NOTHING;
}

static button_ask press(button_state *s, const button_parameters *p, uint32_t since_ms)
{
    button_ask asked = ASK_NOTHING;
    if (s->presses > 0u && since_ms - s->first_ms > p->window_ms) {
        asked = counted(s, p);
    }
    if (s->presses == 0u) {
        s->first_ms = since_ms;
        if (HAS(press_too_few)) { s->presses = 1; }
    }
    s->begun_ms = since_ms;
    s->presses = (uint8_t)(s->presses < UINT8_MAX ? s->presses + 1u : UINT8_MAX);
    return asked;
}

/* A long press is none of those that are counted, and ends what was. */
static button_ask let_go(button_state *s, const button_parameters *p, uint32_t since_ms)
{
    uint32_t held_ms = since_ms - s->begun_ms;
    if (HAS(press_too_short)) { held_ms += held_ms / 4u; }
    button_ask asked = ASK_NOTHING;
    uint16_t longest_ms = 0;
    for (uint8_t ask = 0; ask < ASKS; ask++) {
        const gesture_parameters *g = &p->gesture[ask];
        if (g->presses == 0u && g->ms > longest_ms && held_ms >= g->ms) {
            longest_ms = g->ms;
            asked = (button_ask)ask;
            s->presses = 0;
        }
    }
    return asked;
}

button_ask button_tick(button_state *s, const button_parameters *p, bool contact, uint32_t now_ms)
{
    if (HAS(button_dead)) { return ASK_NOTHING; }
    s->turning_ms = (uint16_t)(contact == s->pressed ? 0u : s->turning_ms + 1u);
    if (s->turning_ms >= p->settle_ms) {
        const uint32_t since_ms = now_ms - s->turning_ms;
        s->turning_ms = 0;
        s->pressed = contact;
        return contact ? press(s, p, since_ms) : let_go(s, p, since_ms);
    }
    const bool resting = !s->pressed && s->turning_ms == 0u;
    if (s->presses > 0u && resting && now_ms - s->first_ms >= p->window_ms) {
        return counted(s, p);
    }
    return ASK_NOTHING;
}
