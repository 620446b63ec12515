#include "panel.h"

enum { FLASH_MS = 300, DARK_MS = 300, PAUSE_MS = 800 };
enum { SETTLE_MS = 30, CLEAR_MS = 8000, GESTURE_MS = 3000 };
enum { FLASHES_HOLD = 2, FLASHES_FAULT = 4, FLASHES_LEAK = 5 };

static uint8_t flashes_of(board_mode mode)
{
    switch (mode) {
    case MODE_LEAK_ACTIVE:
        return FLASHES_LEAK;
    case MODE_POST_LEAK_HOLD:
        return FLASHES_HOLD;
    case MODE_SENSOR_FAULT:
        return FLASHES_FAULT;
    default:
        return 0;
    }
}

static uint8_t flashes_of_fault(memory_fault fault)
{
    return fault == FAULT_LEAK ? FLASHES_LEAK : fault == FAULT_SENSOR ? FLASHES_FAULT : 0;
}

/* True when the contact has settled in another position. */
static bool settled(panel_state *s, bool contact)
{
    s->settle_ms = contact == s->pressed ? 0u : (uint8_t)(s->settle_ms + 1u);
    if (s->settle_ms < SETTLE_MS) {
        return false;
    }
    s->settle_ms = 0;
    s->pressed = contact;
    return true;
}

static bool button(panel_state *s, const logic_state *l, bool contact)
{
    const bool moved = settled(s, contact);
    if (moved && s->pressed) {
        s->held_ms = 0;
        s->since_ms = s->presses == 0u ? 0u : s->since_ms;
        s->presses++;
    }
    if (s->pressed && s->held_ms < CLEAR_MS) {
        s->held_ms++;
        if (s->held_ms == CLEAR_MS) {
            s->presses = 0;
            return true;
        }
    }
    if (s->presses > 0u && ++s->since_ms >= GESTURE_MS && !s->pressed) {
        s->recall = s->presses == 2u ? flashes_of_fault(l->last_fault) : 0u;
        s->presses = 0;
    }
    return false;
}

bool panel_tick(panel_state *s, const logic_state *l, bool contact)
{
    const bool clears = button(s, l, contact);
    const uint16_t length_ms = (uint16_t)(s->group * (FLASH_MS + DARK_MS) + 2 * PAUSE_MS);
    if (s->group == 0u || ++s->phase_ms >= length_ms) {
        s->phase_ms = 0;
        s->group = s->recall > 0u ? s->recall : flashes_of(l->mode);
        s->recall = 0;
    }
    return clears;
}

bool panel_light(const panel_state *s, const logic_state *l)
{
    if (s->group == 0u) {
        return l->mode == MODE_NORMAL;
    }
    /* A pause on either side, so that a group stands out from a steady light too. */
    const uint16_t end_ms = (uint16_t)(PAUSE_MS + s->group * (FLASH_MS + DARK_MS));
    return s->phase_ms >= PAUSE_MS && s->phase_ms < end_ms && (s->phase_ms - PAUSE_MS) % (FLASH_MS + DARK_MS) < FLASH_MS;
}
