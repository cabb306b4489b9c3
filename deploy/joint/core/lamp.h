/* The joint's light: which word it shows, and when it is on. For people; nothing moves by it. */
#ifndef UJ_LAMP_H
#define UJ_LAMP_H

#include <stdbool.h>
#include <stdint.h>

struct uj_joint;

/* The numbers that a drive carries as `condition`, and blink. */
enum uj_word {
    UJ_WORD_NOT_KNOWN = 0,
    UJ_WORD_MOVING = 1,
    UJ_WORD_HOMING = 2,
    UJ_WORD_STARTS = 3,
    UJ_WORD_HELD = 4,
    UJ_WORD_PAUSED = 5,
    UJ_WORD_STOPPED = 6,
    UJ_WORD_MOTORS_OFF = 7,
    UJ_WORD_AT_REST = 8,
    UJ_WORD_BLINK = 9
};

struct uj_lamp {
    double blink_until_us; /* joint time; -INFINITY while it does not blink */
};

/* Sets the lamp as it is after boot. */
void uj_lamp_init(struct uj_joint *joint);

/* Blinks for so many seconds from now on. */
void uj_lamp_blink(struct uj_joint *joint, uint32_t seconds);

/* What it shows at `now_us`, if nothing else happens until then. */
enum uj_word uj_lamp_word(const struct uj_joint *joint, double now_us);

/* Whether it is on then. Its patterns begin with joint time. */
bool uj_lamp_is_on(const struct uj_joint *joint, double now_us);

#endif
