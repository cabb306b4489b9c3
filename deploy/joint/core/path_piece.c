#include "path.h"

/* What the motion will be at arm time `arm` with nothing more from outside, and until when. False: it stands. */
static bool foresee(struct uj_path *path, const struct uj_buffer *buffer, uj_time arm, uj_time *until)
{
    /* A start, an override, a fall and a rest: more cannot follow one another without a new drive. */
    for (int event = 0; event < 8; event++) {
        int64_t permit_us;
        const enum uj_path_event next = uj_path_next_motion(path, buffer, until);
        if (next == UJ_PATH_NOTHING || *until > arm) {
            break;
        }
        if (next == UJ_PATH_START) {
            if (!uj_path_effective_permit(path, buffer, &permit_us) || permit_us <= path->stand_us) {
                return false;
            }
            uj_path_start(path);
        } else {
            uj_path_happen(path, buffer, next, uj_time_to_us(*until));
        }
    }
    return path->phase != UJ_PATH_STANDS;
}

bool uj_path_piece(const struct uj_path *path, const struct uj_buffer *buffer, const struct uj_clock *clock,
                   double joint_us, struct uj_motion_piece *piece)
{
    struct uj_path then = *path;
    struct uj_point a;
    struct uj_point b;
    uj_time until;
    if (!uj_clock_has_map(clock)) {
        return false;
    }
    piece->from = uj_time_from_us(joint_us);
    const uj_time arm = uj_clock_arm(clock, piece->from);
    if (!foresee(&then, buffer, arm, &until)) {
        return false;
    }
    piece->on_path = true;
    piece->clock = *clock;
    piece->course = *uj_path_course(&then, arm);
    if (then.phase == UJ_PATH_ADVANCES && arm < then.descent.at) {
        until = then.descent.at;
    }
    const uj_time now = uj_course_path(&piece->course, arm);
    uj_time origin = now;
    if (!uj_buffer_segment(buffer, origin, &a, &b)) {
        return false;
    }
    /* A segment that is longer than a piece may be is taken from here on. */
    uj_time end = b.time_us * UJ_TIME_PER_US;
    if (end - a.time_us * UJ_TIME_PER_US <= UJ_PIECE_LENGTH_MAX) {
        origin = a.time_us * UJ_TIME_PER_US;
    } else if (end - origin > UJ_PIECE_LENGTH_MAX) {
        end = origin + UJ_PIECE_LENGTH_MAX;
    }
    if (end <= origin) {
        return false;
    }
    const double origin_us = uj_time_to_us(origin);
    const double end_us = uj_time_to_us(end);
    uj_piece_cubic(piece, origin, end - origin, uj_segment_position(&a, &b, origin_us),
                   uj_segment_velocity(&a, &b, origin_us), uj_segment_position(&a, &b, end_us),
                   uj_segment_velocity(&a, &b, end_us));
    uj_time arm_end;
    /* At the newest point or beyond it, which only rounding can bring about, it stands there until the event. */
    if (now < end && uj_course_when(&piece->course, end, &arm_end) && arm_end < until) {
        until = arm_end;
    }
    piece->to = uj_clock_joint(clock, until) + 1;
    if (piece->to <= piece->from) {
        /* By rounding the segment's end is passed in time, not yet along the path: at the lowest rate path time
         * needs 20 units of time for one. */
        piece->to = piece->from + 32;
    }
    return true;
}
