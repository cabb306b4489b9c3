/* Motion off the path: parabolas and straight lines by the joint's own acceleration. Jog to a velocity or to a
 * target, braking, the legs of homing, standing still. Times are joint time in µs, positions counts.
 *
 * A motion is a plan from one instant on: whoever wants another one makes it from where the joint is then.
 */
#ifndef UJ_FREE_MOTION_H
#define UJ_FREE_MOTION_H

#include "piece.h"

#define UJ_FREE_LEGS 4 /* brake, speed up, coast, brake */

struct uj_leg {
    double from_us;      /* joint time at which it begins */
    double position;     /* counts, then */
    double velocity;     /* counts/s, then */
    double acceleration; /* counts/s² */
};

struct uj_free_motion {
    uint32_t legs; /* 0 to UJ_FREE_LEGS, in the order of time; each ends where the next begins */
    struct uj_leg leg[UJ_FREE_LEGS];
    double end_us;       /* joint time from which the last velocity holds; there it rests, or goes on */
    double end_position; /* counts, then; exactly the target where there is one */
    double end_velocity; /* counts/s; 0: at rest */
};

/* Stands still at a position. */
void uj_free_stand(struct uj_free_motion *motion, double now_us, double position);

/* From position and velocity at now_us to `wanted` counts/s with acceleration > 0, and on at that velocity.
 * With wanted 0 this is braking. */
void uj_free_to_velocity(struct uj_free_motion *motion, double now_us, double position, double velocity, double wanted,
                         double acceleration);

/* To rest exactly at `target`, no faster than `speed` > 0. Where it is too fast to stop before it, or past it
 * already, it brakes and comes back. */
void uj_free_to_target(struct uj_free_motion *motion, double now_us, double position, double velocity, double target,
                       double speed, double acceleration);

/* To a velocity within low … high: brakes so as to stop at the end in the way. A joint that is beyond that end
 * already, or too fast to stop before it, brakes at once, and does not come back by itself. */
void uj_free_within(struct uj_free_motion *motion, double now_us, double position, double velocity, double wanted,
                    double acceleration, double low, double high);

/* Position (counts) and velocity (counts/s) at a joint time not before the motion began. */
void uj_free_at(const struct uj_free_motion *motion, double joint_us, double *position, double *velocity);

/* Joint time at which it comes to rest; INFINITY where it goes on. */
double uj_free_rest_us(const struct uj_free_motion *motion);

/* The piece that holds at joint_us. False where the joint rests from then on. */
bool uj_free_piece(const struct uj_free_motion *motion, double joint_us, struct uj_motion_piece *piece);

#endif
