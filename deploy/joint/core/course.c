#include "course.h"

#define NEVER_BEYOND ((uj_time)1 << 48) /* of path time: twelve days */

bool uj_change_same(const struct uj_change *one, const struct uj_change *other)
{
    return one->at_us == other->at_us && one->path_us == other->path_us && one->before_ppm == other->before_ppm &&
           one->after_ppm == other->after_ppm;
}

static void between(struct uj_course *course, const struct uj_ramp *ramp, uj_time begin, uj_time end)
{
    course->ramp = ramp;
    course->begin = begin;
    course->end = end;
    course->begin_path = uj_ramp_path(ramp, begin);
    course->end_path = uj_ramp_path(ramp, end);
}

/* Rate at a table time to the nearest ppm. */
static uint32_t nearest_ppm(const struct uj_ramp *ramp, uj_time x)
{
    return (uint32_t)((uj_ramp_rate(ramp, x) + 128) / 256);
}

void uj_course_make(struct uj_course *course, const struct uj_ramp *ramp, const struct uj_change *change)
{
    between(course, ramp, uj_ramp_time(ramp, change->before_ppm), uj_ramp_time(ramp, change->after_ppm));
    course->at = change->at_us * UJ_TIME_PER_US;
    course->path = change->path_us * UJ_TIME_PER_US;
    course->before_ppm = change->before_ppm;
    course->after_ppm = change->after_ppm;
}

void uj_course_rise(struct uj_course *course, const struct uj_ramp *ramp, uj_time at, uj_time path, uj_time x)
{
    between(course, ramp, 0, x);
    course->at = at;
    course->path = path;
    course->before_ppm = 0;
    course->after_ppm = nearest_ppm(ramp, x);
}

void uj_course_fall(struct uj_course *course, const struct uj_ramp *ramp, uj_time at, uj_time path, uj_time x)
{
    between(course, ramp, x, 0);
    course->at = at;
    course->path = path;
    course->before_ppm = nearest_ppm(ramp, x);
    course->after_ppm = 0;
}

static bool speeds_up(const struct uj_course *course)
{
    return course->end >= course->begin;
}

static uj_time ramp_time(const struct uj_course *course)
{
    return speeds_up(course) ? course->end - course->begin : course->begin - course->end;
}

static uj_time ramp_path(const struct uj_course *course)
{
    return speeds_up(course) ? course->end_path - course->begin_path : course->begin_path - course->end_path;
}

uj_time uj_course_table_time(const struct uj_course *course, uj_time arm)
{
    const uj_time elapsed = arm - course->at;
    if (elapsed <= 0) {
        return course->begin;
    }
    if (elapsed >= ramp_time(course)) {
        return course->end;
    }
    return speeds_up(course) ? course->begin + elapsed : course->begin - elapsed;
}

uj_time uj_course_path(const struct uj_course *course, uj_time arm)
{
    const uj_time elapsed = arm - course->at;
    if (elapsed <= 0) {
        return course->path + uj_rate_path(elapsed, course->before_ppm);
    }
    if (elapsed >= ramp_time(course)) {
        return uj_course_settled_path(course) + uj_rate_path(elapsed - ramp_time(course), course->after_ppm);
    }
    const uj_time there = uj_ramp_path(course->ramp, uj_course_table_time(course, arm));
    return course->path + (speeds_up(course) ? there - course->begin_path : course->begin_path - there);
}

struct uj_progress uj_course_progress(const struct uj_course *course, uj_time arm)
{
    const uj_time elapsed = arm - course->at;
    struct uj_progress progress = {.path = uj_course_path(course, arm), .rate = 0};
    if (elapsed <= 0) {
        progress.rate = (int64_t)course->before_ppm * 256;
    } else if (elapsed >= ramp_time(course)) {
        progress.rate = (int64_t)course->after_ppm * 256;
    } else {
        progress.rate = uj_ramp_rate(course->ramp, uj_course_table_time(course, arm));
    }
    return progress;
}

bool uj_course_when(const struct uj_course *course, uj_time path, uj_time *arm)
{
    const uj_time ahead = path - course->path;
    const uj_time on_ramp = ramp_path(course);
    if (ahead > NEVER_BEYOND || ahead < -NEVER_BEYOND) {
        return false;
    }
    if (ahead <= 0) {
        if (ahead < 0 && course->before_ppm == 0) {
            return false;
        }
        *arm = ahead == 0 ? course->at : course->at - uj_rate_time(-ahead, course->before_ppm);
        return true;
    }
    if (ahead <= on_ramp) {
        *arm = speeds_up(course)
                   ? course->at + uj_ramp_time_of_path(course->ramp, course->begin_path + ahead) - course->begin
                   : course->at + course->begin - uj_ramp_time_of_path(course->ramp, course->begin_path - ahead);
        return true;
    }
    if (course->after_ppm == 0) {
        return false;
    }
    *arm = uj_course_settled(course) + uj_rate_time(ahead - on_ramp, course->after_ppm);
    return true;
}

uj_time uj_course_settled(const struct uj_course *course)
{
    return course->at + ramp_time(course);
}

uj_time uj_course_settled_path(const struct uj_course *course)
{
    return course->path + ramp_path(course);
}
