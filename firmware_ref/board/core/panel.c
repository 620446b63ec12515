#include "panel.h"

#include "defects.h"

static bool flashing(uint8_t code)
{
    return code != CODE_DARK && code != CODE_STEADY;
}

static uint8_t code_of_fault(const parameters *p, memory_fault fault)
{
    const memory_fault leak = HAS(recall_swapped) ? FAULT_SENSOR : FAULT_LEAK;
    return fault == FAULT_NONE ? CODE_DARK : p->code[fault == leak ? MODE_LEAK_ACTIVE : MODE_SENSOR_FAULT];
}

/* A pause, then the flashes with gaps between them. */
static uint16_t group_ms(const parameters *p, uint8_t code)
{
    return (uint16_t)(p->pause_ms + code * (p->flash_ms + p->gap_ms) - p->gap_ms);
}

void panel_tick(panel_state *s, const parameters *p, const logic_state *l, uint32_t now_ms)
{
    const bool looks = !HAS(light_late) || (now_ms & 0x7FFFu) < 8000u;
    const uint16_t more_ms = s->recalled ? p->pause_ms : 0u;
    if (!flashing(s->code) || ++s->phase_ms >= (uint16_t)(group_ms(p, s->code) + more_ms)) {
        s->phase_ms = 0;
        s->recalled = flashing(s->recall);
        s->code = s->recalled && !HAS(recall_overwritten) ? s->recall : looks ? p->code[l->mode] : s->code;
        if (!HAS(recall_kept)) { s->recall = CODE_DARK; }
    }
}

void panel_recall(panel_state *s, const parameters *p, const logic_state *l)
{
    s->recall = code_of_fault(p, l->last_fault);
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
    return into_ms / each_ms < s->code && into_ms % each_ms < p->flash_ms;
}
