#include "steps.h"

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
    return steps->base + (steps->microstep - left) * UJ_STEPS_MICROSTEP;
}

void uj_steps_rest(struct uj_steps *steps, uj_time t)
{
    steps->at = t > steps->at ? t : steps->at;
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
        uj_steps_look(steps, piece);
    }
    const bool turns = steps->slice_direction != steps->direction;
    const uj_time soonest = steps->last + (turns ? steps->turning_gap : steps->gap);
    uj_time at = steps->slice + (steps->instant >> UJ_STEPS_PART);
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
