/* What a drive says of plan and permit: arm, advance, go, override, withdrawal. */
#include "player.h"

#include "body.h"
#include "outputs.h"

/* Takes the newest drive's permit, or its absence. */
static void take_permit(struct uj_joint *joint, const struct uj_drive *drive)
{
    uj_path_permit(&joint->player.path, uj_drive_has(drive, UJ_DRIVE_PERMIT), drive->permit_us,
                   uj_body_arm_us(joint));
    uj_player_permitted(joint);
}

/* No permit counts any more. */
static void no_permit(struct uj_joint *joint)
{
    uj_path_permit(&joint->player.path, false, 0, uj_body_arm_us(joint));
    uj_player_permitted(joint);
}

static bool expiry_ahead(const struct uj_joint *joint, const struct uj_drive *drive)
{
    return uj_drive_has(drive, UJ_DRIVE_EXPIRY) && uj_body_arm_us(joint) < (double)drive->expiry_us;
}

/* An arm, at rest on the path before its end. */
static enum uj_reason arm(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_player *player = &joint->player;
    struct uj_path *path = &player->path;
    uj_player_drop_start(joint);
    no_permit(joint);
    /* One that is not complied with uses up the arm before it. */
    player->complied = 0;
    player->arm_counts = false;
    if (drive->plan_number <= player->go_number) {
        return UJ_REASON_NOT_ARMED;
    }
    const int64_t ahead = drive->stand_us - path->stand_us;
    if (drive->stand_us < 0 || ahead < -UJ_PATH_TOLERANCE_US) {
        return UJ_REASON_ELSEWHERE;
    }
    if (!uj_buffer_reaches(&joint->buffer, drive->stand_us)) {
        return UJ_REASON_POINTS_MISSING;
    }
    if (uj_current_is_reduced(joint)) {
        return UJ_REASON_NONE;
    }
    if (ahead <= UJ_PATH_TOLERANCE_US) {
        if (ahead != 0) {
            uj_path_stand(path, drive->stand_us);
            uj_outputs_pass(joint, drive->stand_us);
        }
        uj_player_armed(joint, drive->plan_number, UJ_ON_ARM_HERE);
        if (joint->state == UJ_FINISHED) {
            return UJ_REASON_NOT_ARMED;
        }
    } else if (joint->energised && expiry_ahead(joint, drive)) {
        player->tells_end = false;
        player->advance_expiry_us = drive->expiry_us;
        player->advance_number = drive->plan_number;
        uj_path_advance(path, drive->stand_us, uj_body_arm_us(joint));
        uj_body_go(joint, UJ_ON_ARM_AHEAD);
    }
    return UJ_REASON_NONE;
}

static enum uj_reason advancing(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_player *player = &joint->player;
    if (uj_drive_has(drive, UJ_DRIVE_CHANGE) || drive->stand_us != player->path.target_us ||
        !expiry_ahead(joint, drive)) {
        uj_player_ramp(joint, "withdrawn");
        return UJ_REASON_NOT_ARMED;
    }
    player->advance_expiry_us = drive->expiry_us;
    player->advance_number = drive->plan_number;
    return UJ_REASON_NONE;
}

static enum uj_reason judge_go(const struct uj_joint *joint, const struct uj_drive *drive)
{
    const struct uj_player *player = &joint->player;
    const struct uj_change *change = &drive->change;
    if (joint->state != UJ_ARMED) {
        return UJ_REASON_NOT_ARMED;
    }
    if (drive->stand_us != player->path.stand_us || change->path_us != player->path.stand_us) {
        return UJ_REASON_ELSEWHERE;
    }
    if (uj_body_arm_us(joint) >= (double)change->at_us) {
        return UJ_REASON_LATE;
    }
    if (!player->arm_counts || player->arm_number >= drive->plan_number || change->before_ppm != 0 ||
        change->after_ppm < UJ_RATE_MIN_PPM) {
        return UJ_REASON_NOT_ARMED;
    }
    return UJ_REASON_NONE;
}

/* A go, at rest on the path. */
static enum uj_reason go(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_player *player = &joint->player;
    const bool repeated = uj_player_starts(joint) && drive->plan_number == player->complied &&
                          drive->stand_us == player->path.stand_us &&
                          uj_change_same(&drive->change, &player->path.pending);
    if (!repeated) {
        uj_player_drop_start(joint);
        const enum uj_reason reason = judge_go(joint, drive);
        /* Accepted or refused, it uses up the arm. */
        player->arm_counts = false;
        player->complied = 0;
        if (drive->plan_number > player->go_number) {
            player->go_number = drive->plan_number;
        }
        if (reason != UJ_REASON_NONE) {
            no_permit(joint);
            return reason;
        }
        player->complied = drive->plan_number;
        player->accepted_us = joint->now_us;
        uj_path_pend(&player->path, &drive->change, uj_body_arm_us(joint));
    }
    take_permit(joint, drive);
    return UJ_REASON_NONE;
}

