#include "lamp.h"

#include <math.h>
#include <stddef.h>

#include "body.h"

/* ms on, off, on, …; 0 ends a row. A row of one length is a light that stays on. */
static const uint16_t patterns[UJ_WORD_BLINK + 1][7] = {
    [UJ_WORD_NOT_KNOWN] = {100, 200, 100, 200, 100, 900, 0},
    [UJ_WORD_MOVING] = {1000, 0},
    [UJ_WORD_HOMING] = {1000, 0},
    [UJ_WORD_STARTS] = {250, 250, 0},
    [UJ_WORD_HELD] = {800, 800, 0},
    [UJ_WORD_PAUSED] = {800, 800, 0},
    [UJ_WORD_STOPPED] = {100, 200, 100, 1200, 0},
    [UJ_WORD_MOTORS_OFF] = {100, 3900, 0},
    [UJ_WORD_AT_REST] = {100, 1500, 0},
    [UJ_WORD_BLINK] = {125, 125, 0},
};

void uj_lamp_init(struct uj_joint *joint)
{
    joint->lamp.blink_until_us = -INFINITY;
}

void uj_lamp_blink(struct uj_joint *joint, uint32_t seconds)
{
    joint->lamp.blink_until_us = joint->now_us + 1e6 * (double)seconds;
}

static bool claims_rest(uint8_t word)
{
    return word == UJ_WORD_HELD || word == UJ_WORD_PAUSED || word == UJ_WORD_STOPPED ||
           word == UJ_WORD_MOTORS_OFF || word == UJ_WORD_AT_REST;
}

enum uj_word uj_lamp_word(const struct uj_joint *joint, double now_us)
{
    if (now_us < joint->lamp.blink_until_us) {
        return UJ_WORD_BLINK;
    }
    if (joint->state == UJ_HOMING) {
        return UJ_WORD_HOMING;
    }
    if (!uj_state_rests(joint->state)) {
        return UJ_WORD_MOVING;
    }
    /* Before a session's first drive the condition is 0. */
    const uint8_t condition = joint->session.condition;
    if (now_us >= joint->session.driven_us + UJ_SILENCE_US || condition > UJ_WORD_AT_REST) {
        return UJ_WORD_NOT_KNOWN;
    }
    if (joint->state == UJ_FAULTED && claims_rest(condition)) {
        return UJ_WORD_STOPPED;
    }
    return (enum uj_word)condition;
}

bool uj_lamp_is_on(const struct uj_joint *joint, double now_us)
{
    const uint16_t *pattern = patterns[uj_lamp_word(joint, now_us)];
    double whole_us = 1e3 * pattern[0];
    for (size_t i = 1; pattern[i] != 0; i++) {
        whole_us += 1e3 * pattern[i];
    }
    double rest_us = fmod(now_us, whole_us);
    for (size_t i = 0; pattern[i] != 0; i++) {
        rest_us -= 1e3 * pattern[i];
        if (rest_us < 0) {
            return i % 2 == 0;
        }
    }
    return false;
}
