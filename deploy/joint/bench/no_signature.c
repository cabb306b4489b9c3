/* The emulated machine has no library that checks signatures: it refuses them all. */
#include "crypto.h"

bool uj_signature_ok(const uint8_t key[UJ_SIGNATURE_KEY_BYTES], const uint8_t *message, size_t length,
                     const uint8_t signature[UJ_SIGNATURE_BYTES])
{
    (void)key;
    (void)message;
    (void)length;
    (void)signature;
    return false;
}
