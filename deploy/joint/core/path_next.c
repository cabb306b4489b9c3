#include "path.h"

static uint32_t larger(uint32_t one, uint32_t other)
{
    return one > other ? one : other;
}

int64_t uj_path_room_us(const struct uj_path *path, const struct uj_buffer *buffer, uint32_t rate_ppm)
{
    const uj_time way = uj_ramp_path(path->ramp, uj_ramp_time(path->ramp, rate_ppm));
    return uj_floor_div(uj_buffer_buffered_us(buffer) * UJ_TIME_PER_US - way, UJ_TIME_PER_US);
}

bool uj_path_effective_permit(const struct uj_path *path, const struct uj_buffer *buffer, int64_t *permit_us)
{
    if (!path->has_permit) {
        return false;
    }
    *permit_us = path->permit_us;
    if (!uj_buffer_has_last(buffer)) {
        uint32_t rate = 0;
        if (path->phase == UJ_PATH_MOVES) {
            rate = larger(path->present.before_ppm, path->present.after_ppm);
        }
        if (path->has_pending) {
            rate = larger(rate, larger(path->pending.before_ppm, path->pending.after_ppm));
        }
        const int64_t room = uj_path_room_us(path, buffer, rate);
        *permit_us = *permit_us < room ? *permit_us : room;
    }
    return true;
}

/* What has been found to come first so far. */
struct next {
    enum uj_path_event event;
    uj_time arm;
};

static void consider(const struct uj_path *path, struct next *next, enum uj_path_event event, uj_time arm)
{
    arm = arm > path->since ? arm : path->since;
    if (next->event == UJ_PATH_NOTHING || arm < next->arm) {
        next->event = event;
        next->arm = arm;
    }
}

/* Arm time at which a path time is reached by the motion as it is now. */
static bool when(const struct uj_path *path, uj_time at_path, uj_time *arm)
{
    if (path->phase == UJ_PATH_ADVANCES && at_path > path->descent.path) {
        return uj_course_when(&path->descent, at_path, arm);
    }
    return uj_course_when(&path->course, at_path, arm);
}

/* Of two at one instant the one considered first counts. */
enum uj_path_event uj_path_next_motion(const struct uj_path *path, const struct uj_buffer *buffer, uj_time *next_arm)
{
    struct next next = {UJ_PATH_NOTHING, 0};
    const bool has_last = uj_buffer_has_last(buffer);
    const int64_t last_us = uj_buffer_buffered_us(buffer);
    uj_time arm;
    int64_t permit_us;
    switch (path->phase) {
    case UJ_PATH_STANDS:
        if (path->has_pending) {
            consider(path, &next, UJ_PATH_START, path->pending.at_us * UJ_TIME_PER_US);
        }
        break;
    case UJ_PATH_ADVANCES:
        consider(path, &next, UJ_PATH_ARRIVAL, uj_course_settled(&path->descent));
        break;
    case UJ_PATH_MOVES:
        if (has_last && when(path, last_us * UJ_TIME_PER_US, &arm)) {
            consider(path, &next, UJ_PATH_LAST, arm);
        }
        if (path->has_pending) {
            consider(path, &next, UJ_PATH_CHANGE, path->pending.at_us * UJ_TIME_PER_US);
        }
        if (!uj_path_effective_permit(path, buffer, &permit_us)) {
            consider(path, &next, UJ_PATH_PERMIT, path->since);
        } else if (!(has_last && permit_us >= last_us)) {
            if (when(path, permit_us * UJ_TIME_PER_US, &arm)) {
                consider(path, &next, UJ_PATH_PERMIT, arm);
            } else if (permit_us * UJ_TIME_PER_US <= uj_course_path(&path->course, path->since)) {
                /* Behind where the motion began, so passed already. Else it is days ahead. */
                consider(path, &next, UJ_PATH_PERMIT, path->since);
            }
        }
        break;
    case UJ_PATH_FALLS:
        if (has_last && when(path, last_us * UJ_TIME_PER_US, &arm)) {
            consider(path, &next, UJ_PATH_LAST, arm);
        }
        /* Rounded to the last point's time it stands there. */
        arm = uj_course_settled(&path->course);
        consider(path, &next,
                 has_last && uj_time_round_us(uj_course_settled_path(&path->course)) >= last_us ? UJ_PATH_LAST
                                                                                                 : UJ_PATH_REST,
                 arm);
        break;
    }
    *next_arm = next.arm;
    return next.event;
}

enum uj_path_event uj_path_next(const struct uj_path *path, const struct uj_buffer *buffer, double *arm_us)
{
    struct next next;
    int64_t switch_us;
    uj_time arm;
    next.event = uj_path_next_motion(path, buffer, &next.arm);
    if (path->phase != UJ_PATH_STANDS && uj_buffer_next_switch(buffer, &switch_us) &&
        when(path, switch_us * UJ_TIME_PER_US, &arm)) {
        arm = arm > path->since ? arm : path->since;
        /* Of two at one instant the switch comes first: whoever comes to rest at a point has switched it. */
        if (arm <= next.arm || next.event == UJ_PATH_NOTHING) {
            next = (struct next){UJ_PATH_SWITCH, arm};
        }
    }
    *arm_us = uj_time_to_us(next.arm);
    return next.event;
}

void uj_path_happen(struct uj_path *path, const struct uj_buffer *buffer, enum uj_path_event event, double arm_us)
{
    const uj_time arm = uj_time_from_us(arm_us);
    path->since = arm > path->since ? arm : path->since;
    int64_t permit_us;
    uj_time from;
    uj_time exact;
    switch (event) {
    case UJ_PATH_CHANGE:
        uj_path_start(path);
        break;
    case UJ_PATH_PERMIT:
        from = uj_course_path(&path->course, arm);
        /* Reached, and not passed by the time the permit was lowered: the fall begins exactly there. */
        if (uj_path_effective_permit(path, buffer, &permit_us) &&
            when(path, permit_us * UJ_TIME_PER_US, &exact) && exact >= arm) {
            from = permit_us * UJ_TIME_PER_US;
        }
        uj_path_fall_from(path, arm, from);
        break;
    case UJ_PATH_ARRIVAL:
        uj_path_stand(path, path->target_us);
        break;
    case UJ_PATH_REST:
        uj_path_stand(path, uj_time_round_us(uj_course_settled_path(&path->course)));
        break;
    case UJ_PATH_LAST:
        uj_path_stand(path, uj_buffer_buffered_us(buffer));
        break;
    case UJ_PATH_NOTHING:
    case UJ_PATH_START:
    case UJ_PATH_SWITCH:
        break;
    }
}
