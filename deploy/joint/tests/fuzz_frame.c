/* Any bytes as a tagged frame, as they are and with a tag that is right. */
#include <string.h>

#include "frames.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const uint8_t KEY[UJ_KEY_BYTES] = {1};

static void take(const uint8_t *bytes, size_t length)
{
    struct uj_frame frame;
    if (uj_frame_open(KEY, UJ_TO_JOINT, bytes, length, 7, &frame) == UJ_ACCEPTED &&
        (frame.number <= 7 || frame.number > (uint64_t)UJ_MAX_INTEGER || frame.length < 1 ||
         frame.body + frame.length != bytes + length)) {
        __builtin_trap();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static uint8_t bytes[UJ_MAX_FRAME_BYTES];
    take(data, size);
    if (size > UJ_FRAME_HEAD_BYTES && size <= sizeof bytes) {
        uint64_t number = 0;
        memcpy(bytes, data, size);
        for (size_t i = 0; i < 8; i++) {
            number = number << 8 | data[i];
        }
        uj_frame_seal(KEY, UJ_TO_JOINT, number, bytes, size - UJ_FRAME_HEAD_BYTES);
        take(bytes, size);
    }
    return 0;
}
