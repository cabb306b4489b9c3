#include "light.h"

/* Red, green, blue. Bright enough for a workshop, at about 60 mA for eight lamps. */
static const uint8_t colours[UJ_WORD_BLINK + 1][3] = {
    [UJ_WORD_NOT_KNOWN] = {32, 0, 32}, [UJ_WORD_MOVING] = {32, 20, 0}, [UJ_WORD_HOMING] = {32, 20, 0},
    [UJ_WORD_STARTS] = {32, 20, 0},    [UJ_WORD_HELD] = {0, 16, 40},   [UJ_WORD_PAUSED] = {0, 16, 40},
    [UJ_WORD_STOPPED] = {48, 0, 0},    [UJ_WORD_MOTORS_OFF] = {16, 16, 16}, [UJ_WORD_AT_REST] = {0, 32, 0},
    [UJ_WORD_BLINK] = {32, 32, 32},
};

void uj_light_bytes(enum uj_word word, bool on, uint8_t bytes[UJ_LIGHT_BYTES])
{
    const uint8_t *colour = colours[word <= UJ_WORD_BLINK ? word : UJ_WORD_NOT_KNOWN];
    for (int lamp = 0; lamp < UJ_LIGHT_LAMPS; lamp++) {
        bytes[3 * lamp] = on ? colour[1] : 0;
        bytes[3 * lamp + 1] = on ? colour[0] : 0;
        bytes[3 * lamp + 2] = on ? colour[2] : 0;
    }
}
