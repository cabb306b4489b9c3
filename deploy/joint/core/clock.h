/* The arm clock: joint time to arm time and back, by the newest clock map and what is left of a remainder.
 *
 * Times at this seam are µs in a double; inside they are whole 1/256 µs, exact as vectors/fixedpoint.json.
 * Error below 0.02 µs.
 */
#ifndef UJ_CLOCK_H
#define UJ_CLOCK_H

#include "numbers.h"
#include "whole.h"

#define UJ_MAP_RATE_LIMIT_PPB 300000

/* joint time = joint_us + (arm time − arm_us)·(1 + rate_ppb/10^9) */
struct uj_map {
    uint32_t number; /* from 1; 0: no map */
    int64_t arm_us;
    int64_t joint_us;
    int32_t rate_ppb; /* at most ±1000000; beyond ±300000 the joint ignores the map */
};

struct uj_clock {
    struct uj_map map;       /* in use; number 0: none yet, and no arm clock */
    uj_time remainder;       /* when it was taken: arm clock minus what the map says */
    uj_time taken;           /* joint time at which the remainder was taken */
};

enum uj_map_taken {
    UJ_MAP_SAME,    /* its number is that of the map in use: nothing changed */
    UJ_MAP_IGNORED, /* rate beyond ±300000 ppb, or times more than 2^47 µs away: nothing changed */
    UJ_MAP_TAKEN,   /* in use from now on */
    UJ_MAP_WRONG    /* in use, but the remainder is beyond ±5000 µs: hold, drop a pending start, brake */
};

/* Forgets the map: a new session. */
void uj_clock_clear(struct uj_clock *clock);

static inline bool uj_clock_has_map(const struct uj_clock *clock)
{
    return clock->map.number != 0;
}

/* Takes a map at joint time joint_us. `at_rest`: at rest and without a start pending; the map then applies at
 * once. Else the arm clock does not jump and keeps a remainder. */
enum uj_map_taken uj_clock_take(struct uj_clock *clock, const struct uj_map *map, double joint_us, bool at_rest);

/* The joint came to rest, or a pending start was dropped: what is left of the remainder is dropped. */
void uj_clock_settle(struct uj_clock *clock);

/* Arm time at a joint time, and back; both need a map. */
double uj_clock_arm_us(const struct uj_clock *clock, double joint_us);
double uj_clock_joint_us(const struct uj_clock *clock, double arm_us);

/* Still to be slewed off at joint_us, µs; 0 without a map. */
double uj_clock_remainder_us(const struct uj_clock *clock, double joint_us);

/* The same three in whole numbers. */
uj_time uj_clock_arm(const struct uj_clock *clock, uj_time joint);
uj_time uj_clock_joint(const struct uj_clock *clock, uj_time arm);
uj_time uj_clock_remainder(const struct uj_clock *clock, uj_time joint);

#endif
