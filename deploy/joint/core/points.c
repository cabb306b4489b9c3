#include "points.h"

#include <stdbool.h>

#include "bytes.h"
#include "crc32.h"

#define KIND 1
#define HEAD_BYTES 12
#define POINT_BYTES 24
#define CRC_BYTES 4
#define KNOWN_FLAGS (UJ_POINT_LAST | UJ_POINT_OUTPUTS)

static bool fits(int64_t value)
{
    return value >= -UJ_MAX_INTEGER && value <= UJ_MAX_INTEGER;
}

static bool point_holds(const struct uj_point *point, uint8_t reserved)
{
    const bool switches = (point->flags & UJ_POINT_OUTPUTS) != 0;
    return (point->flags & ~KNOWN_FLAGS) == 0 && reserved == 0 && switches == (point->output_mask != 0) &&
           fits(point->time_us) && fits(point->position);
}

struct uj_point uj_points_at(const struct uj_points *points, uint16_t place)
{
    const uint8_t *bytes = points->bytes + (size_t)place * POINT_BYTES;
    return (struct uj_point){
        .time_us = uj_get_i64(bytes),
        .position = uj_get_i64(bytes + 8),
        .velocity = uj_get_i32(bytes + 16),
        .flags = bytes[20],
        .output_mask = bytes[21],
        .output_values = bytes[22],
    };
}

enum uj_reject uj_points_open(const uint8_t *body, size_t length, struct uj_points *points)
{
    if (length < HEAD_BYTES + POINT_BYTES + CRC_BYTES) {
        return UJ_REJECT_FRAME_LENGTH;
    }
    if (body[0] != KIND || body[1] != 0) {
        return UJ_REJECT_FRAME_TYPE;
    }
    points->count = uj_get_u16(body + 2);
    points->trajectory = uj_get_u32(body + 4);
    points->first_index = uj_get_u32(body + 8);
    points->bytes = body + HEAD_BYTES;
    if (points->count < 1 || points->count > UJ_MAX_POINTS_PER_FRAME ||
        length != HEAD_BYTES + (size_t)points->count * POINT_BYTES + CRC_BYTES) {
        return UJ_REJECT_FRAME_LENGTH;
    }
    if (uj_crc32(body, length - CRC_BYTES) != uj_get_u32(body + length - CRC_BYTES)) {
        return UJ_REJECT_FRAME_CRC;
    }
    for (uint16_t i = 0; i < points->count; i++) {
        const struct uj_point point = uj_points_at(points, i);
        if (!point_holds(&point, points->bytes[(size_t)i * POINT_BYTES + POINT_BYTES - 1])) {
            return UJ_REJECT_FRAME_FIELD;
        }
    }
    return UJ_ACCEPTED;
}
