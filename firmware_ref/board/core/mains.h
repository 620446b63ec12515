/* 24 VAC at a terminal, seen through an opto: it conducts once in each half (or each whole) cycle.
 *
 * Sampled once a millisecond.  Present after three cycles that came without a
 * break, absent after 25 ms without one: longer than a whole cycle at 50 Hz
 * with half-wave sensing.  The moment of a change is the first, or the last,
 * conduction, not the moment at which it was decided. */
#ifndef BOARD_MAINS_H
#define BOARD_MAINS_H

#include <stdbool.h>
#include <stdint.h>

typedef struct {
    bool present;
    uint32_t changed_ms; /* when it came or went */
    bool conducting;
    uint8_t begun;       /* cycles begun while not yet present */
    uint16_t silent_ms;  /* since the last conduction, up to its greatest value */
    uint32_t first_ms;
} mains_input;

enum { MAINS_ABSENT_MS = 25, MAINS_CYCLES = 3 };

/* Nothing seen yet. */
void mains_start(mains_input *in, uint32_t now_ms);

/* True when it has come or gone. */
bool mains_sample(mains_input *in, bool conducting, uint32_t now_ms);

#endif
