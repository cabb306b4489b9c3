/* The control that a hand turns and presses: a ring of touch pads where the chip can feel them, else a knob. */
#ifndef HANDS_H
#define HANDS_H

#include <stdbool.h>
#include <stdint.h>

void hands_begin(void);

/* Detents turned since the last call. *pressed becomes whether it is pressed now, and stays where it is not known. */
int16_t hands_take(bool *pressed);

#endif
