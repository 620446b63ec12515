#include "mains.h"

#include "defects.h"

void mains_start(mains_input *in, uint32_t now_ms)
{
    *in = (mains_input){.changed_ms = now_ms, .silent_ms = UINT16_MAX};
}

static void decide(mains_input *in, bool begins, uint32_t now_ms)
{
    const bool silent = in->silent_ms >= MAINS_ABSENT_MS;
    if (in->present) {
        if (silent) {
            in->present = false;
            in->begun = 0;
            in->changed_ms = now_ms - in->silent_ms;
        }
        return;
    }
    if (silent) {
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

bool mains_sample(mains_input *in, bool conducting, uint32_t now_ms)
{
    const bool begins = conducting && !in->conducting;
    const bool was_present = in->present;
    in->conducting = conducting;
    if (conducting) {
        in->silent_ms = 0;
    } else if (in->silent_ms < UINT16_MAX) {
        in->silent_ms++;
    }
    decide(in, begins, now_ms);
    if (HAS(debounce_missing)) { in->changed_ms = was_present == conducting ? in->changed_ms : now_ms; in->present = conducting; }
    return in->present != was_present;
}
