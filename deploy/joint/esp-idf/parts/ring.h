/* A ring of touch pads: where the finger is, how far it has turned, and the press of a pad in the middle. */
#ifndef UJ_RING_H
#define UJ_RING_H

#include <stdbool.h>
#include <stdint.h>

#define UJ_RING_PADS 4
#define UJ_RING_MIDDLE UJ_RING_PADS       /* the pad in the middle comes last */
#define UJ_RING_ALL (UJ_RING_PADS + 1)
#define UJ_RING_TURN (256 * UJ_RING_PADS) /* units of angle in a turn */
#define UJ_RING_DETENTS 16                /* in a turn */

struct uj_ring {
    bool begun;
    int32_t untouched[UJ_RING_ALL]; /* 256 times what each pad reads with no finger: follows slowly */
    bool touched;
    int32_t angle;                  /* of the finger at the last detent, 0 to UJ_RING_TURN − 1 */
    bool pressed;
};

/* Takes the readings of all pads, whose amount of change shows the finger, in either sense. A pad counts as touched when
 * it differs from untouched by more than 1/`threshold` of it; 2 and more. Returns the detents turned since the last call,
 * positive from pad 0 to pad 1. ring->pressed says whether the middle is. */
int16_t uj_ring_take(struct uj_ring *ring, const uint32_t readings[UJ_RING_ALL], int32_t threshold);

#endif
