/* The touch control's counters. It never moves the joint by itself. */
#ifndef UJ_TOUCH_H
#define UJ_TOUCH_H

#include <stdbool.h>
#include <stdint.h>

#define UJ_LONG_PRESS_US 800000.0

struct uj_touch {
    uint16_t turn;         /* detents since boot, of an i16 that wraps */
    uint16_t presses;      /* short ones since boot; wraps */
    uint16_t long_presses; /* since boot; wraps */
    bool down;
    double long_at_us; /* joint time at which the press becomes a long one; INFINITY where it is none or counted */
};

/* As after boot. */
void uj_touch_init(struct uj_touch *touch);

/* Turned by so many detents. */
void uj_touch_turn(struct uj_touch *touch, int16_t detents);

/* Pressed or let go at `now_us`. */
void uj_touch_press(struct uj_touch *touch, double now_us, bool down);

/* Detents turned since boot, as the status tells them. */
int16_t uj_touch_turned(const struct uj_touch *touch);

/* The press has lasted long enough: it counts now. */
void uj_touch_becomes_long(struct uj_touch *touch);

#endif
