#include "keys.h"

#include <string.h>

#include "bytes.h"

#define LABEL "unisono.joint.v1"

/* Characters of a string without its terminator. */
#define TEXT_PIECE(text) ((struct uj_piece){(const uint8_t *)(text), sizeof(text) - 1})

void uj_transcript_bytes(const struct uj_transcript *transcript, uint8_t bytes[UJ_TRANSCRIPT_BYTES])
{
    memcpy(bytes, transcript->coordinator_nonce, UJ_NONCE_BYTES);
    memcpy(bytes + 32, transcript->joint_nonce, UJ_NONCE_BYTES);
    memcpy(bytes + 64, transcript->coordinator_id, UJ_COORDINATOR_ID_BYTES);
    memcpy(bytes + 80, transcript->joint_id, UJ_JOINT_ID_BYTES);
    uj_put_u32(bytes + 86, transcript->boot);
    uj_put_u64(bytes + 90, transcript->session);
}

void uj_proof(const uint8_t arm_key[UJ_KEY_BYTES], enum uj_direction direction,
              const uint8_t transcript[UJ_TRANSCRIPT_BYTES], uint8_t proof[UJ_PROOF_BYTES])
{
    const uint8_t way = (uint8_t)direction;
    const struct uj_piece pieces[] = {
        TEXT_PIECE(LABEL " proof"), {&way, 1}, {transcript, UJ_TRANSCRIPT_BYTES}};
    uj_crypto_hmac(arm_key, UJ_KEY_BYTES, pieces, 3, proof);
}

void uj_session_key(const uint8_t arm_key[UJ_KEY_BYTES], enum uj_channel channel, enum uj_direction direction,
                    const uint8_t transcript[UJ_TRANSCRIPT_BYTES], uint8_t key[UJ_KEY_BYTES])
{
    /* Channel before direction here, direction before channel under a tag. */
    const uint8_t use[2] = {(uint8_t)channel, (uint8_t)direction};
    const struct uj_piece info[] = {
        TEXT_PIECE(LABEL " key"), {use, sizeof use}, {transcript + 64, UJ_TRANSCRIPT_BYTES - 64}};
    uj_crypto_hkdf(arm_key, UJ_KEY_BYTES, transcript, 64, info, 3, key, UJ_KEY_BYTES);
}

void uj_tag(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, enum uj_channel channel,
            const struct uj_piece *pieces, size_t count, uint8_t tag[UJ_TAG_BYTES])
{
    const uint8_t use[2] = {(uint8_t)direction, (uint8_t)channel};
    struct uj_piece all[UJ_CRYPTO_MAX_PIECES] = {{use, sizeof use}};
    uint8_t mac[UJ_SHA256_BYTES];
    if (count > UJ_CRYPTO_MAX_PIECES - 1) {
        count = UJ_CRYPTO_MAX_PIECES - 1;
    }
    memcpy(all + 1, pieces, count * sizeof *pieces);
    uj_crypto_hmac(key, UJ_KEY_BYTES, all, 1 + count, mac);
    memcpy(tag, mac, UJ_TAG_BYTES);
}

bool uj_same(const uint8_t *a, const uint8_t *b, size_t length)
{
    /* volatile: no compiler may end the loop at the first difference. */
    volatile uint8_t differs = 0;
    for (size_t i = 0; i < length; i++) {
        differs = (uint8_t)(differs | (a[i] ^ b[i]));
    }
    return differs == 0;
}

static bool is_space(char c)
{
    return c == ' ' || (c >= '\t' && c <= '\r');
}

static int digit_of(char c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    if (c >= 'a' && c <= 'f') {
        return c - 'a' + 10;
    }
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

bool uj_key_file(const char *text, size_t length, uint8_t key[UJ_KEY_BYTES])
{
    uint8_t found[UJ_KEY_BYTES];
    while (length > 0 && is_space(text[0])) {
        text++;
        length--;
    }
    while (length > 0 && is_space(text[length - 1])) {
        length--;
    }
    if (length != 2 * UJ_KEY_BYTES) {
        return false;
    }
    for (size_t i = 0; i < UJ_KEY_BYTES; i++) {
        const int high = digit_of(text[2 * i]);
        const int low = digit_of(text[2 * i + 1]);
        if (high < 0 || low < 0) {
            return false;
        }
        found[i] = (uint8_t)(high << 4 | low);
    }
    memcpy(key, found, sizeof found);
    return true;
}
