/* From the joint's motion to step pulses, a few ms ahead of time. */
#ifndef UJ_FEED_H
#define UJ_FEED_H

#include "joint.h"
#include "pulses.h"
#include "steps.h"

#define UJ_FEED_AHEAD_US 8000 /* the peripheral holds up to 64 symbols of 64 µs, and the task runs every ms */

struct uj_feed {
    struct uj_steps steps;
    struct uj_motion_piece piece; /* copies: good while nobody can look at the joint */
    struct uj_motion_piece next;  /* and the one after it */
    bool has_piece;
    bool has_next;
    bool on;               /* the drivers are on, and `steps` counts */
    bool has_step;         /* `step` is made, and has found no room yet */
    struct uj_step step;
    uj_time made;          /* joint time up to which all is written */
    uj_time origin;        /* joint time at which the pulses' stream began */
    struct uj_driver_limits limits;
};

/* Begins with drivers off. `limits` are those of `pulses`. */
void uj_feed_begin(struct uj_feed *feed, const struct uj_pulses_limits *limits, uj_time origin);

/* Whether something happens by itself so soon that the steps that are made now are about it. Ask before the poll. */
bool uj_feed_is_due(const struct uj_joint *joint, double now_us);

/* Looks at the joint, with the joint locked and polled to now_us. `changed`: it was told something since the last look, or
 * something was due; else only the next piece is made, where it lacks, since a piece costs some 30,000 instructions.
 * `shift` is what UJ_TRUTH_SHIFT told since the last look, counts. */
void uj_feed_look(struct uj_feed *feed, const struct uj_joint *joint, double now_us, bool changed, int64_t shift);

enum uj_feed_result {
    UJ_FEED_STEP, /* a step is ready: uj_feed_put, and call again */
    UJ_FEED_REST, /* none before `until`: uj_feed_put, and that is all */
    UJ_FEED_LOOK  /* the pieces are used up: look again */
};

/* Computes the next step before `until`, joint time in 1/256 µs. Touches nothing but `feed`. */
enum uj_feed_result uj_feed_next(struct uj_feed *feed, uj_time until);

/* Writes that step, or rest up to `until`. Short: the lock of the pulses is held for it. False where there was no room
 * for the step; then call it again later. */
bool uj_feed_put(struct uj_feed *feed, struct uj_pulses *pulses, uj_time until);

/* Stream time in ticks of a joint time; 0 for one before the stream began. */
uint64_t uj_feed_ticks(const struct uj_feed *feed, uj_time t);

#endif
