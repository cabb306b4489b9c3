/* SHA-1 (RFC 3174), which the opening of a WebSocket asks for. It protects nothing here. */
#ifndef UJ_SHA1_H
#define UJ_SHA1_H

#include <stddef.h>
#include <stdint.h>

#define UJ_SHA1_BYTES 20

void uj_sha1(const uint8_t *bytes, size_t length, uint8_t digest[UJ_SHA1_BYTES]);

#endif
