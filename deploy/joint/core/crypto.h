/* SHA-256 (FIPS 180-4), HMAC (RFC 2104) and HKDF (RFC 5869) with it, and Ed25519 (RFC 8032).
 *
 * SHA-256 is a seam: a platform with a library or an engine for it links its own in place of sha256.c. HMAC and HKDF
 * are made of it in hmac.c. Messages are handed over in pieces, so that nothing is copied together to be hashed.
 *
 * The check of a signature is another, and nothing here fills it: a platform whose joint takes images (update.h) links
 * one of a library's. */
#ifndef UJ_CRYPTO_H
#define UJ_CRYPTO_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UJ_SHA256_BYTES 32
#define UJ_SHA256_BLOCK_BYTES 64
#define UJ_SIGNATURE_KEY_BYTES 32
#define UJ_SIGNATURE_BYTES 64
#define UJ_CRYPTO_MAX_PIECES 6 /* of a message under an HMAC */

struct uj_piece {
    const uint8_t *bytes; /* may be null where length is 0 */
    size_t length;
};

/* The digest of all pieces, one after the other. Any number of pieces. */
void uj_crypto_sha256(const struct uj_piece *pieces, size_t count, uint8_t digest[UJ_SHA256_BYTES]);

/* The same of a message that comes bit by bit, over as many calls as need be. */
struct uj_sha256 {
    uint32_t hash[8];
    uint64_t total; /* bytes so far */
    uint8_t block[UJ_SHA256_BLOCK_BYTES];
};

void uj_sha256_begin(struct uj_sha256 *sha);
void uj_sha256_add(struct uj_sha256 *sha, const uint8_t *bytes, size_t length);
void uj_sha256_end(struct uj_sha256 *sha, uint8_t digest[UJ_SHA256_BYTES]);

/* HMAC-SHA-256 of all pieces. At most UJ_CRYPTO_MAX_PIECES: further ones would be a mistake of the caller. */
void uj_crypto_hmac(const uint8_t *key, size_t key_length, const struct uj_piece *pieces, size_t count,
                    uint8_t mac[UJ_SHA256_BYTES]);

/* HKDF-SHA-256, extract and expand. `length` at most 255 * 32. */
void uj_crypto_hkdf(const uint8_t *key, size_t key_length, const uint8_t *salt, size_t salt_length,
                    const struct uj_piece *info, size_t info_count, uint8_t *output, size_t length);

/* Whether the signature is that of the message by Ed25519 with this public key. A platform's own. */
bool uj_signature_ok(const uint8_t key[UJ_SIGNATURE_KEY_BYTES], const uint8_t *message, size_t length,
                     const uint8_t signature[UJ_SIGNATURE_BYTES]);

#endif
