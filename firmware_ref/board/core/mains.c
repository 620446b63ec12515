#include "mains.h"

#include "defects.h"

void mains_start(mains_input *in, uint32_t now_ms)
{
    *in = (mains_input){.changed_ms = now_ms, .silent_ms = UINT16_MAX};
}

void mains_sample(mains_input *in, bool conducting, uint32_t now_ms)
{
    const bool begins = conducting && !in->conducting;
    in->conducting = conducting;
    if (conducting) {
        in->silent_ms = 0;
    } else if (in->silent_ms < UINT16_MAX) {
        in->silent_ms++;
    }
    if (HAS(debounce_missing)) { in->changed_ms = in->present == conducting ? in->changed_ms : now_ms; in->present = conducting; return; }
    if (in->present) {
        if (in->silent_ms >= MAINS_ABSENT_MS) {
            in->present = false;
            in->begun = 0;
            in->changed_ms = now_ms - in->silent_ms;
        }
        return;
    }
    if (in->silent_ms >= MAINS_ABSENT_MS) {
        in->begun = 0;
    } else if (begins) {
        if (in->begun == 0u) {
            in->first_ms = now_ms;
        }
        in->begun++;
        if (in->begun >= MAINS_CYCLES) {
            in->present = true;
            in->changed_ms = in->first_ms;
        }
    }
}
