/* Questions on the law of motion: ramp, course, clock, segments, middle, and the law in whole numbers. */
#include <inttypes.h>
#include <stdio.h>

#include "clock.h"
#include "course.h"
#include "middle.h"
#include "segments.h"
#include "vectors.h"

static void tell(const char *name, double value)
{
    printf(",\"%s\":%.9f", name, value);
}

static void tell_us(const char *name, uj_time time)
{
    tell(name, uj_time_to_us(time));
}

static void tell_rate(const char *name, int64_t rate)
{
    tell(name, (double)rate / 256);
}

/* The elements of a list; one that is missing ends the program. */
static struct uj_json element(struct uj_json list, size_t *at)
{
    struct uj_json key;
    struct uj_json value = {0};
    if (!uj_json_next(list, at, &key, &value)) {
        vectors_give_up("too short", "a list");
    }
    return value;
}

static int64_t number(struct uj_json value)
{
    int64_t read = 0;
    if (!uj_json_integer(value, -UJ_MAX_INTEGER, UJ_MAX_INTEGER, &read)) {
        vectors_give_up("no whole number", "in a list");
    }
    return read;
}

static void read_ramp(struct uj_json question, struct uj_ramp *ramp)
{
    static struct uj_ramp_row rows[UJ_MAX_RAMP_ROWS];
    const struct uj_json list = vectors_member(question, "rows");
    struct uj_json key;
    struct uj_json pair;
    uint32_t count = 0;
    size_t at = 0;
    while (count < UJ_MAX_RAMP_ROWS && uj_json_next(list, &at, &key, &pair)) {
        size_t within = 0;
        rows[count].time_us = number(element(pair, &within));
        rows[count].rate_ppm = number(element(pair, &within));
        count++;
    }
    uj_ramp_make(ramp, count, rows);
}

static void read_course(struct uj_json question, struct uj_ramp *ramp, struct uj_course *course)
{
    const struct uj_json change = vectors_member(question, "change");
    const struct uj_change read = {.at_us = vectors_integer(change, "at_us"),
                                   .path_us = vectors_integer(change, "path_us"),
                                   .before_ppm = (uint32_t)vectors_integer(change, "before_ppm"),
                                   .after_ppm = (uint32_t)vectors_integer(change, "after_ppm")};
    read_ramp(question, ramp);
    uj_course_make(course, ramp, &read);
}

static struct uj_map read_map(struct uj_json map)
{
    return (struct uj_map){.number = (uint32_t)vectors_integer(map, "number"),
                           .arm_us = vectors_integer(map, "arm_us"),
                           .joint_us = vectors_integer(map, "joint_us"),
                           .rate_ppb = (int32_t)vectors_integer(map, "rate_ppb")};
}

static void read_clock(struct uj_json question, struct uj_clock *clock)
{
    const struct uj_map first = read_map(vectors_member(question, "first_map"));
    const struct uj_json list = vectors_member(question, "taken");
    struct uj_json key;
    struct uj_json taken;
    size_t at = 0;
    uj_clock_clear(clock);
    (void)uj_clock_take(clock, &first, (double)first.joint_us, true);
    while (uj_json_next(list, &at, &key, &taken)) {
        const struct uj_map map = read_map(vectors_member(taken, "map"));
        const bool at_rest = *vectors_member(taken, "at_rest").text == 't';
        (void)uj_clock_take(clock, &map, (double)vectors_integer(taken, "taken_joint_us"), at_rest);
    }
}

static struct uj_point read_point(struct uj_json point)
{
    return (struct uj_point){.time_us = vectors_integer(point, "time_us"),
                             .position = vectors_integer(point, "position"),
                             .velocity = (int32_t)vectors_integer(point, "velocity")};
}

static void tell_segment(struct uj_json question)
{
    static const char *const names[] = {
        [UJ_SEGMENT_SPACING] = "spacing", [UJ_SEGMENT_VELOCITY] = "velocity", [UJ_SEGMENT_ACCELERATION] = "acceleration"};
    const struct uj_point a = read_point(vectors_member(question, "a"));
    const struct uj_point b = read_point(vectors_member(question, "b"));
    const enum uj_segment_fault fault = uj_segment_check(&a, &b, (double)vectors_integer(question, "velocity"),
                                                         (double)vectors_integer(question, "acceleration"));
    if (fault == UJ_SEGMENT_SOUND) {
        printf(",\"refused\":null");
    } else {
        printf(",\"refused\":\"%s\"", names[fault]);
    }
    const struct uj_peaks peaks = uj_segment_peaks(&a, &b);
    const double h_s = (double)(b.time_us - a.time_us) / 1e6;
    tell("peak_velocity", peaks.velocity);
    tell("peak_acceleration", peaks.acceleration);
    tell("allowance_velocity", uj_segment_allowance_velocity(h_s));
    tell("allowance_acceleration", uj_segment_allowance_acceleration(h_s));
}

static void tell_middle(struct uj_json question)
{
    const int64_t middle = uj_middle(vectors_integer(question, "rising"), vectors_integer(question, "falling"));
    const int64_t shift = uj_middle_shift(middle, vectors_integer(question, "home"));
    vectors_tell_integer("middle", middle);
    vectors_tell_integer("shift", shift);
    vectors_tell_integer("lost", uj_middle_lost(shift, vectors_integer(question, "counts_per_turn")));
}

