#include "frames.h"

#include "bytes.h"

#define NUMBER_BYTES 8

static void tag_of(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, const uint8_t *bytes,
                   size_t body_length, uint8_t tag[UJ_TAG_BYTES])
{
    const struct uj_piece message[] = {{bytes, NUMBER_BYTES}, {bytes + UJ_FRAME_HEAD_BYTES, body_length}};
    uj_tag(key, direction, UJ_CHANNEL_STREAM, message, 2, tag);
}

enum uj_reject uj_frame_open(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, const uint8_t *bytes,
                             size_t length, uint64_t last_number, struct uj_frame *frame)
{
    uint8_t tag[UJ_TAG_BYTES];
    if (length <= UJ_FRAME_HEAD_BYTES || length > UJ_MAX_FRAME_BYTES) {
        return UJ_REJECT_FRAME_LENGTH;
    }
    frame->number = uj_get_u64(bytes);
    frame->body = bytes + UJ_FRAME_HEAD_BYTES;
    frame->length = length - UJ_FRAME_HEAD_BYTES;
    tag_of(key, direction, bytes, frame->length, tag);
    if (!uj_same(tag, bytes + NUMBER_BYTES, UJ_TAG_BYTES)) {
        return UJ_REJECT_TAG_WRONG;
    }
    /* A number beyond 2^53 - 1 could not be named by the `ref` of an answer. */
    if (frame->number <= last_number || frame->number > (uint64_t)UJ_MAX_INTEGER) {
        return UJ_REJECT_FRAME_NUMBER;
    }
    return UJ_ACCEPTED;
}

void uj_frame_seal(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, uint64_t number, uint8_t *bytes,
                   size_t body_length)
{
    uj_put_u64(bytes, number);
    tag_of(key, direction, bytes, body_length, bytes + NUMBER_BYTES);
}
