#include "clock.h"

#include <string.h>

#define PPB INT64_C(1000000000)
#define FURTHEST_US (INT64_C(1) << 47) /* that the times of a map may be from 0, or from the joint's clock */

void uj_clock_clear(struct uj_clock *clock)
{
    memset(clock, 0, sizeof *clock);
}

/* What the map says, without any remainder. */
static uj_time arm_by_map(const struct uj_map *map, uj_time joint)
{
    const uj_time way = joint - map->joint_us * UJ_TIME_PER_US;
    return map->arm_us * UJ_TIME_PER_US + way - uj_floor_mul_div(way, map->rate_ppb, PPB + map->rate_ppb);
}

static uj_time joint_by_map(const struct uj_map *map, uj_time arm)
{
    const uj_time way = arm - map->arm_us * UJ_TIME_PER_US;
    return map->joint_us * UJ_TIME_PER_US + way + uj_floor_mul_div(way, map->rate_ppb, PPB);
}

static bool beyond(int64_t value, int64_t limit)
{
    return value > limit || value < -limit;
}

enum uj_map_taken uj_clock_take(struct uj_clock *clock, const struct uj_map *map, double joint_us, bool at_rest)
{
    const uj_time joint = uj_time_from_us(joint_us);
    if (map->number == clock->map.number) {
        return UJ_MAP_SAME;
    }
    if (map->number == 0 || beyond(map->rate_ppb, UJ_MAP_RATE_LIMIT_PPB) || beyond(map->arm_us, FURTHEST_US) ||
        beyond(map->joint_us - joint / UJ_TIME_PER_US, FURTHEST_US)) {
        return UJ_MAP_IGNORED;
    }
    const bool keeps = !at_rest && uj_clock_has_map(clock);
    const uj_time remainder = keeps ? uj_clock_arm(clock, joint) - arm_by_map(map, joint) : 0;
    clock->map = *map;
    clock->remainder = remainder;
    clock->taken = joint;
    return beyond(remainder, (int64_t)UJ_REMAINDER_LIMIT_US * UJ_TIME_PER_US) ? UJ_MAP_WRONG : UJ_MAP_TAKEN;
}

void uj_clock_settle(struct uj_clock *clock)
{
    clock->remainder = 0;
}

uj_time uj_clock_remainder(const struct uj_clock *clock, uj_time joint)
{
    const uj_time size = clock->remainder < 0 ? -clock->remainder : clock->remainder;
    const uj_time gone = (joint - clock->taken) / (1000000 / UJ_SLEW_PPM);
    if (gone <= 0) {
        return clock->remainder;
    }
    if (gone >= size) {
        return 0;
    }
    return clock->remainder < 0 ? gone - size : size - gone;
}

uj_time uj_clock_arm(const struct uj_clock *clock, uj_time joint)
{
    return arm_by_map(&clock->map, joint) + uj_clock_remainder(clock, joint);
}

uj_time uj_clock_joint(const struct uj_clock *clock, uj_time arm)
{
    uj_time joint = joint_by_map(&clock->map, arm);
    /* The arm clock runs at most 0.05 % apart from joint time, so each round leaves a two-thousandth. */
    for (int round = 0; round < 4; round++) {
        joint += arm - uj_clock_arm(clock, joint);
    }
    return joint;
}

double uj_clock_arm_us(const struct uj_clock *clock, double joint_us)
{
    return uj_time_to_us(uj_clock_arm(clock, uj_time_from_us(joint_us)));
}

double uj_clock_joint_us(const struct uj_clock *clock, double arm_us)
{
    return uj_time_to_us(uj_clock_joint(clock, uj_time_from_us(arm_us)));
}

double uj_clock_remainder_us(const struct uj_clock *clock, double joint_us)
{
    return uj_time_to_us(uj_clock_remainder(clock, uj_time_from_us(joint_us)));
}
