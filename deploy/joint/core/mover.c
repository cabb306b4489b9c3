#include "mover.h"

#include <math.h>

#include "body.h"

void uj_mover_stand(struct uj_joint *joint)
{
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    uj_free_stand(&joint->mover.motion, joint->now_us, position);
}

void uj_mover_brake(struct uj_joint *joint, const char *why)
{
    if (joint->state == UJ_STOPPING || uj_state_rests(joint->state)) {
        return;
    }
    if (joint->state == UJ_HOMING) {
        uj_homing_failed(joint, why);
    }
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    uj_free_to_velocity(&joint->mover.motion, joint->now_us, position, velocity, 0,
                        (double)joint->configuration.acceleration);
    uj_body_go(joint, UJ_ON_STOP);
}

static double between(double value, double low, double high)
{
    return fmin(fmax(value, low), high);
}

/* Moves as the jog asks, from where the joint is. */
static void move(struct uj_joint *joint)
{
    const struct uj_configuration *configuration = &joint->configuration;
    struct uj_mover *mover = &joint->mover;
    const bool ranged = joint->homed && configuration->has_range;
    const double low = ranged ? (double)configuration->range_low : -INFINITY;
    const double high = ranged ? (double)configuration->range_high : INFINITY;
    const double limit = (double)(joint->homed ? configuration->velocity : configuration->jog_unhomed);
    const double wanted = between((double)mover->velocity, -limit, limit);
    const double acceleration = (double)configuration->acceleration;
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    if (mover->has_target) {
        uj_free_to_target(&mover->motion, joint->now_us, position, velocity,
                          between((double)mover->target, low, high), fabs(wanted), acceleration);
    } else if (ranged) {
        uj_free_within(&mover->motion, joint->now_us, position, velocity, wanted, acceleration, low, high);
    } else {
        uj_free_to_velocity(&mover->motion, joint->now_us, position, velocity, wanted, acceleration);
    }
}

/* Jogs as the drive asks; a drive that asks for the same again changes no motion. */
static void jog(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_mover *mover = &joint->mover;
    const bool has_target = uj_drive_has(drive, UJ_DRIVE_TARGET);
    const bool same = joint->state == UJ_JOGGING && has_target == mover->has_target &&
                      drive->jog_velocity == mover->velocity &&
                      (!has_target || drive->jog_target == mover->target);
    mover->expiry_us = drive->expiry_us;
    if (same) {
        return;
    }
    mover->has_target = has_target;
    mover->target = drive->jog_target;
    mover->velocity = drive->jog_velocity;
    if (joint->state != UJ_JOGGING) {
        uj_body_go(joint, UJ_ON_JOG);
    }
    move(joint);
}

void uj_mover_drive(struct uj_joint *joint, const struct uj_drive *drive)
{
    const bool ahead = uj_drive_has(drive, UJ_DRIVE_EXPIRY) && uj_clock_has_map(&joint->clock) &&
                       uj_body_arm_us(joint) < (double)drive->expiry_us;
    const bool jogs = drive->mode == UJ_MODE_JOG && drive->jog_velocity != 0 && ahead;
    const bool homes = drive->mode == UJ_MODE_HOME && drive->homing_number != 0 && ahead;
    switch (joint->state) {
    case UJ_JOGGING:
        if (jogs) {
            jog(joint, drive);
        } else {
            uj_mover_brake(joint, "");
        }
        break;
    case UJ_HOMING:
        if (homes && drive->homing_number == joint->homing.number) {
            joint->mover.expiry_us = drive->expiry_us;
        } else {
            uj_mover_brake(joint, "the newest drive does not ask for it any more");
        }
        break;
    case UJ_UNHOMED:
    case UJ_READY:
        if (!joint->configured || !joint->energised || joint->safety.faults != 0 ||
            joint->safety.latched != UJ_STOP_NONE || uj_current_is_reduced(joint)) {
            break;
        }
        if (jogs) {
            jog(joint, drive);
        } else if (homes && drive->homing_number != joint->homing.number) {
            joint->mover.expiry_us = drive->expiry_us;
            uj_body_go(joint, UJ_ON_HOME);
            uj_homing_begin(joint, drive->homing_number);
        }
        break;
    default:
        break;
    }
}

static double expires_us(const struct uj_joint *joint)
{
    if (joint->state != UJ_JOGGING && joint->state != UJ_HOMING) {
        return INFINITY;
    }
    return uj_clock_joint_us(&joint->clock, (double)joint->mover.expiry_us);
}

static double rests_us(const struct uj_joint *joint)
{
    /* A jog that has come to rest stays jogging, as long as it is asked to go on. */
    if (joint->state != UJ_STOPPING && joint->state != UJ_HOMING) {
        return INFINITY;
    }
    return uj_free_rest_us(&joint->mover.motion);
}

double uj_mover_next_us(const struct uj_joint *joint)
{
    return fmin(expires_us(joint), rests_us(joint));
}

static void come_to_rest(struct uj_joint *joint)
{
    if (joint->state == UJ_HOMING) {
        uj_homing_rest(joint);
        return;
    }
    uj_mover_stand(joint);
    uj_safety_at_rest(joint);
    if (joint->safety.faults != 0) {
        uj_body_go(joint, UJ_ON_REST_FAULT);
    } else {
        uj_body_go(joint, joint->homed ? UJ_ON_REST_HOMED : UJ_ON_REST_UNHOMED);
    }
}

void uj_mover_happen(struct uj_joint *joint)
{
    if (rests_us(joint) <= joint->now_us) {
        come_to_rest(joint);
    } else if (expires_us(joint) <= joint->now_us) {
        uj_mover_brake(joint, "its permission expired");
    }
}
