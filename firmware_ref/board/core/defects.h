/* Which deliberate mistake this build carries, if any.
 *
 * The list DEFECT_… is made from defects.csv by the Makefile; DEFECT is the one
 * chosen (make DEFECT=name).  HAS(name) is a constant, so the sound build
 * holds nothing of them. */
#ifndef BOARD_DEFECTS_H
#define BOARD_DEFECTS_H

#include "defect_list.h"

#ifndef DEFECT
#define DEFECT DEFECT_none
#endif

#define HAS(name) (DEFECT == DEFECT_##name)

#endif
