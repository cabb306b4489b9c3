/* HMAC (RFC 2104) and HKDF (RFC 5869), both of uj_crypto_sha256. */
#include <string.h>

#include "crypto.h"

#define BLOCK_BYTES 64

/* One of the two hashes of an HMAC: of the padded key and some pieces. */
static void padded(const uint8_t key[BLOCK_BYTES], uint8_t pad, const struct uj_piece *pieces, size_t count,
                   uint8_t digest[UJ_SHA256_BYTES])
{
    uint8_t start[BLOCK_BYTES];
    struct uj_piece all[1 + UJ_CRYPTO_MAX_PIECES];
    for (size_t i = 0; i < BLOCK_BYTES; i++) {
        start[i] = key[i] ^ pad;
    }
    all[0] = (struct uj_piece){start, BLOCK_BYTES};
    memcpy(all + 1, pieces, count * sizeof *pieces);
    uj_crypto_sha256(all, 1 + count, digest);
}

void uj_crypto_hmac(const uint8_t *key, size_t key_length, const struct uj_piece *pieces, size_t count,
                    uint8_t mac[UJ_SHA256_BYTES])
{
    uint8_t block[BLOCK_BYTES] = {0};
    uint8_t inner[UJ_SHA256_BYTES];
    const struct uj_piece inner_piece = {inner, sizeof inner};
    if (count > UJ_CRYPTO_MAX_PIECES) {
        count = UJ_CRYPTO_MAX_PIECES;
    }
    if (key_length > BLOCK_BYTES) {
        const struct uj_piece whole = {key, key_length};
        uj_crypto_sha256(&whole, 1, block);
    } else if (key_length > 0) {
        memcpy(block, key, key_length);
    }
    padded(block, 0x36, pieces, count, inner);
    padded(block, 0x5c, &inner_piece, 1, mac);
}

void uj_crypto_hkdf(const uint8_t *key, size_t key_length, const uint8_t *salt, size_t salt_length,
                    const struct uj_piece *info, size_t info_count, uint8_t *output, size_t length)
{
    const struct uj_piece input = {key, key_length};
    struct uj_piece pieces[UJ_CRYPTO_MAX_PIECES];
    uint8_t extracted[UJ_SHA256_BYTES];
    uint8_t step[UJ_SHA256_BYTES];
    uint8_t counter = 0;
    if (info_count > UJ_CRYPTO_MAX_PIECES - 2) {
        info_count = UJ_CRYPTO_MAX_PIECES - 2;
    }
    /* A salt left out is a block of zeros (RFC 5869, section 2.2), which is what HMAC makes of an empty key. */
    uj_crypto_hmac(salt, salt_length, &input, 1, extracted);
    memcpy(pieces + 1, info, info_count * sizeof *info);
    pieces[1 + info_count] = (struct uj_piece){&counter, 1};
    for (size_t done = 0; done < length;) {
        const size_t left = length - done;
        const size_t some = left < sizeof step ? left : sizeof step;
        pieces[0] = (struct uj_piece){step, done == 0 ? 0 : sizeof step};
        counter++;
        uj_crypto_hmac(extracted, sizeof extracted, pieces, 2 + info_count, step);
        memcpy(output + done, step, some);
        done += some;
    }
}
