#include "touch.h"

#include <math.h>

void uj_touch_init(struct uj_touch *touch)
{
    *touch = (struct uj_touch){.long_at_us = INFINITY};
}

void uj_touch_turn(struct uj_touch *touch, int16_t detents)
{
    touch->turn = (uint16_t)(touch->turn + (uint16_t)detents);
}

void uj_touch_press(struct uj_touch *touch, double now_us, bool down)
{
    if (down == touch->down) {
        return;
    }
    touch->down = down;
    if (down) {
        touch->long_at_us = now_us + UJ_LONG_PRESS_US;
        return;
    }
    if (isfinite(touch->long_at_us)) {
        touch->presses = (uint16_t)(touch->presses + 1);
    }
    touch->long_at_us = INFINITY;
}

void uj_touch_becomes_long(struct uj_touch *touch)
{
    touch->long_at_us = INFINITY;
    touch->long_presses = (uint16_t)(touch->long_presses + 1);
}

int16_t uj_touch_turned(const struct uj_touch *touch)
{
    return (int16_t)(touch->turn <= INT16_MAX ? (int32_t)touch->turn : (int32_t)touch->turn - 65536);
}
