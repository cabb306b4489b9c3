#include "base64.h"

#include <string.h>

static const char DIGITS[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

size_t uj_base64(const uint8_t *bytes, size_t length, char *out)
{
    size_t written = 0;
    for (size_t at = 0; at < length; at += 3) {
        const size_t left = length - at;
        uint32_t group = (uint32_t)bytes[at] << 16;
        if (left > 1) {
            group |= (uint32_t)bytes[at + 1] << 8;
        }
        if (left > 2) {
            group |= bytes[at + 2];
        }
        for (size_t i = 0; i < 4; i++) {
            out[written++] = i <= left ? DIGITS[group >> (18 - 6 * i) & 63] : '=';
        }
    }
    return written;
}

bool uj_base64_digit(char c)
{
    return c != '\0' && strchr(DIGITS, c) != NULL;
}
