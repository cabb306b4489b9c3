#include "free_motion.h"

#include <math.h>

static void begin(struct uj_free_motion *motion, double now_us, double position, double velocity)
{
    motion->legs = 0;
    motion->end_us = now_us;
    motion->end_position = position;
    motion->end_velocity = velocity;
}

/* A leg from the end on: with an acceleration to a velocity, or with none over a way. */
static void add(struct uj_free_motion *motion, double duration_s, double acceleration)
{
    if (!(duration_s > 0) || motion->legs == UJ_FREE_LEGS) {
        return;
    }
    motion->leg[motion->legs++] = (struct uj_leg){.from_us = motion->end_us,
                                                  .position = motion->end_position,
                                                  .velocity = motion->end_velocity,
                                                  .acceleration = acceleration};
    motion->end_us += duration_s * 1e6;
    motion->end_position += (motion->end_velocity + 0.5 * acceleration * duration_s) * duration_s;
    motion->end_velocity += acceleration * duration_s;
}

static void add_to_velocity(struct uj_free_motion *motion, double wanted, double acceleration)
{
    const double gain = wanted - motion->end_velocity;
    add(motion, fabs(gain) / acceleration, copysign(acceleration, gain));
    motion->end_velocity = wanted;
}

void uj_free_stand(struct uj_free_motion *motion, double now_us, double position)
{
    begin(motion, now_us, position, 0);
}

void uj_free_to_velocity(struct uj_free_motion *motion, double now_us, double position, double velocity, double wanted,
                         double acceleration)
{
    begin(motion, now_us, position, velocity);
    add_to_velocity(motion, wanted, acceleration);
}

void uj_free_to_target(struct uj_free_motion *motion, double now_us, double position, double velocity, double target,
                       double speed, double acceleration)
{
    begin(motion, now_us, position, velocity);
    const double stops_at = position + velocity * fabs(velocity) / (2 * acceleration);
    /* A joint that runs towards the target and stops short of it need not brake. The allowance is for the one that is
     * on its braking parabola to this very target, and is asked for it again. */
    const double side = target - stops_at;
    const bool comes_to_it = velocity == 0 || side * velocity >= -1e-6 * fabs(velocity);
    if (!comes_to_it) {
        add_to_velocity(motion, 0, acceleration);
    }
    const double way = target - motion->end_position;
    const double sign = way < 0 ? -1 : 1;
    const double now = fabs(motion->end_velocity);
    const double peak = fmin(speed, sqrt(acceleration * fabs(way) + 0.5 * now * now));
    const double braking = peak * peak / (2 * acceleration);
    add_to_velocity(motion, sign * peak, acceleration);
    const double coast = fabs(target - motion->end_position) - braking;
    if (peak > 0) {
        add(motion, coast / peak, 0);
    }
    add_to_velocity(motion, 0, acceleration);
    motion->end_position = target;
}

void uj_free_within(struct uj_free_motion *motion, double now_us, double position, double velocity, double wanted,
                    double acceleration, double low, double high)
{
    const double end = wanted > 0 ? high : low;
    /* Where it would stand if it braked now: beyond the end there is no room to go on. */
    const double rest = position + velocity * fabs(velocity) / (2 * acceleration);
    const bool beyond = wanted > 0 ? rest >= end : rest <= end;
    if (wanted == 0 || beyond) {
        uj_free_to_velocity(motion, now_us, position, velocity, 0, acceleration);
        return;
    }
    uj_free_to_target(motion, now_us, position, velocity, end, fabs(wanted), acceleration);
}

/* The leg that holds at a joint time; NULL: none, the end counts. */
static const struct uj_leg *leg_at(const struct uj_free_motion *motion, double joint_us, double *until_us)
{
    *until_us = motion->end_us;
    if (joint_us >= motion->end_us) {
        return NULL;
    }
    for (uint32_t i = motion->legs; i > 0; i--) {
        const struct uj_leg *leg = &motion->leg[i - 1];
        if (joint_us >= leg->from_us || i == 1) {
            return leg;
        }
        *until_us = leg->from_us;
    }
    return NULL;
}

void uj_free_at(const struct uj_free_motion *motion, double joint_us, double *position, double *velocity)
{
    double until_us;
    const struct uj_leg *leg = leg_at(motion, joint_us, &until_us);
    if (leg == NULL) {
        *velocity = motion->end_velocity;
        *position = motion->end_position + motion->end_velocity * (joint_us - motion->end_us) / 1e6;
        return;
    }
    const double t = fmax(joint_us - leg->from_us, 0) / 1e6;
    *velocity = leg->velocity + leg->acceleration * t;
    *position = leg->position + (leg->velocity + 0.5 * leg->acceleration * t) * t;
}

double uj_free_rest_us(const struct uj_free_motion *motion)
{
    return motion->end_velocity == 0 ? motion->end_us : (double)INFINITY;
}

bool uj_free_piece(const struct uj_free_motion *motion, double joint_us, struct uj_motion_piece *piece)
{
    double until_us;
    double p0;
    double v0;
    double p1;
    double v1;
    const bool ends = leg_at(motion, joint_us, &until_us) != NULL;
    if (!ends && motion->end_velocity == 0) {
        return false;
    }
    piece->from = uj_time_from_us(joint_us);
    piece->to = piece->from + UJ_PIECE_LENGTH_MAX;
    if (ends && uj_time_from_us(until_us) < piece->to) {
        /* A leg shorter than a 256th of a µs is as good as passed, but time must go on. */
        piece->to = uj_time_from_us(until_us) > piece->from ? uj_time_from_us(until_us) : piece->from + 1;
    }
    piece->on_path = false;
    uj_free_at(motion, uj_time_to_us(piece->from), &p0, &v0);
    uj_free_at(motion, uj_time_to_us(piece->to), &p1, &v1);
    uj_piece_cubic(piece, piece->from, piece->to - piece->from, p0, v0, p1, v1);
    return true;
}
