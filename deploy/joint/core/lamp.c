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
    joint->lamp.word = UJ_WORD_NOT_KNOWN;
    joint->lamp.since_us = joint->now_us;
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

static enum uj_word word_now(const struct uj_joint *joint)
{
    if (joint->now_us < joint->lamp.blink_until_us) {
        return UJ_WORD_BLINK;
    }
    if (joint->state == UJ_HOMING) {
        return UJ_WORD_HOMING;
    }
    if (!uj_state_rests(joint->state)) {
        return UJ_WORD_MOVING;
    }
    if (!joint->session.driven || joint->now_us >= joint->session.drive_us + UJ_SILENCE_US) {
        return UJ_WORD_NOT_KNOWN;
    }
    uint8_t condition = joint->session.condition;
    if (condition > UJ_WORD_AT_REST) {
        return UJ_WORD_NOT_KNOWN;
    }
    if (joint->state == UJ_FAULTED && claims_rest(condition)) {
        return UJ_WORD_STOPPED;
    }
    return (enum uj_word)condition;
}

void uj_lamp_refresh(struct uj_joint *joint)
{
    enum uj_word word = word_now(joint);
    if (word != joint->lamp.word) {
        joint->lamp.word = word;
        joint->lamp.since_us = joint->now_us;
    }
}

bool uj_lamp_is_on(const struct uj_lamp *lamp, double now_us, double *until_us)
{
    const uint16_t *pattern = patterns[lamp->word];
    if (pattern[1] == 0) {
        *until_us = INFINITY;
        return true;
    }
    double whole_us = 0;
    for (size_t i = 0; pattern[i] != 0; i++) {
        whole_us += 1e3 * pattern[i];
    }
    double at_us = fmod(fmax(now_us - lamp->since_us, 0), whole_us);
    double end_us = 0;
    for (size_t i = 0; pattern[i] != 0; i++) {
        end_us += 1e3 * pattern[i];
        if (at_us < end_us) {
            *until_us = now_us + (end_us - at_us);
            return i % 2 == 0;
        }
    }
    *until_us = now_us;
    return false;
}
