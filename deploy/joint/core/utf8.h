/* Whether bytes are UTF-8 as RFC 3629 has it: shortest forms only, no surrogates, nothing beyond U+10FFFF. */
#ifndef UJ_UTF8_H
#define UJ_UTF8_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

bool uj_utf8(const uint8_t *bytes, size_t length);

#endif
