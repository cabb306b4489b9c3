/* Steps that a machine hands over ahead of time (core/hardware.h) as step pulses. */
#ifndef UJ_FEED_H
#define UJ_FEED_H

#include "pulses.h"
#include "steps.h"

/* What a joint needs to judge a datagram, and a turn of its task; a stop reaches the motor so much later. */
#define UJ_FEED_AHEAD_US 10000

#define UJ_FEED_MORE_US 4000 /* what is handed over for longer work is marked so often … */
#define UJ_FEED_MARKS 10     /* … and so many times at most: 40 ms */

/* How far the steps had come when all before `until_us`, joint time, were handed over. */
struct uj_feed_mark {
    double until_us;
    struct uj_steps steps;
    struct uj_pulses_end end;
};

struct uj_feed {
    struct uj_pulses pulses;
    uj_time origin; /* joint time at which the pulses' stream began */
    struct uj_feed_mark marks[UJ_FEED_MARKS];
    uint8_t mark_count;
};

/* Begins the stream at joint time `origin`. */
void uj_feed_begin(struct uj_feed *feed, const struct uj_pulses_limits *limits, uj_time origin);

/* The same limits for the machine: steps that keep them are never late because of the pulses' own. */
struct uj_driver_limits uj_feed_limits(const struct uj_pulses_limits *limits);

/* Writes one step. A step for which there is no room is lost, and so is the stream: `pulses.lost_step`. */
void uj_feed_step(struct uj_feed *feed, const struct uj_step *step);

/* No step comes before joint time `until_us` but those that are written. */
void uj_feed_rest(struct uj_feed *feed, double until_us);

/* Longer work comes: after each UJ_FEED_MORE_US of further steps and rest, beginning with none, call uj_feed_mark with the
 * machine's steps. Begin with uj_feed_unmark. */
void uj_feed_unmark(struct uj_feed *feed);
void uj_feed_mark(struct uj_feed *feed, const struct uj_steps *steps, double until_us);

/* The work is done. The steps at the first mark from `from_us` on, joint time: what was written after it is taken back, and
 * the machine is to go on from there. Null where nothing can be taken back. */
const struct uj_steps *uj_feed_take_back(struct uj_feed *feed, double from_us);

#endif