/* A fall from where a permit, in 1/256 µs, is reached. */
static struct uj_course fall_of(const struct uj_course *course, uj_time permit)
{
    struct uj_course fall;
    uj_time arm;
    if (!uj_course_when(course, permit, &arm)) {
        vectors_give_up("never reached", "permit");
    }
    uj_course_fall(&fall, course->ramp, arm, permit, uj_course_table_time(course, arm));
    return fall;
}

static bool in_microseconds(struct uj_json ask, struct uj_json question)
{
    struct uj_ramp ramp;
    struct uj_course course;
    struct uj_clock clock;
    if (uj_json_is(ask, "ramp")) {
        read_ramp(question, &ramp);
        const uj_time x = vectors_integer(question, "time_256");
        tell_us("path_us", uj_ramp_path(&ramp, x));
        tell_rate("rate_ppm", uj_ramp_rate(&ramp, x));
    } else if (uj_json_is(ask, "course")) {
        read_course(question, &ramp, &course);
        const struct uj_progress progress = uj_course_progress(&course, vectors_integer(question, "arm_256"));
        tell_us("path_us", progress.path);
        tell_rate("rate_ppm", progress.rate);
    } else if (uj_json_is(ask, "settled")) {
        read_course(question, &ramp, &course);
        tell_us("arm_us", uj_course_settled(&course));
        tell_us("path_us", uj_course_settled_path(&course));
    } else if (uj_json_is(ask, "when")) {
        uj_time arm;
        read_course(question, &ramp, &course);
        if (uj_course_when(&course, vectors_integer(question, "path_us") * UJ_TIME_PER_US, &arm)) {
            tell_us("arm_us", arm);
        } else {
            printf(",\"arm_us\":null");
        }
    } else if (uj_json_is(ask, "fall")) {
        read_course(question, &ramp, &course);
        const struct uj_course fall = fall_of(&course, vectors_integer(question, "permit_us") * UJ_TIME_PER_US);
        tell_us("arm_us", fall.at);
        tell_us("rest_us", uj_course_settled(&fall));
        tell_us("rest_path_us", uj_course_settled_path(&fall));
    } else if (uj_json_is(ask, "clock")) {
        read_clock(question, &clock);
        const double joint_us = (double)vectors_integer(question, "joint_us");
        tell("arm_us", uj_clock_arm_us(&clock, joint_us));
        tell("remainder_us", uj_clock_remainder_us(&clock, joint_us));
    } else if (uj_json_is(ask, "clock-back")) {
        read_clock(question, &clock);
        tell_us("joint_us", uj_clock_joint(&clock, vectors_integer(question, "arm_256")));
    } else if (uj_json_is(ask, "segment")) {
        tell_segment(question);
    } else if (uj_json_is(ask, "middle")) {
        tell_middle(question);
    } else {
        return false;
    }
    return true;
}

static bool in_whole_numbers(struct uj_json ask, struct uj_json question)
{
    struct uj_ramp ramp;
    struct uj_course course;
    struct uj_clock clock;
    if (uj_json_is(ask, "whole-path")) {
        read_ramp(question, &ramp);
        vectors_tell_integer("path", uj_ramp_path(&ramp, vectors_integer(question, "time")));
    } else if (uj_json_is(ask, "whole-time")) {
        read_ramp(question, &ramp);
        vectors_tell_integer("time", uj_ramp_time_of_path(&ramp, vectors_integer(question, "path")));
    } else if (uj_json_is(ask, "whole-rate")) {
        read_ramp(question, &ramp);
        vectors_tell_integer("time", uj_ramp_time(&ramp, (uint32_t)vectors_integer(question, "ppm")));
    } else if (uj_json_is(ask, "whole-change")) {
        read_course(question, &ramp, &course);
        vectors_tell_integer("begin", course.begin);
        vectors_tell_integer("end", course.end);
        vectors_tell_integer("settled", uj_course_settled(&course));
        vectors_tell_integer("settled_path", uj_course_settled_path(&course));
    } else if (uj_json_is(ask, "whole-course")) {
        read_course(question, &ramp, &course);
        vectors_tell_integer("path", uj_course_path(&course, vectors_integer(question, "arm")));
    } else if (uj_json_is(ask, "whole-fall")) {
        read_course(question, &ramp, &course);
        const struct uj_course fall = fall_of(&course, vectors_integer(question, "permit"));
        vectors_tell_integer("arm", fall.at);
        vectors_tell_integer("begin", fall.begin);
        vectors_tell_integer("rest", uj_course_settled(&fall));
        vectors_tell_integer("rest_path", uj_course_settled_path(&fall));
    } else if (uj_json_is(ask, "whole-clock")) {
        read_clock(question, &clock);
        vectors_tell_integer("arm", uj_clock_arm(&clock, vectors_integer(question, "joint")));
        vectors_tell_integer("remainder", uj_clock_remainder(&clock, vectors_integer(question, "joint")));
    } else if (uj_json_is(ask, "whole-clock-back")) {
        read_clock(question, &clock);
        vectors_tell_integer("joint", uj_clock_joint(&clock, vectors_integer(question, "arm")));
    } else {
        return false;
    }
    return true;
}

bool vectors_motion(struct uj_json ask, struct uj_json question)
{
    return in_microseconds(ask, question) || in_whole_numbers(ask, question);
}
