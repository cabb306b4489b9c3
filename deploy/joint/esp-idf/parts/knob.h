/* A knob with two contacts, A and B, a quarter turn of their pattern apart, for chips that have no touch pads. */
#ifndef UJ_KNOB_H
#define UJ_KNOB_H

#include <stdbool.h>
#include <stdint.h>

struct uj_knob {
    bool begun;
    uint8_t contacts; /* last seen: bit 0 A, bit 1 B */
    int8_t quarters;  /* of a detent, since the last one */
};

/* Takes both contacts' levels, several hundred times a second. Returns 1, −1 or 0 detents, positive where A leads. A detent
 * has four changes; a bouncing contact goes back and forth and turns nothing; a change of both at once is not counted. */
int16_t uj_knob_take(struct uj_knob *knob, bool a, bool b);

#endif
