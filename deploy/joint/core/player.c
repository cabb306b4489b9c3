#include "player.h"

#include <math.h>

#include "body.h"
#include "outputs.h"

void uj_player_init(struct uj_joint *joint)
{
    joint->player = (struct uj_player){.permitted_us = INFINITY, .cause = ""};
    uj_buffer_clear(&joint->buffer);
    uj_path_begin(&joint->player.path, &joint->ramp);
}

bool uj_player_starts(const struct uj_joint *joint)
{
    return joint->state == UJ_ARMED && joint->player.path.has_pending;
}

void uj_player_drop_start(struct uj_joint *joint)
{
    if (uj_player_starts(joint)) {
        uj_path_drop(&joint->player.path);
        joint->player.complied = 0;
        joint->player.permitted_us = INFINITY;
        uj_body_settle(joint);
    }
}

void uj_player_discard(struct uj_joint *joint)
{
    struct uj_player *player = &joint->player;
    uj_player_drop_start(joint);
    if (uj_state_rests_on_path(joint->state)) {
        uj_mover_stand(joint);
        uj_body_go(joint, UJ_ON_DISCARD);
    }
    uj_buffer_clear(&joint->buffer);
    uj_path_begin(&player->path, &joint->ramp);
    player->complied = 0;
    player->arm_counts = false;
    player->tells_end = false;
    player->permitted_us = INFINITY;
}

void uj_player_forget(struct uj_joint *joint)
{
    uj_player_discard(joint);
    uj_player_init(joint);
}

/* Whether a permit in force reaches beyond where it stands. */
static bool may_start(const struct uj_joint *joint)
{
    int64_t permit_us;
    return uj_path_effective_permit(&joint->player.path, &joint->buffer, &permit_us) &&
           permit_us > joint->player.path.stand_us;
}

void uj_player_permitted(struct uj_joint *joint)
{
    if (!uj_player_starts(joint) || !may_start(joint)) {
        joint->player.permitted_us = INFINITY;
    } else if (isinf(joint->player.permitted_us)) {
        joint->player.permitted_us = joint->now_us;
    }
}

bool uj_player_permit(const struct uj_joint *joint, int64_t *permit_us)
{
    if (joint->player.tells_end) {
        *permit_us = joint->player.end_us;
        return true;
    }
    if (joint->state != UJ_MOVING && !uj_player_starts(joint)) {
        return false;
    }
    return uj_path_effective_permit(&joint->player.path, &joint->buffer, permit_us);
}

/* The fall has begun, by itself or because it was told to. */
static void ramping(struct uj_joint *joint, const char *cause)
{
    struct uj_player *player = &joint->player;
    player->complied = 0;
    player->cause = cause;
    player->tells_end = true;
    player->end_us = player->path.fell_us;
    uj_body_go(joint, UJ_ON_RAMP);
}

void uj_player_ramp(struct uj_joint *joint, const char *cause)
{
    if (joint->state != UJ_MOVING && joint->state != UJ_ADVANCING) {
        return;
    }
    uj_path_fall(&joint->player.path, uj_body_arm_us(joint));
    ramping(joint, cause);
}

/* It stands at the last point. */
static void finish(struct uj_joint *joint)
{
    struct uj_player *player = &joint->player;
    struct uj_event event = {.type = UJ_EVENT_FINISHED};
    event.of.finished.trajectory = joint->buffer.trajectory;
    event.of.finished.at_us = uj_body_round(joint->now_us);
    event.of.finished.position = uj_body_position(joint);
    player->complied = 0;
    player->reason = UJ_REASON_NOT_ARMED;
    player->arm_counts = false;
    player->tells_end = true;
    player->end_us = uj_buffer_buffered_us(&joint->buffer);
    uj_outputs_pass(joint, player->path.stand_us);
    uj_body_tell(joint, &event);
    uj_body_go(joint, UJ_ON_LAST_POINT);
}

static bool at_last_point(const struct uj_joint *joint)
{
    return uj_buffer_has_last(&joint->buffer) &&
           joint->player.path.stand_us >= uj_buffer_buffered_us(&joint->buffer);
}

