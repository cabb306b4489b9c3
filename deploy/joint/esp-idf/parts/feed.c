#include "feed.h"

/* 1/256 µs are 10/256 ticks of 100 ns. */
#define TICKS_PER_US 10

static uint32_t time_of(uint32_t ticks)
{
    return (ticks * UJ_TIME_PER_US + TICKS_PER_US - 1) / TICKS_PER_US;
}

void uj_feed_begin(struct uj_feed *feed, const struct uj_pulses_limits *limits, uj_time origin)
{
    *feed = (struct uj_feed){.origin = origin, .made = origin};
    /* One tick more than the pulses keep, since instants are rounded to ticks. */
    feed->limits.high = time_of(limits->high + 1);
    feed->limits.low = time_of(limits->low + 1);
    feed->limits.setup = time_of(limits->setup + 1);
    feed->limits.hold = time_of(limits->hold + 1);
}

uint64_t uj_feed_ticks(const struct uj_feed *feed, uj_time t)
{
    return t <= feed->origin ? 0 : (uint64_t)((t - feed->origin) * TICKS_PER_US + UJ_TIME_PER_US / 2) / UJ_TIME_PER_US;
}

bool uj_feed_is_due(const struct uj_joint *joint, double now_us)
{
    return uj_joint_next_deadline(joint) <= now_us + UJ_FEED_AHEAD_US;
}

static void look_on(struct uj_feed *feed, const struct uj_joint *joint)
{
    if (feed->has_piece && !feed->has_next) {
        feed->has_next = uj_joint_piece(joint, uj_time_to_us(feed->piece.to), &feed->next);
    }
}

void uj_feed_look(struct uj_feed *feed, const struct uj_joint *joint, double now_us, bool changed, int64_t shift)
{
    if (!joint->energised) {
        feed->on = false;
        feed->has_step = false;
        return;
    }
    if (feed->on && !changed && shift == 0) {
        look_on(feed, joint);
        return;
    }
    if (!feed->on) {
        double position;
        double velocity;
        uj_joint_where(joint, now_us, &position, &velocity);
        uj_steps_begin(&feed->steps, &feed->limits, feed->made, uj_body_round(position));
        feed->on = true;
    } else if (shift != 0) {
        uj_steps_shift(&feed->steps, shift);
    }
    double from_us = uj_time_to_us(uj_steps_at(&feed->steps));
    if (from_us < now_us) {
        from_us = now_us;
    }
    feed->has_piece = uj_joint_piece(joint, from_us, &feed->piece);
    feed->has_next = false;
    look_on(feed, joint);
    if (!feed->has_piece) {
        feed->piece.to = feed->piece.from = -UJ_TIME_MAX; /* it rests: what is left of the last slice, and no more */
    }
}

enum uj_feed_result uj_feed_next(struct uj_feed *feed, uj_time until)
{
    if (!feed->on) {
        return UJ_FEED_REST;
    }
    if (feed->has_step) {
        return UJ_FEED_STEP;
    }
    enum uj_steps_result result = uj_steps_next(&feed->steps, &feed->piece, until, &feed->step);
    if (result == UJ_STEPS_PIECE && feed->has_next) {
        feed->piece = feed->next;
        feed->has_next = false;
        result = uj_steps_next(&feed->steps, &feed->piece, until, &feed->step);
    }
    switch (result) {
    case UJ_STEPS_STEP:
        feed->has_step = true;
        return UJ_FEED_STEP;
    case UJ_STEPS_PIECE:
        if (feed->has_piece) {
            return UJ_FEED_LOOK;
        }
        uj_steps_rest(&feed->steps, until);
        return UJ_FEED_REST;
    case UJ_STEPS_UNTIL:
        break;
    }
    return UJ_FEED_REST;
}

bool uj_feed_put(struct uj_feed *feed, struct uj_pulses *pulses, uj_time until)
{
    if (!feed->has_step) {
        uj_pulses_rest(pulses, uj_feed_ticks(feed, until));
        feed->made = until;
        return true;
    }
    const uint64_t at = uj_feed_ticks(feed, feed->step.at);
    const uint64_t turn_at = feed->step.turns ? uj_feed_ticks(feed, feed->step.turn_at) : at;
    feed->has_step = !uj_pulses_step(pulses, at, feed->step.up, turn_at);
    return !feed->has_step;
}
