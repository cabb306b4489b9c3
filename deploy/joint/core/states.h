/* The states of a joint and the transitions between them, as data: exactly those of the wire document. */
#ifndef UJ_STATES_H
#define UJ_STATES_H

#include <stdbool.h>

/* Numbers are those of the status. */
enum uj_state {
    UJ_UNHOMED = 0,
    UJ_HOMING = 1,
    UJ_READY = 2,
    UJ_PREPARED = 3,
    UJ_ADVANCING = 4,
    UJ_ARMED = 5,
    UJ_MOVING = 6,
    UJ_RAMPING = 7,
    UJ_HELD = 8,
    UJ_FINISHED = 9,
    UJ_JOGGING = 10,
    UJ_STOPPING = 11,
    UJ_FAULTED = 12
};

#define UJ_STATE_COUNT 13

enum uj_trigger {
    UJ_ON_HOME,
    UJ_ON_HOMED,
    UJ_ON_PREPARE,
    UJ_ON_DISCARD,
    UJ_ON_ARM_HERE,
    UJ_ON_ARM_AHEAD,
    UJ_ON_ARRIVED,
    UJ_ON_DISARM_START,
    UJ_ON_DISARM_PATH,
    UJ_ON_START,
    UJ_ON_RAMP,
    UJ_ON_REST,
    UJ_ON_LAST_POINT,
    UJ_ON_JOG,
    UJ_ON_STOP,
    UJ_ON_RELEASE,
    UJ_ON_FAULT,
    UJ_ON_CLEAR_HOMED,
    UJ_ON_CLEAR_UNHOMED,
    UJ_ON_REST_HOMED,
    UJ_ON_REST_UNHOMED,
    UJ_ON_REST_FAULT,
    UJ_ON_UNHOME
};

/* Sets *next and returns true where the table has this transition; returns false and leaves *next otherwise. */
bool uj_transition(enum uj_state state, enum uj_trigger trigger, enum uj_state *next);

/* True for the states in which a joint rests: all but homing, advancing, moving, ramping, jogging and stopping. */
bool uj_state_rests(enum uj_state state);

/* True for prepared, armed, held and finished: at rest on a path, where a stop is a discard. */
bool uj_state_rests_on_path(enum uj_state state);

/* The name in the document, such as "unhomed"; "?" for a number that is none. */
const char *uj_state_name(enum uj_state state);

#endif