void uj_player_armed(struct uj_joint *joint, uint32_t number, enum uj_trigger trigger)
{
    struct uj_player *player = &joint->player;
    player->tells_end = false;
    player->complied = number;
    player->arm_counts = true;
    player->arm_number = number;
    if (joint->state != UJ_ARMED) {
        uj_body_go(joint, trigger);
    }
    if (at_last_point(joint)) {
        finish(joint);
    }
}

static enum uj_path_event next(const struct uj_joint *joint, double *joint_us)
{
    *joint_us = INFINITY;
    if (!uj_body_on_path(joint) || !uj_clock_has_map(&joint->clock)) {
        return UJ_PATH_NOTHING;
    }
    double arm_us;
    const enum uj_path_event event = uj_path_next(&joint->player.path, &joint->buffer, &arm_us);
    if (event != UJ_PATH_NOTHING) {
        *joint_us = uj_clock_joint_us(&joint->clock, arm_us);
    }
    return event;
}

static double expires_us(const struct uj_joint *joint)
{
    if (joint->state != UJ_ADVANCING) {
        return INFINITY;
    }
    return uj_clock_joint_us(&joint->clock, (double)joint->player.advance_expiry_us);
}

double uj_player_next_us(const struct uj_joint *joint)
{
    double event_us;
    next(joint, &event_us);
    return fmin(event_us, expires_us(joint));
}

/* The pending start's instant. */
static void start(struct uj_joint *joint)
{
    struct uj_player *player = &joint->player;
    if (!may_start(joint)) {
        uj_player_drop_start(joint);
        player->reason = UJ_REASON_LATE;
        return;
    }
    struct uj_event event = {.type = UJ_EVENT_STARTED};
    event.of.started.trajectory = joint->buffer.trajectory;
    event.of.started.plan = player->complied;
    event.of.started.path_us = player->path.stand_us;
    event.of.started.permission_us = uj_body_round(fmax(player->accepted_us, player->permitted_us));
    event.of.started.start_us = uj_body_round(joint->now_us);
    uj_path_start(&player->path);
    uj_body_tell(joint, &event);
    uj_body_go(joint, UJ_ON_START);
}

/* It has come to rest on the path before its end. */
static void hold(struct uj_joint *joint)
{
    struct uj_player *player = &joint->player;
    struct uj_event event = {.type = UJ_EVENT_HELD};
    event.of.held.trajectory = joint->buffer.trajectory;
    event.of.held.at_us = uj_body_round(joint->now_us);
    event.of.held.path_us = player->path.stand_us;
    event.of.held.ramp_began_us = player->end_us;
    event.of.held.cause = player->cause;
    uj_outputs_pass(joint, player->path.stand_us);
    uj_outputs_on_hold(joint);
    uj_body_tell(joint, &event);
    uj_body_go(joint, UJ_ON_REST);
}

/* A point that switches outputs is reached: those of this instant, no others. */
static void switch_outputs(struct uj_joint *joint)
{
    int64_t path_us;
    if (uj_buffer_next_switch(&joint->buffer, &path_us)) {
        uj_outputs_pass(joint, path_us);
    }
}

void uj_player_happen(struct uj_joint *joint)
{
    struct uj_player *player = &joint->player;
    double joint_us;
    const enum uj_path_event event = next(joint, &joint_us);
    if (joint_us > joint->now_us) {
        if (expires_us(joint) <= joint->now_us) {
            uj_player_ramp(joint, "expiry");
        }
        return;
    }
    double arm_us;
    uj_path_next(&player->path, &joint->buffer, &arm_us);
    uj_path_happen(&player->path, &joint->buffer, event, arm_us);
    switch (event) {
    case UJ_PATH_START:
        start(joint);
        break;
    case UJ_PATH_PERMIT:
        ramping(joint, "permit");
        break;
    case UJ_PATH_SWITCH:
        switch_outputs(joint);
        break;
    case UJ_PATH_ARRIVAL:
        uj_outputs_pass(joint, player->path.stand_us);
        uj_player_armed(joint, player->advance_number, UJ_ON_ARRIVED);
        break;
    case UJ_PATH_REST:
        hold(joint);
        break;
    case UJ_PATH_LAST:
        finish(joint);
        break;
    case UJ_PATH_CHANGE:
    case UJ_PATH_NOTHING:
        break;
    }
}
