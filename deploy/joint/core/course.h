/* A course: path time as a function of arm time, by one change of rate along the ramp. Before `at` the rate is
 * `before_ppm`; then it follows the table from table time `begin` to `end`; then it is `after_ppm`. A fall to
 * rest is a course too. All in whole numbers (whole.h).
 */
#ifndef UJ_COURSE_H
#define UJ_COURSE_H

#include "ramp.h"

/* A change of rate as a plan carries it. */
struct uj_change {
    int64_t at_us;       /* arm time at which the rate begins to change */
    int64_t path_us;     /* path time at that instant */
    uint32_t before_ppm; /* at most 1000000 */
    uint32_t after_ppm;
};

struct uj_course {
    const struct uj_ramp *ramp;
    uj_time at, path;             /* arm time and path time at which the change begins */
    uj_time begin, end;           /* table times: a and b of the law */
    uj_time begin_path, end_path; /* P of both */
    uint32_t before_ppm, after_ppm;
};

/* Path time and rate at one instant. */
struct uj_progress {
    uj_time path;
    int64_t rate; /* 1/256 ppm */
};

bool uj_change_same(const struct uj_change *one, const struct uj_change *other);

/* The course of a change. */
void uj_course_make(struct uj_course *course, const struct uj_ramp *ramp, const struct uj_change *change);

/* From rest at `path` to table time x, beginning at arm time `at`: the first half of an advance. */
void uj_course_rise(struct uj_course *course, const struct uj_ramp *ramp, uj_time at, uj_time path, uj_time x);

/* To rest from table time x, beginning at arm time `at` and path time `path`. */
void uj_course_fall(struct uj_course *course, const struct uj_ramp *ramp, uj_time at, uj_time path, uj_time x);

struct uj_progress uj_course_progress(const struct uj_course *course, uj_time arm);

/* Path time alone; cheaper. */
uj_time uj_course_path(const struct uj_course *course, uj_time arm);

/* Table time of the rate at an arm time: where a fall that begins there enters the table. */
uj_time uj_course_table_time(const struct uj_course *course, uj_time arm);

/* Arm time at which path time `path` is reached, into *arm; false: never. */
bool uj_course_when(const struct uj_course *course, uj_time path, uj_time *arm);

/* Arm time and path time from which the rate is `after_ppm`. Of a fall: where it comes to rest. */
uj_time uj_course_settled(const struct uj_course *course);
uj_time uj_course_settled_path(const struct uj_course *course);

#endif
