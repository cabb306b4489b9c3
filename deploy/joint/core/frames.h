/* Tagged frames of the stream: u64 number, tag, body. Protocol/README.md, "Frames". */
#ifndef UJ_FRAMES_H
#define UJ_FRAMES_H

#include <stddef.h>
#include <stdint.h>

#include "keys.h"
#include "numbers.h"
#include "rejects.h"

#define UJ_FRAME_HEAD_BYTES 24
#define UJ_MAX_BODY_BYTES (UJ_MAX_FRAME_BYTES - UJ_FRAME_HEAD_BYTES)

struct uj_frame {
    uint64_t number;     /* 1 to 2^53 - 1 */
    const uint8_t *body; /* within the bytes that were opened */
    size_t length;       /* of the body, 1 to UJ_MAX_BODY_BYTES */
};

/* Checks frame-length, tag-wrong, frame-number in that order. `last_number` is that of the last frame of this
 * direction, 0 before the first. */
enum uj_reject uj_frame_open(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, const uint8_t *bytes,
                             size_t length, uint64_t last_number, struct uj_frame *frame);

/* Writes number and tag before a body that already stands at bytes + UJ_FRAME_HEAD_BYTES. The whole frame has
 * UJ_FRAME_HEAD_BYTES + body_length bytes. */
void uj_frame_seal(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, uint64_t number, uint8_t *bytes,
                   size_t body_length);

#endif
