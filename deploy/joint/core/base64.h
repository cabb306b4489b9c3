/* Base 64 as RFC 4648 has it in section 4, with padding. */
#ifndef UJ_BASE64_H
#define UJ_BASE64_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Writes 4 characters for every 3 bytes begun, without a terminator; returns how many. */
size_t uj_base64(const uint8_t *bytes, size_t length, char *out);

bool uj_base64_digit(char c);

#endif
