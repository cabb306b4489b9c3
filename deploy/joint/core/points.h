/* A frame's points: protocol/README.md, "Points frame". */
#ifndef UJ_POINTS_H
#define UJ_POINTS_H

#include <stddef.h>
#include <stdint.h>

#include "numbers.h"
#include "rejects.h"

/* Bits of a point's `flags`. */
enum {
    UJ_POINT_LAST = 1 << 0,
    UJ_POINT_OUTPUTS = 1 << 1 /* outputs switch here; exactly where output_mask is not 0 */
};

struct uj_point {
    int64_t time_us;  /* path time, at most +-(2^53 - 1) */
    int64_t position; /* counts, at most +-(2^53 - 1) */
    int32_t velocity; /* counts per second of path time */
    uint8_t flags;    /* UJ_POINT_… */
    uint8_t output_mask;
    uint8_t output_values;
};

struct uj_points {
    uint32_t trajectory;  /* as it came: 0 is not refused here, but as message-invalid by the rules */
    uint32_t first_index; /* of the first point here, from 0 */
    uint16_t count;       /* 1 to UJ_MAX_POINTS_PER_FRAME */
    const uint8_t *bytes; /* of the first point, within the body that was opened: read by uj_points_at */
};

/* Reads the body of a points frame and checks what can be told from its bytes alone: frame-length, frame-type,
 * frame-length, frame-crc, frame-field, in that order. With anything but UJ_ACCEPTED `points` does not count. */
enum uj_reject uj_points_open(const uint8_t *body, size_t length, struct uj_points *points);

/* The point at `place` in the frame, 0 to count - 1, read where it was received: a frame is gone through as often
 * as need be without a copy of it. */
struct uj_point uj_points_at(const struct uj_points *points, uint16_t place);

#endif
