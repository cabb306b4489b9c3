/* SHA-256 (FIPS 180-4), HMAC (RFC 2104) and HKDF (RFC 5869) with it.
 *
 * The seam is uj_crypto_sha256 alone: a platform with a library or an engine for it links its own in place of
 * sha256.c. HMAC and HKDF are made of it in hmac.c. Messages are handed over in pieces, so that nothing is
 * copied together to be hashed, and no context has to be kept. */
#ifndef UJ_CRYPTO_H
#define UJ_CRYPTO_H

#include <stddef.h>
#include <stdint.h>

#define UJ_SHA256_BYTES 32
#define UJ_CRYPTO_MAX_PIECES 6 /* of a message under an HMAC */

struct uj_piece {
    const uint8_t *bytes; /* may be null where length is 0 */
    size_t length;
};

/* The digest of all pieces, one after the other. Any number of pieces. */
void uj_crypto_sha256(const struct uj_piece *pieces, size_t count, uint8_t digest[UJ_SHA256_BYTES]);

/* HMAC-SHA-256 of all pieces. At most UJ_CRYPTO_MAX_PIECES: further ones would be a mistake of the caller. */
void uj_crypto_hmac(const uint8_t *key, size_t key_length, const struct uj_piece *pieces, size_t count,
                    uint8_t mac[UJ_SHA256_BYTES]);

/* HKDF-SHA-256, extract and expand. `length` at most 255 * 32. */
void uj_crypto_hkdf(const uint8_t *key, size_t key_length, const uint8_t *salt, size_t salt_length,
                    const struct uj_piece *info, size_t info_count, uint8_t *output, size_t length);

#endif
