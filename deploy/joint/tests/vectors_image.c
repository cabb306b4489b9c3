/* image.json: a header, what signs it, and frames. */
#include <stdio.h>

#include "image.h"
#include "vectors.h"

static uint8_t bytes[VECTORS_LINE_BYTES / 2];

static void header(struct uj_json question)
{
    struct uj_image_header read;
    vectors_exactly(question, "header", bytes, UJ_IMAGE_HEADER_BYTES);
    const enum uj_reject reject = uj_image_header_read(bytes, &read);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    printf(",\"board\":\"%s\",\"firmware\":\"", read.board);
    for (const char *c = read.firmware; *c != '\0'; c++) {
        printf(*c == '"' || *c == '\\' ? "\\%c" : "%c", *c);
    }
    putchar('"');
    vectors_tell_integer("size_bytes", read.size);
    vectors_tell_hex("sha256", read.sha256, sizeof read.sha256);
}

static void signature(struct uj_json question)
{
    uint8_t key[UJ_SIGNATURE_KEY_BYTES], signed_by[UJ_SIGNATURE_BYTES];
    const size_t length = vectors_bytes(question, "header", bytes, sizeof bytes);
    vectors_exactly(question, "public_key", key, sizeof key);
    vectors_exactly(question, "signature", signed_by, sizeof signed_by);
    if (uj_signature_ok(key, bytes, length, signed_by)) {
        printf(",\"signed\":true");
    } else {
        vectors_tell_code(UJ_REJECT_IMAGE_SIGNATURE);
    }
}

static void frame(struct uj_json question)
{
    struct uj_image_frame read;
    const size_t length = vectors_bytes(question, "body", bytes, sizeof bytes);
    const enum uj_reject reject = uj_image_frame_open(bytes, length, &read);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    vectors_tell_integer("offset", read.offset);
    vectors_tell_hex("data", read.data, read.count);
}

bool vectors_image(struct uj_json ask, struct uj_json question)
{
    if (uj_json_is(ask, "image-header")) {
        header(question);
    } else if (uj_json_is(ask, "image-signature")) {
        signature(question);
    } else if (uj_json_is(ask, "image")) {
        frame(question);
    } else {
        return false;
    }
    return true;
}
