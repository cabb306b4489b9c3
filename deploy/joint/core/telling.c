/* What a joint says of itself and of its motion: reads only. The functions are those of joint.h. */
#include <math.h>

#include "joint.h"

static int64_t within(int64_t value, int64_t most)
{
    return value > most ? most : value < -most ? -most : value;
}

static uint8_t flags(const struct uj_joint *joint, bool permit)
{
    const struct uj_safety *safety = &joint->safety;
    unsigned bits = 0;
    bits |= joint->homed ? (unsigned)UJ_STATUS_HOMED : 0u;
    bits |= joint->energised ? (unsigned)UJ_STATUS_ENERGISED : 0u;
    bits |= permit ? (unsigned)UJ_STATUS_PERMIT : 0u;
    bits |= safety->has_temperature ? (unsigned)UJ_STATUS_TEMPERATURE : 0u;
    bits |= safety->has_supply ? (unsigned)UJ_STATUS_SUPPLY : 0u;
    if (joint->settings.tells_home_sensor) {
        bits |= UJ_STATUS_TELLS_HOME_SENSOR;
        bits |= joint->edges.active ? (unsigned)UJ_STATUS_HOME_SENSOR : 0u;
    }
    bits |= uj_current_is_reduced(joint) ? (unsigned)UJ_STATUS_REDUCED : 0u;
    return (uint8_t)bits;
}

void uj_joint_where(const struct uj_joint *joint, double now_us, double *position, double *velocity)
{
    if (!uj_body_on_path(joint)) {
        uj_free_at(&joint->mover.motion, now_us, position, velocity);
        return;
    }
    const bool mapped = uj_clock_has_map(&joint->clock);
    uj_path_where(&joint->player.path, &joint->buffer, mapped ? uj_clock_arm_us(&joint->clock, now_us) : 0, position,
                  velocity);
}

bool uj_joint_piece(const struct uj_joint *joint, double now_us, struct uj_motion_piece *piece)
{
    if (!uj_body_on_path(joint)) {
        return uj_free_piece(&joint->mover.motion, now_us, piece);
    }
    return uj_clock_has_map(&joint->clock) &&
           uj_path_piece(&joint->player.path, &joint->buffer, &joint->clock, now_us, piece);
}

static int64_t path_us(const struct uj_joint *joint)
{
    if (!uj_body_on_path(joint)) {
        return 0;
    }
    if (!uj_clock_has_map(&joint->clock)) {
        return joint->player.path.stand_us;
    }
    return uj_time_round_us(uj_path_progress(&joint->player.path, uj_body_arm_us(joint)).path);
}

void uj_joint_status(const struct uj_joint *joint, struct uj_status *status)
{
    int64_t permit_us = 0;
    const bool permit = uj_player_permit(joint, &permit_us);
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    const bool slews = uj_clock_has_map(&joint->clock) && !uj_body_rests(joint);
    *status = (struct uj_status){
        .boot = joint->settings.boot,
        .sequence = joint->session.sequence,
        .state = (uint8_t)joint->state,
        .flags = flags(joint, permit),
        .stop = joint->safety.latched,
        .reason = joint->player.reason,
        .plan = joint->player.complied,
        .permit_us = permit ? within(permit_us, UJ_MAX_INTEGER) : 0,
        .map_number = joint->clock.map.number,
        .remainder_us = 0,
        .position = within(uj_body_round(position), UJ_MAX_INTEGER),
        .velocity = (int32_t)within(uj_body_round(velocity), INT32_MAX),
        .path_us = path_us(joint),
        .trajectory = joint->buffer.trajectory,
        .next_index = uj_buffer_next_index(&joint->buffer),
        .buffered_us = uj_buffer_buffered_us(&joint->buffer),
        .temperature_centi_c = joint->safety.temperature_centi_c,
        .supply_mv = joint->safety.supply_mv,
        .fan_percent = joint->safety.fan_percent,
        .rssi_dbm = joint->safety.rssi_dbm,
        .faults = joint->safety.faults,
        .inputs = joint->inputs,
        .outputs = joint->outputs,
        .touch_turn = uj_touch_turned(&joint->touch),
        .touch_presses = joint->touch.presses,
        .touch_long_presses = joint->touch.long_presses,
        .homing_number = joint->homing.number,
    };
    if (slews) {
        status->remainder_us = (int32_t)within(
            uj_body_round(uj_clock_remainder_us(&joint->clock, joint->now_us)), INT32_MAX);
    }
}
