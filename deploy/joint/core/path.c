#include "path.h"

#include <string.h>

void uj_path_begin(struct uj_path *path, const struct uj_ramp *ramp)
{
    memset(path, 0, sizeof *path);
    path->ramp = ramp;
}

/* The arm time that counts: it does not go back. */
static uj_time clip(struct uj_path *path, double arm_now_us)
{
    const uj_time now = uj_time_from_us(arm_now_us);
    path->since = now > path->since ? now : path->since;
    return path->since;
}

const struct uj_course *uj_path_course(const struct uj_path *path, uj_time arm)
{
    return path->phase == UJ_PATH_ADVANCES && arm >= path->descent.at ? &path->descent : &path->course;
}

void uj_path_stand(struct uj_path *path, int64_t stand_us)
{
    path->phase = UJ_PATH_STANDS;
    path->stand_us = stand_us;
    path->has_pending = false;
}

void uj_path_advance(struct uj_path *path, int64_t target_us, double arm_now_us)
{
    const uj_time now = clip(path, arm_now_us);
    const uj_time from = path->stand_us * UJ_TIME_PER_US;
    const uj_time target = target_us * UJ_TIME_PER_US;
    uj_time x = uj_ramp_time(path->ramp, UJ_ADVANCE_RATE_PPM);
    uj_time level = target - from - 2 * uj_ramp_path(path->ramp, x);
    if (level < 0) {
        /* Too short for both halves at this rate: the rate is lower, and nothing to speak of is left between. */
        x = uj_ramp_time_of_path(path->ramp, (target - from) / 2);
        level = 0;
    }
    const uj_time half = uj_ramp_path(path->ramp, x);
    uj_course_rise(&path->course, path->ramp, now, from, x);
    const uj_time between = level > 0 ? uj_rate_time(level, path->course.after_ppm) : 0;
    uj_course_fall(&path->descent, path->ramp, now + x + between, target - half, x);
    path->phase = UJ_PATH_ADVANCES;
    path->target_us = target_us;
    path->has_pending = false;
}

void uj_path_pend(struct uj_path *path, const struct uj_change *change, double arm_now_us)
{
    (void)clip(path, arm_now_us);
    path->pending = *change;
    path->has_pending = true;
}

void uj_path_drop(struct uj_path *path)
{
    path->has_pending = false;
}

void uj_path_start(struct uj_path *path)
{
    path->present = path->pending;
    path->has_pending = false;
    uj_course_make(&path->course, path->ramp, &path->present);
    path->phase = UJ_PATH_MOVES;
    path->since = path->course.at;
}

void uj_path_permit(struct uj_path *path, bool has_permit, int64_t permit_us, double arm_now_us)
{
    (void)clip(path, arm_now_us);
    path->has_permit = has_permit;
    path->permit_us = has_permit ? permit_us : 0;
}

void uj_path_fall_from(struct uj_path *path, uj_time arm, uj_time from)
{
    const uj_time x = uj_course_table_time(uj_path_course(path, arm), arm);
    uj_course_fall(&path->course, path->ramp, arm, from, x);
    path->phase = UJ_PATH_FALLS;
    path->has_pending = false;
    path->has_permit = false;
    path->fell_us = uj_time_round_us(from);
}

void uj_path_fall(struct uj_path *path, double arm_now_us)
{
    const uj_time now = clip(path, arm_now_us);
    uj_path_fall_from(path, now, uj_course_path(uj_path_course(path, now), now));
}

enum uj_override uj_path_judge(const struct uj_path *path, const struct uj_buffer *buffer,
                               const struct uj_change *change, double arm_now_us)
{
    const uj_time tolerance = (uj_time)UJ_PATH_TOLERANCE_US * UJ_TIME_PER_US;
    if (uj_change_same(change, &path->present)) {
        return UJ_OVERRIDE_PRESENT;
    }
    if (path->has_pending && uj_change_same(change, &path->pending)) {
        return UJ_OVERRIDE_PENDING;
    }
    const uj_time at = change->at_us * UJ_TIME_PER_US;
    if (change->before_ppm != path->present.after_ppm || change->after_ppm < UJ_RATE_MIN_PPM ||
        change->after_ppm > UJ_RATE_MAX_PPM || at <= uj_time_from_us(arm_now_us) ||
        at < uj_course_settled(&path->course) - tolerance) {
        return UJ_OVERRIDE_WRONG;
    }
    const uj_time apart = uj_course_path(&path->course, at) - change->path_us * UJ_TIME_PER_US;
    if (apart > tolerance || apart < -tolerance) {
        return UJ_OVERRIDE_WRONG;
    }
    const bool reached =
        uj_buffer_has_last(buffer) || change->path_us <= uj_path_room_us(path, buffer, change->after_ppm);
    return reached ? UJ_OVERRIDE_SOUND : UJ_OVERRIDE_POINTS_MISSING;
}

struct uj_progress uj_path_progress(const struct uj_path *path, double arm_us)
{
    if (path->phase == UJ_PATH_STANDS) {
        return (struct uj_progress){.path = path->stand_us * UJ_TIME_PER_US, .rate = 0};
    }
    const uj_time arm = uj_time_from_us(arm_us);
    return uj_course_progress(uj_path_course(path, arm), arm);
}

void uj_path_where(const struct uj_path *path, const struct uj_buffer *buffer, double arm_us, double *position,
                   double *velocity)
{
    const struct uj_progress progress = uj_path_progress(path, arm_us);
    uj_buffer_where(buffer, progress.path, position, velocity);
    *velocity *= (double)progress.rate / (UJ_RATE_MAX_PPM * 256.0);
}

void uj_path_free(const struct uj_path *path, struct uj_buffer *buffer, double arm_us)
{
    uj_buffer_free(buffer, uj_floor_div(uj_path_progress(path, arm_us).path, UJ_TIME_PER_US));
}
