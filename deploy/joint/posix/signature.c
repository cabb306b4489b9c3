/* The seam of crypto.h that only a library fills: Ed25519 by libsodium. */
#include <sodium.h>

#include "crypto.h"

_Static_assert(UJ_SIGNATURE_KEY_BYTES == crypto_sign_PUBLICKEYBYTES, "RFC 8032");
_Static_assert(UJ_SIGNATURE_BYTES == crypto_sign_BYTES, "RFC 8032");

bool uj_signature_ok(const uint8_t key[UJ_SIGNATURE_KEY_BYTES], const uint8_t *message, size_t length,
                     const uint8_t signature[UJ_SIGNATURE_BYTES])
{
    return sodium_init() >= 0 && crypto_sign_verify_detached(signature, message, length, key) == 0;
}
