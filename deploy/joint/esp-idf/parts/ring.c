#include "ring.h"

#define FOLLOW 64 /* readings until untouched has followed by 63 % */
#define DETENT (UJ_RING_TURN / UJ_RING_DETENTS)

static int32_t bounded(uint32_t reading)
{
    return reading > 0x3fffff ? 0x3fffff : (int32_t)reading;
}

/* How far a pad is from untouched. */
static int32_t strength(const struct uj_ring *ring, int pad, int32_t reading)
{
    const int32_t change = reading - ring->untouched[pad] / 256;
    return change < 0 ? -change : change;
}

static bool is_touched(const struct uj_ring *ring, int pad, int32_t strength, int32_t threshold)
{
    return strength > ring->untouched[pad] / 256 / threshold;
}

/* The angle between the strongest pad and the stronger of its neighbours, by their shares. */
static int32_t angle_of(const int32_t strengths[UJ_RING_PADS], int strongest)
{
    const int32_t before = strengths[(strongest + UJ_RING_PADS - 1) % UJ_RING_PADS];
    const int32_t after = strengths[(strongest + 1) % UJ_RING_PADS];
    const int32_t mine = strengths[strongest];
    const int32_t offset = after >= before ? (int32_t)(INT64_C(256) * after / (mine + after))
                                           : -(int32_t)(INT64_C(256) * before / (mine + before));
    return (256 * strongest + offset + UJ_RING_TURN) % UJ_RING_TURN;
}

int16_t uj_ring_take(struct uj_ring *ring, const uint32_t readings[UJ_RING_ALL], int32_t threshold)
{
    int32_t strengths[UJ_RING_ALL];
    int strongest = 0;
    for (int pad = 0; pad < UJ_RING_ALL; pad++) {
        const int32_t reading = bounded(readings[pad]);
        if (!ring->begun) {
            ring->untouched[pad] = 256 * reading;
        }
        strengths[pad] = strength(ring, pad, reading);
        if (!is_touched(ring, pad, strengths[pad], threshold)) {
            ring->untouched[pad] += (256 * reading - ring->untouched[pad]) / FOLLOW;
        }
        if (pad < UJ_RING_PADS && strengths[pad] > strengths[strongest]) {
            strongest = pad;
        }
    }
    ring->begun = true;
    ring->pressed = is_touched(ring, UJ_RING_MIDDLE, strengths[UJ_RING_MIDDLE], threshold);
    /* A palm on the middle is no turn. */
    if (ring->pressed || !is_touched(ring, strongest, strengths[strongest], threshold)) {
        ring->touched = false;
        return 0;
    }
    const int32_t angle = angle_of(strengths, strongest);
    if (!ring->touched) {
        ring->touched = true;
        ring->angle = angle;
        return 0;
    }
    int32_t turned = (angle - ring->angle + UJ_RING_TURN) % UJ_RING_TURN;
    if (turned > UJ_RING_TURN / 2) {
        turned -= UJ_RING_TURN;
    }
    const int32_t detents = turned / DETENT;
    ring->angle = (ring->angle + detents * DETENT + UJ_RING_TURN) % UJ_RING_TURN;
    return (int16_t)detents;
}
