#include "panel.h"

#include "defects.h"

enum { SETTLE_MS = 30, CLEAR_MS = 8000, GESTURE_MS = 3000 };

static bool flashing(uint8_t code)
{
    return code != CODE_DARK && code != CODE_STEADY;
}

static uint8_t code_of_fault(const parameters *p, memory_fault fault)
{
    return fault == FAULT_LEAK ? p->code[MODE_LEAK_ACTIVE] : fault == FAULT_SENSOR ? p->code[MODE_SENSOR_FAULT] : 0u;
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

static bool button(panel_state *s, const parameters *p, const logic_state *l, bool contact)
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
        s->recall = s->presses == 2u ? code_of_fault(p, l->last_fault) : 0u;
        s->presses = 0;
    }
    return false;
}

/* A pause, then the flashes with gaps between them. */
static uint16_t group_ms(const parameters *p, uint8_t code)
{
    return (uint16_t)(p->pause_ms + code * (p->flash_ms + p->gap_ms) - p->gap_ms);
}

bool panel_tick(panel_state *s, const parameters *p, const logic_state *l, bool contact)
{
    const bool clears = button(s, p, l, contact);
    if (!flashing(s->code) || ++s->phase_ms >= group_ms(p, s->code)) {
        s->phase_ms = 0;
        s->code = flashing(s->recall) ? s->recall : p->code[l->mode];
        s->recall = 0;
    }
    return clears;
}

bool panel_light(const panel_state *s, const parameters *p)
{
    if (HAS(light_never_off)) { return true; }
    if (!flashing(s->code)) {
        return s->code == CODE_STEADY;
    }
    if (s->phase_ms < p->pause_ms) {
        return false;
    }
    const uint16_t into_ms = (uint16_t)(s->phase_ms - p->pause_ms);
    const uint16_t each_ms = (uint16_t)(p->flash_ms + p->gap_ms);
    if (HAS(light_flash_missing) && into_ms < each_ms) { return false; }
    return into_ms % each_ms < p->flash_ms;
}
