#include "knob.h"

/* By last contacts · 4 + contacts now. A leads: 00, 01, 11, 10 (bit 0 is A). */
static const int8_t moves[16] = {0, 1, -1, 0, -1, 0, 0, 1, 1, 0, 0, -1, 0, -1, 1, 0};

int16_t uj_knob_take(struct uj_knob *knob, bool a, bool b)
{
    const uint8_t contacts = (uint8_t)((a ? 1u : 0u) | (b ? 2u : 0u));
    if (!knob->begun) {
        knob->begun = true;
        knob->contacts = contacts;
    }
    knob->quarters = (int8_t)(knob->quarters + moves[knob->contacts * 4 + contacts]);
    knob->contacts = contacts;
    if (knob->quarters >= 4 || knob->quarters <= -4) {
        const int16_t detents = knob->quarters / 4;
        knob->quarters = 0;
        return detents;
    }
    return 0;
}
