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
    enum uj_word word;     /* shown */
    double since_us;       /* joint time from which it is shown: its pattern begins there */
};

/* Sets the lamp as it is after boot. */
void uj_lamp_init(struct uj_joint *joint);

/* Blinks for so many seconds from now on. */
void uj_lamp_blink(struct uj_joint *joint, uint32_t seconds);

/* To be called after everything that happened: shows another word where another holds now. */
void uj_lamp_refresh(struct uj_joint *joint);

/* Whether the light is on at `now_us`; *until_us gets the joint time at which its pattern changes next. */
bool uj_lamp_is_on(const struct uj_lamp *lamp, double now_us, double *until_us);

#endif
