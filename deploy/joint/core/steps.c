#include "steps.h"

#define MICROSTEP INT64_C(65536) /* 1/256 count */
#define PART 15                  /* bits of an instant below 1/256 µs */

void uj_steps_begin(struct uj_steps *steps, const struct uj_driver_limits *limits, uj_time t, int64_t position)
{
    const uint32_t gap = limits->high + limits->low;
    const uint32_t turning_gap = limits->hold + limits->setup;
    *steps = (struct uj_steps){.limits = *limits,
                               .gap = gap,
                               .turning_gap = turning_gap > gap ? turning_gap : gap,
                               .base = position * 256,
                               .last = t,
                               .at = t,
                               .slice = t};
}

void uj_steps_shift(struct uj_steps *steps, int64_t counts)
{
    steps->base += counts * 256;
}

uj_time uj_steps_at(const struct uj_steps *steps)
{
    return steps->at;
}

int64_t uj_steps_position(const struct uj_steps *steps)
{
    const int64_t left = steps->slice_direction > 0 ? steps->left : -(int64_t)steps->left;
    return steps->base + (steps->microstep - left) * MICROSTEP;
}

void uj_steps_rest(struct uj_steps *steps, uj_time t)
{
    steps->at = t > steps->at ? t : steps->at;
}

/* The microstep nearest to a position; half a one rounds up. */
static int64_t nearest(int64_t position)
{
    const int64_t raised = position + MICROSTEP / 2;
    return raised < 0 ? ~(~raised >> 16) : raised >> 16;
}

/* Looks at the next slice of the piece: its steps are evenly spaced. */
static void look(struct uj_steps *steps, const struct uj_motion_piece *piece)
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
    const int64_t off = MICROSTEP / 2 + UJ_STEPS_PLAY;
    const int64_t half = (steps->microstep - way) * MICROSTEP + (way > 0 ? off : -off);
    const int64_t first = way > 0 ? half - before : before - half;
    const int64_t whole = way > 0 ? after - before : before - after;
    /* 0 <= first <= whole, whole > 0: `played` was on this side of the half before, and is on the other one now. So
     * the first instant is within the slice; the interval is not, where there is one step alone. */
    const uint64_t interval = ((uint64_t)(to - from) << (16 + PART)) / (uint64_t)whole;
    steps->instant = (uint32_t)((uint64_t)first * interval >> 16);
    steps->interval = steps->left > 1 ? (uint32_t)interval : 0;
}

enum uj_steps_result uj_steps_next(struct uj_steps *steps, const struct uj_motion_piece *piece, uj_time until,
                                   struct uj_step *step)
{
    while (steps->left == 0) {
        if (steps->at >= until) {
            return UJ_STEPS_UNTIL;
        }
        if (steps->at >= piece->to) {
            return UJ_STEPS_PIECE;
        }
        look(steps, piece);
    }
    const bool turns = steps->slice_direction != steps->direction;
    const uj_time soonest = steps->last + (turns ? steps->turning_gap : steps->gap);
    uj_time at = steps->slice + (steps->instant >> PART);
    if (at < soonest) {
        at = soonest;
    }
    if (at >= until) {
        return UJ_STEPS_UNTIL;
    }
    step->at = at;
    step->turns = turns;
    if (turns) {
        step->turn_at = at - steps->limits.setup;
        steps->direction = steps->slice_direction;
    }
    step->up = steps->slice_direction > 0;
    steps->last = at;
    steps->instant += steps->interval;
    steps->left--;
    return UJ_STEPS_STEP;
}
