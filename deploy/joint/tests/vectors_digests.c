/* Questions of this project's own tests: digests and codes, for the vectors of the standards they come from. */
#include <stdio.h>
#include <string.h>

#include "base64.h"
#include "crc32.h"
#include "crypto.h"
#include "keys.h"
#include "ntp.h"
#include "sha1.h"
#include "utf8.h"
#include "vectors.h"

static uint8_t bytes[VECTORS_LINE_BYTES / 2];

static void sha256(struct uj_json question)
{
    uint8_t digest[UJ_SHA256_BYTES];
    const size_t length = vectors_bytes(question, "message", bytes, sizeof bytes);
    const size_t first = (size_t)vectors_integer(question, "first_piece");
    const struct uj_piece pieces[] = {{bytes, first}, {NULL, 0}, {bytes + first, length - first}};
    uj_crypto_sha256(pieces, 3, digest);
    vectors_tell_hex("digest", digest, sizeof digest);
}

static void hmac(struct uj_json question)
{
    static uint8_t key[1024];
    uint8_t mac[UJ_SHA256_BYTES];
    const size_t key_length = vectors_bytes(question, "key", key, sizeof key);
    const struct uj_piece message = {bytes, vectors_bytes(question, "message", bytes, sizeof bytes)};
    uj_crypto_hmac(key, key_length, &message, 1, mac);
    vectors_tell_hex("mac", mac, sizeof mac);
}

static void sha1(struct uj_json question)
{
    uint8_t digest[UJ_SHA1_BYTES];
    const size_t length = vectors_bytes(question, "message", bytes, sizeof bytes);
    uj_sha1(bytes, length, digest);
    vectors_tell_hex("digest", digest, sizeof digest);
}

static void base64(struct uj_json question)
{
    char text[4 * 100];
    const size_t length = vectors_bytes(question, "bytes", bytes, 3 * 100);
    printf(",\"text\":\"%.*s\"", (int)uj_base64(bytes, length, text), text);
}

static void crc32(struct uj_json question)
{
    const size_t length = vectors_bytes(question, "bytes", bytes, sizeof bytes);
    vectors_tell_integer("crc", uj_crc32(bytes, length));
}

static void utf8(struct uj_json question)
{
    const size_t length = vectors_bytes(question, "bytes", bytes, sizeof bytes);
    printf(",\"holds\":%s", uj_utf8(bytes, length) ? "true" : "false");
}

static void key_file(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    const size_t length = vectors_bytes(question, "text", bytes, sizeof bytes);
    printf(",\"holds\":%s", uj_key_file((const char *)bytes, length, key) ? "true" : "false");
}

static void same(struct uj_json question)
{
    uint8_t other[64];
    const size_t length = vectors_bytes(question, "a", bytes, sizeof other);
    vectors_exactly(question, "b", other, length);
    printf(",\"same\":%s", uj_same(bytes, other, length) ? "true" : "false");
}

static void timestamp(struct uj_json question)
{
    printf(",\"timestamp\":\"%016llx\"",
           (unsigned long long)uj_ntp_timestamp(vectors_integer(question, "joint_us")));
}

bool vectors_digests(struct uj_json ask, struct uj_json question)
{
    static const struct {
        const char *ask;
        void (*answer)(struct uj_json question);
    } KNOWN[] = {
        {"sha256", sha256}, {"hmac", hmac}, {"sha1", sha1},   {"base64", base64},       {"crc32", crc32},
        {"utf8", utf8},     {"same", same}, {"is-key-file", key_file}, {"timestamp", timestamp},
    };
    for (size_t i = 0; i < sizeof KNOWN / sizeof KNOWN[0]; i++) {
        if (uj_json_is(ask, KNOWN[i].ask)) {
            KNOWN[i].answer(question);
            return true;
        }
    }
    return false;
}
