/* Any bytes as a frame of an image, as they are and with a CRC that is right, and as the header of one. */
#include <string.h>

#include "bytes.h"
#include "crc32.h"
#include "image.h"
#include "update.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void take(const uint8_t *bytes, size_t length)
{
    struct uj_image_frame frame;
    if (uj_image_frame_open(bytes, length, &frame) == UJ_ACCEPTED &&
        (frame.count < 1 || frame.count > UJ_MAX_IMAGE_FRAME_BYTES || frame.data + frame.count + 4 != bytes + length)) {
        __builtin_trap();
    }
}

static void take_header(const uint8_t *bytes)
{
    struct uj_image_header header;
    if (uj_image_header_read(bytes, &header) == UJ_ACCEPTED &&
        (header.size < 1 || header.size > UJ_MAX_IMAGE_BYTES || strlen(header.board) < 1 ||
         strlen(header.firmware) < 1)) {
        __builtin_trap();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static uint8_t bytes[UJ_MAX_FRAME_BYTES];
    struct uj_update_request request;
    if (size > sizeof bytes) {
        return 0;
    }
    take(data, size);
    (void)uj_update_read(data, size, &request);
    if (size >= UJ_IMAGE_HEADER_BYTES) {
        take_header(data);
    }
    if (size >= 4) {
        memcpy(bytes, data, size);
        uj_put_u32(bytes + size - 4, uj_crc32(bytes, size - 4));
        take(bytes, size);
    }
    return 0;
}
