#include "steps.h"

/* The microstep nearest to a position; half a one rounds up. */
static int64_t nearest(int64_t position)
{
    const int64_t raised = position + UJ_STEPS_MICROSTEP / 2;
    return raised < 0 ? ~(~raised >> 16) : raised >> 16;
}

void uj_steps_look(struct uj_steps *steps, const struct uj_motion_piece *piece)
{
    const uj_time from = steps->at;
    const uj_time to = piece->to - from > UJ_STEPS_SLICE ? from + UJ_STEPS_SLICE : piece->to;
    const int64_t before = steps->position;
    const int64_t after = uj_piece_position(piece, to) - steps->base;
    steps->slice = from;
    steps->at = to;
    steps->position = after;
    if (steps->played < after - UJ_STEPS_PLAY) {
        steps->played = after - UJ_STEPS_PLAY;
    } else if (steps->played > after + UJ_STEPS_PLAY) {
        steps->played = after + UJ_STEPS_PLAY;
    }
    const int64_t way = nearest(steps->played) - steps->microstep;
    if (way == 0) {
        return;
    }
    steps->microstep += way;
    steps->slice_direction = way > 0 ? 1 : -1;
    steps->left = (uint32_t)(way > 0 ? way : -way);
    /* To the first half that is passed, with the play: from there on one microstep after the other. */
    const int64_t off = UJ_STEPS_MICROSTEP / 2 + UJ_STEPS_PLAY;
    const int64_t half = (steps->microstep - way) * UJ_STEPS_MICROSTEP + (way > 0 ? off : -off);
    const int64_t first = way > 0 ? half - before : before - half;
    const int64_t whole = way > 0 ? after - before : before - after;
    /* 0 <= first <= whole, whole > 0: `played` was on this side of the half before, and is on the other one now. So
     * the first instant is within the slice; the interval is not, where there is one step alone. */
    const uint64_t interval = ((uint64_t)(to - from) << (16 + UJ_STEPS_PART)) / (uint64_t)whole;
    steps->instant = (uint32_t)((uint64_t)first * interval >> 16);
    steps->interval = steps->left > 1 ? (uint32_t)interval : 0;
}
