/* What homing makes of the two slow edges: protocol/README.md, "Homing". Whole counts. */
#ifndef UJ_MIDDLE_H
#define UJ_MIDDLE_H

#include <stdint.h>

/* The middle of the slow edges; half a count rounds up. */
int64_t uj_middle(int64_t rising, int64_t falling);

/* What is added to every position so that the middle becomes home. */
int64_t uj_middle_shift(int64_t middle, int64_t home);

/* The shift, or any difference, without whole turns: from −turn ÷ 2 up; half a turn is negative. turn >= 1. */
int64_t uj_middle_lost(int64_t shift, int64_t counts_per_turn);

#endif
