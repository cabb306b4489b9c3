/* Frames of the serial cable as a machine of bytes: bytes go in, frames come out, whatever noise stands between.
 * It asks no clock: its owner tells of a pause. What a frame is says protocol/CABLE.md, "Frame". */
#ifndef UJ_CABLE_H
#define UJ_CABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UJ_CABLE_BODY_MAX 128
#define UJ_CABLE_FRAME_MAX (6 + UJ_CABLE_BODY_MAX + 4)
#define UJ_CABLE_PAUSE_MS 100 /* without a byte, after which uj_cable_pause is called */

struct uj_cable_frame {
    uint8_t kind;
    uint8_t number;
    uint8_t length;      /* of the body */
    const uint8_t *body; /* good until the next call */
};

/* One direction of the cable. Its fields are its own. Begin with all of it 0. With the next call the last frame's bytes
 * are overwritten, as they may have been the key. */
struct uj_cable {
    uint8_t kept[UJ_CABLE_FRAME_MAX];
    uint8_t used;
    uint8_t given; /* bytes at the beginning that the last frame had */
};

/* Takes bytes up to the end of the first frame and returns how many. `*found` says whether there is one; then call
 * again with the rest, also where none is left, until nothing is found. */
size_t uj_cable_feed(struct uj_cable *cable, const uint8_t *bytes, size_t length, struct uj_cable_frame *frame,
                     bool *found);

/* No byte came for UJ_CABLE_PAUSE_MS: what is kept ends here. Whether there was a frame within it; then call again. */
bool uj_cable_pause(struct uj_cable *cable, struct uj_cable_frame *frame);

/* Writes a frame; returns its length. `length` at most UJ_CABLE_BODY_MAX. */
size_t uj_cable_write(uint8_t kind, uint8_t number, const uint8_t *body, size_t length,
                      uint8_t frame[UJ_CABLE_FRAME_MAX]);

#endif