/* Whether it has passed the permit already, as where that was lowered. */
static bool beyond_permit(const struct uj_joint *joint)
{
    int64_t permit_us;
    if (!uj_path_effective_permit(&joint->player.path, &joint->buffer, &permit_us) ||
        (uj_buffer_has_last(&joint->buffer) && permit_us >= uj_buffer_buffered_us(&joint->buffer))) {
        return false;
    }
    return uj_path_progress(&joint->player.path, uj_body_arm_us(joint)).path > permit_us * UJ_TIME_PER_US;
}

static enum uj_reason moving(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_player *player = &joint->player;
    struct uj_path *path = &player->path;
    if (!uj_drive_has(drive, UJ_DRIVE_CHANGE)) {
        uj_player_ramp(joint, "withdrawn");
        return UJ_REASON_NOT_ARMED;
    }
    const double arm_us = uj_body_arm_us(joint);
    enum uj_override what = uj_path_judge(path, &joint->buffer, &drive->change, arm_us);
    if ((what == UJ_OVERRIDE_SOUND || what == UJ_OVERRIDE_POINTS_MISSING) && drive->plan_number <= player->complied) {
        what = UJ_OVERRIDE_WRONG;
    }
    if (what == UJ_OVERRIDE_WRONG) {
        uj_player_ramp(joint, "late");
        return UJ_REASON_LATE;
    }
    if (!uj_drive_has(drive, UJ_DRIVE_PERMIT)) {
        uj_player_ramp(joint, "withdrawn");
        return UJ_REASON_NOT_ARMED;
    }
    if (what == UJ_OVERRIDE_PRESENT || what == UJ_OVERRIDE_POINTS_MISSING) {
        uj_path_drop(path);
    } else if (what == UJ_OVERRIDE_SOUND) {
        uj_path_pend(path, &drive->change, arm_us);
    }
    take_permit(joint, drive);
    if (beyond_permit(joint)) {
        uj_player_ramp(joint, "permit");
        return UJ_REASON_NOT_ARMED;
    }
    if (what == UJ_OVERRIDE_POINTS_MISSING) {
        player->complied = 0;
        return UJ_REASON_POINTS_MISSING;
    }
    player->complied = drive->plan_number;
    return UJ_REASON_NONE;
}

/* A drive without a plan, or with one that is as good as none. */
static void withdraw(struct uj_joint *joint)
{
    joint->player.complied = 0;
    if (joint->state == UJ_ARMED) {
        uj_player_drop_start(joint);
        joint->player.arm_counts = false;
        uj_body_go(joint, joint->player.path.stand_us == 0 ? UJ_ON_DISARM_START : UJ_ON_DISARM_PATH);
    } else {
        uj_player_ramp(joint, "withdrawn");
    }
}

/* What every plan needs; notes its number as seen. */
static enum uj_reason judge_plan(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_player *player = &joint->player;
    const bool lower = drive->plan_number < player->seen;
    if (!lower) {
        player->seen = drive->plan_number;
    }
    if (!uj_clock_has_map(&joint->clock)) {
        return UJ_REASON_NO_MAP;
    }
    if (lower || !joint->homed || joint->safety.faults != 0 || joint->safety.latched != UJ_STOP_NONE ||
        !uj_body_on_path(joint) || drive->trajectory != joint->buffer.trajectory) {
        return UJ_REASON_NOT_ARMED;
    }
    return UJ_REASON_NONE;
}

void uj_player_drive(struct uj_joint *joint, const struct uj_drive *drive)
{
    struct uj_player *player = &joint->player;
    player->reason = UJ_REASON_NONE;
    if (drive->mode != UJ_MODE_PATH || !uj_drive_has(drive, UJ_DRIVE_PLAN)) {
        withdraw(joint);
        return;
    }
    enum uj_reason reason = judge_plan(joint, drive);
    if (reason != UJ_REASON_NONE) {
        withdraw(joint);
    } else if (joint->state == UJ_MOVING) {
        reason = moving(joint, drive);
    } else if (joint->state == UJ_ADVANCING) {
        reason = advancing(joint, drive);
    } else if (joint->state == UJ_RAMPING) {
        reason = UJ_REASON_NOT_ARMED;
    } else if (uj_drive_has(drive, UJ_DRIVE_CHANGE)) {
        reason = go(joint, drive);
    } else if (joint->state == UJ_FINISHED) {
        reason = UJ_REASON_NOT_ARMED;
    } else {
        reason = arm(joint, drive);
    }
    player->reason = (uint8_t)reason;
}
