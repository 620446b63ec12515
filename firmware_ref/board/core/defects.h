/* Which deliberate mistake this build carries, if any.
 *
 * The list DEFECT_… is made from defects.csv by the Makefile; DEFECT is the one
 * chosen (make DEFECT=name).  HAS(name) is a constant, so the sound build
 * holds nothing of them.  Tests on the host build all of them at once
 * (DEFECT=board_defect) and choose while running. */
#ifndef BOARD_DEFECTS_H
#define BOARD_DEFECTS_H

#include "defect_list.h"

#ifndef DEFECT
#define DEFECT DEFECT_none
#endif

extern int board_defect;

#define HAS(name) (DEFECT == DEFECT_##name)

#endif
