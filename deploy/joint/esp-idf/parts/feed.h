/* Steps that a machine hands over ahead of time (core/hardware.h) as step pulses. */
#ifndef UJ_FEED_H
#define UJ_FEED_H

#include "pulses.h"
#include "steps.h"

/* What a joint needs to judge a datagram, and a turn of its task; a stop reaches the motor so much later. */
#define UJ_FEED_AHEAD_US 10000

struct uj_feed {
    struct uj_pulses pulses;
    uj_time origin; /* joint time at which the pulses' stream began */
};

/* Begins the stream at joint time `origin`. */
void uj_feed_begin(struct uj_feed *feed, const struct uj_pulses_limits *limits, uj_time origin);

/* The same limits for the machine: steps that keep them are never late because of the pulses' own. */
struct uj_driver_limits uj_feed_limits(const struct uj_pulses_limits *limits);

/* Writes one step. A step for which there is no room is lost, and so is the stream: `pulses.lost_step`. */
void uj_feed_step(struct uj_feed *feed, const struct uj_step *step);

/* No step comes before joint time `until` but those that are written. */
void uj_feed_rest(struct uj_feed *feed, uj_time until);

#endif
