#include "feed.h"

#include <stddef.h>

/* 1/256 µs are 10/256 ticks of 100 ns. */
#define TICKS_PER_US (UJ_PULSES_HZ / 1000000)

/* One tick more than the pulses keep, since instants are rounded to ticks. */
static uint32_t time_of(uint32_t ticks)
{
    return ((ticks + 1) * UJ_TIME_PER_US + TICKS_PER_US - 1) / TICKS_PER_US;
}

void uj_feed_begin(struct uj_feed *feed, const struct uj_pulses_limits *limits, uj_time origin)
{
    uj_pulses_begin(&feed->pulses, limits);
    feed->origin = origin;
    feed->mark_count = 0;
}

struct uj_driver_limits uj_feed_limits(const struct uj_pulses_limits *limits)
{
    return (struct uj_driver_limits){.high = time_of(limits->high),
                                     .low = time_of(limits->low),
                                     .setup = time_of(limits->setup),
                                     .hold = time_of(limits->hold)};
}

/* Stream time of a joint time; 0 for one before the stream began. */
static uint64_t ticks_of(const struct uj_feed *feed, uj_time t)
{
    return t <= feed->origin
               ? 0
               : (uint64_t)((t - feed->origin) * (int64_t)TICKS_PER_US + UJ_TIME_PER_US / 2) / UJ_TIME_PER_US;
}

void uj_feed_step(struct uj_feed *feed, const struct uj_step *step)
{
    const uint64_t at = ticks_of(feed, step->at);
    const uint64_t turn_at = step->turns ? ticks_of(feed, step->turn_at) : at;
    if (!uj_pulses_step(&feed->pulses, at, step->up, turn_at)) {
        feed->pulses.lost_step = true;
    }
}

void uj_feed_rest(struct uj_feed *feed, double until_us)
{
    uj_pulses_rest(&feed->pulses, ticks_of(feed, uj_time_from_us(until_us)));
}

void uj_feed_unmark(struct uj_feed *feed)
{
    feed->mark_count = 0;
}

void uj_feed_mark(struct uj_feed *feed, const struct uj_steps *steps, double until_us)
{
    if (feed->mark_count < UJ_FEED_MARKS) {
        feed->marks[feed->mark_count++] =
            (struct uj_feed_mark){.until_us = until_us, .steps = *steps, .end = feed->pulses.end};
    }
}

const struct uj_steps *uj_feed_take_back(struct uj_feed *feed, double from_us)
{
    for (uint8_t i = 0; i < feed->mark_count; i++) {
        const struct uj_feed_mark *mark = &feed->marks[i];
        if (mark->until_us >= from_us) {
            feed->mark_count = 0; /* and stays as it is */
            return uj_pulses_take_back(&feed->pulses, &mark->end) ? &mark->steps : NULL;
        }
    }
    return NULL;
}
