#include "cable.h"

#include <string.h>

#include "bytes.h"
#include "crc32.h"

#define SYNC_FIRST 0xfe
#define SYNC_SECOND 0xc5
#define HEAD_BYTES 6
#define CRC_BYTES 4
#define CHECKED_FROM 2 /* what the CRC is over begins behind the sync */

enum begins { NO_FRAME, NOT_YET, FRAME };

/* What stands at the beginning of the bytes that are kept. */
static enum begins look(const struct uj_cable *cable)
{
    const uint8_t *kept = cable->kept;
    if (kept[0] != SYNC_FIRST || (cable->used > 1 && kept[1] != SYNC_SECOND) ||
        (cable->used > 2 && kept[2] > UJ_CABLE_BODY_MAX)) {
        return NO_FRAME;
    }
    if (cable->used < 4) {
        return NOT_YET;
    }
    if (kept[3] != UINT8_MAX - kept[2]) {
        return NO_FRAME;
    }
    const size_t checked = HEAD_BYTES + (size_t)kept[2];
    if (cable->used < checked + CRC_BYTES) {
        return NOT_YET;
    }
    const uint32_t crc = uj_crc32(kept + CHECKED_FROM, checked - CHECKED_FROM);
    return uj_get_u32(kept + checked) == crc ? FRAME : NO_FRAME;
}

static void drop(struct uj_cable *cable, size_t count)
{
    memmove(cable->kept, cable->kept + count, cable->used - count);
    cable->used = (uint8_t)(cable->used - count);
    memset(cable->kept + cable->used, 0, count);
}

/* Drops what is no frame, byte by byte. Whether one stands at the beginning now. */
static bool search(struct uj_cable *cable, struct uj_cable_frame *frame)
{
    while (cable->used > 0) {
        switch (look(cable)) {
        case NO_FRAME:
            drop(cable, 1);
            break;
        case NOT_YET:
            return false;
        case FRAME:
            *frame = (struct uj_cable_frame){.kind = cable->kept[4],
                                             .number = cable->kept[5],
                                             .length = cable->kept[2],
                                             .body = cable->kept + HEAD_BYTES};
            cable->given = (uint8_t)(HEAD_BYTES + cable->kept[2] + CRC_BYTES);
            return true;
        }
    }
    return false;
}

/* The last frame's bytes are needed no more. */
static void take_back(struct uj_cable *cable)
{
    drop(cable, cable->given);
    cable->given = 0;
}

size_t uj_cable_feed(struct uj_cable *cable, const uint8_t *bytes, size_t length, struct uj_cable_frame *frame,
                     bool *found)
{
    size_t taken = 0;
    take_back(cable);
    *found = search(cable, frame);
    while (!*found && taken < length) {
        /* There is room: a beginning that fills it all is a frame or none. */
        cable->kept[cable->used++] = bytes[taken++];
        *found = search(cable, frame);
    }
    return taken;
}

bool uj_cable_pause(struct uj_cable *cable, struct uj_cable_frame *frame)
{
    take_back(cable);
    while (cable->used > 0) {
        if (search(cable, frame)) {
            return true;
        }
        if (cable->used > 0) {
            drop(cable, 1);
        }
    }
    return false;
}

size_t uj_cable_write(uint8_t kind, uint8_t number, const uint8_t *body, size_t length,
                      uint8_t frame[UJ_CABLE_FRAME_MAX])
{
    frame[0] = SYNC_FIRST;
    frame[1] = SYNC_SECOND;
    frame[2] = (uint8_t)length;
    frame[3] = (uint8_t)(UINT8_MAX - length);
    frame[4] = kind;
    frame[5] = number;
    if (length > 0) {
        memcpy(frame + HEAD_BYTES, body, length);
    }
    uj_put_u32(frame + HEAD_BYTES + length, uj_crc32(frame + CHECKED_FROM, HEAD_BYTES - CHECKED_FROM + length));
    return HEAD_BYTES + length + CRC_BYTES;
}
