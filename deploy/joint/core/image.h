/* A firmware image: its header, and the frames that bring it. Protocol/README.md, "Update". */
#ifndef UJ_IMAGE_H
#define UJ_IMAGE_H

#include <stddef.h>
#include <stdint.h>

#include "crypto.h"
#include "numbers.h"
#include "rejects.h"

#define UJ_IMAGE_KIND 2 /* first byte of a frame's body */
#define UJ_IMAGE_HEADER_BYTES 100
#define UJ_IMAGE_BOARD_CHARACTERS 16
#define UJ_IMAGE_FIRMWARE_CHARACTERS 32
#define UJ_MAX_IMAGE_BYTES INT32_MAX

struct uj_image_header {
    char board[UJ_IMAGE_BOARD_CHARACTERS + 1];
    char firmware[UJ_IMAGE_FIRMWARE_CHARACTERS + 1];
    uint32_t size; /* of the image in bytes, 1 to UJ_MAX_IMAGE_BYTES */
    uint8_t sha256[UJ_SHA256_BYTES];
};

/* UJ_ACCEPTED or UJ_REJECT_MESSAGE_INVALID. Who signed it and whose it is are for the rules to say. */
enum uj_reject uj_image_header_read(const uint8_t bytes[UJ_IMAGE_HEADER_BYTES], struct uj_image_header *header);

struct uj_image_frame {
    uint32_t offset;     /* of the first byte in the image */
    uint16_t count;      /* 1 to UJ_MAX_IMAGE_FRAME_BYTES */
    const uint8_t *data; /* within the body that was opened */
};

/* Checks what can be told from a body's bytes alone: frame-length, frame-type, frame-length, frame-crc, in that order.
 * With anything but UJ_ACCEPTED `frame` does not count. */
enum uj_reject uj_image_frame_open(const uint8_t *body, size_t length, struct uj_image_frame *frame);

#endif
