/* Any bytes as a points frame, as they are and with a CRC that is right. */
#include <string.h>

#include "bytes.h"
#include "crc32.h"
#include "points.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void take(const uint8_t *bytes, size_t length)
{
    struct uj_points points;
    if (uj_points_open(bytes, length, &points) != UJ_ACCEPTED) {
        return;
    }
    for (uint16_t i = 0; i < points.count; i++) {
        const struct uj_point point = uj_points_at(&points, i);
        if (point.time_us < -UJ_MAX_INTEGER || point.time_us > UJ_MAX_INTEGER ||
            point.position < -UJ_MAX_INTEGER || point.position > UJ_MAX_INTEGER || point.flags > 3) {
            __builtin_trap();
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static uint8_t bytes[UJ_MAX_FRAME_BYTES];
    take(data, size);
    if (size >= 4 && size <= sizeof bytes) {
        memcpy(bytes, data, size);
        uj_put_u32(bytes + size - 4, uj_crc32(bytes, size - 4));
        take(bytes, size);
    }
    return 0;
}
