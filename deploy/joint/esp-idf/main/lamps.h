/* The light: addressable lamps, or a plain one where the chip has no channel of the pulse peripheral left for them. */
#ifndef LAMPS_H
#define LAMPS_H

#include <stdbool.h>

#include "lamp.h"

void lamps_begin(void);

/* Shows a word's light, while its pattern is on or off. */
void lamps_show(enum uj_word word, bool on);

#endif
