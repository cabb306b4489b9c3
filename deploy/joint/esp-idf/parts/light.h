/* The light as bytes for addressable lamps: green, red, blue for each. */
#ifndef UJ_LIGHT_H
#define UJ_LIGHT_H

#include <stdbool.h>
#include <stdint.h>

#include "lamp.h"

#define UJ_LIGHT_LAMPS 8
#define UJ_LIGHT_BYTES (3 * UJ_LIGHT_LAMPS)

/* What the lamps show for a word, while the pattern is on or off. The pattern tells the word; colours only help. */
void uj_light_bytes(enum uj_word word, bool on, uint8_t bytes[UJ_LIGHT_BYTES]);

#endif
