#include "image.h"

#include <stdbool.h>
#include <string.h>

#include "bytes.h"
#include "crc32.h"

#define LABEL "unisono.image.v1"
#define LABEL_BYTES 16
#define BOARD_AT 16
#define FIRMWARE_AT 32
#define SIZE_AT 64
#define SHA256_AT 68
#define HEAD_BYTES 8
#define CRC_BYTES 4

static bool is_of_board(uint8_t byte)
{
    return (byte >= 'a' && byte <= 'z') || (byte >= '0' && byte <= '9') || byte == '-';
}

static bool is_of_firmware(uint8_t byte)
{
    return byte >= ' ' && byte <= '~';
}

/* A text of at least one character, filled up with zero bytes. `text` gets one more, always 0. */
static bool read_text(const uint8_t *bytes, size_t space, bool (*is)(uint8_t byte), char *text)
{
    size_t length = 0;
    while (length < space && is(bytes[length])) {
        length++;
    }
    for (size_t i = length; i < space; i++) {
        if (bytes[i] != 0) {
            return false;
        }
    }
    memcpy(text, bytes, space);
    text[space] = '\0';
    return length > 0;
}

enum uj_reject uj_image_header_read(const uint8_t bytes[UJ_IMAGE_HEADER_BYTES], struct uj_image_header *header)
{
    header->size = uj_get_u32(bytes + SIZE_AT);
    memcpy(header->sha256, bytes + SHA256_AT, UJ_SHA256_BYTES);
    return memcmp(bytes, LABEL, LABEL_BYTES) == 0 && header->size >= 1 && header->size <= UJ_MAX_IMAGE_BYTES &&
                   read_text(bytes + BOARD_AT, UJ_IMAGE_BOARD_CHARACTERS, is_of_board, header->board) &&
                   read_text(bytes + FIRMWARE_AT, UJ_IMAGE_FIRMWARE_CHARACTERS, is_of_firmware, header->firmware)
               ? UJ_ACCEPTED
               : UJ_REJECT_MESSAGE_INVALID;
}

enum uj_reject uj_image_frame_open(const uint8_t *body, size_t length, struct uj_image_frame *frame)
{
    if (length < HEAD_BYTES + 1 + CRC_BYTES) {
        return UJ_REJECT_FRAME_LENGTH;
    }
    if (body[0] != UJ_IMAGE_KIND || body[1] != 0) {
        return UJ_REJECT_FRAME_TYPE;
    }
    frame->count = uj_get_u16(body + 2);
    frame->offset = uj_get_u32(body + 4);
    frame->data = body + HEAD_BYTES;
    if (frame->count < 1 || frame->count > UJ_MAX_IMAGE_FRAME_BYTES ||
        length != HEAD_BYTES + (size_t)frame->count + CRC_BYTES) {
        return UJ_REJECT_FRAME_LENGTH;
    }
    return uj_crc32(body, length - CRC_BYTES) == uj_get_u32(body + length - CRC_BYTES) ? UJ_ACCEPTED
                                                                                       : UJ_REJECT_FRAME_CRC;
}
