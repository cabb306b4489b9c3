/* A piece of the joint's motion in whole numbers, from which steps.c makes the instants of motor steps. It is a copy:
 * whoever made it may change afterwards. Times are joint time in 1/256 µs.
 *
 * The position is a cubic in s, which is joint time since `origin` in free motion, and on a path path time since
 * `origin`. With u = s / 2^shift, 0 <= u < 1:
 *
 *     position = base + (c[0]·u + c[1]·u² + c[2]·u³) ÷ 256     in 1/256 count
 */
#ifndef UJ_PIECE_H
#define UJ_PIECE_H

#include "clock.h"
#include "course.h"

#define UJ_PIECE_LENGTH_MAX INT32_MAX /* of s: a piece spans at most 8.4 s */

struct uj_motion_piece {
    uj_time from, to;        /* joint time: the piece holds in from <= t < to */
    bool on_path;
    struct uj_clock clock;   /* on a path: joint time to arm time … */
    struct uj_course course; /* … and arm time to path time. Its ramp must stay as it is */
    uj_time origin;
    uj_time length;          /* largest s; beyond it, by rounding, the piece's end counts */
    unsigned shift;          /* 1 to 31, 2^shift > length */
    int64_t base;            /* 1/256 count */
    int64_t c[3];            /* 1/65536 count */
};

/* The cubic through p0 and p1 (counts) with velocities v0 and v1 (counts/s of s) over `length` of s. Fills
 * origin, length, shift, base and c. length is from 1 to UJ_PIECE_LENGTH_MAX. */
void uj_piece_cubic(struct uj_motion_piece *piece, uj_time origin, uj_time length, double p0, double v0, double p1, double v1);

/* Position at joint time t, in 1/256 count; before `from` and after `to` as at these. No floating point. */
int64_t uj_piece_position(const struct uj_motion_piece *piece, uj_time t);

#endif
