#include "states.h"

#include <stddef.h>

struct transition {
    enum uj_state from;
    enum uj_trigger trigger;
    enum uj_state to;
};

static const struct transition table[] = {
    {UJ_UNHOMED, UJ_ON_HOME, UJ_HOMING},
    {UJ_READY, UJ_ON_HOME, UJ_HOMING},
    {UJ_HOMING, UJ_ON_HOMED, UJ_READY},
    {UJ_UNHOMED, UJ_ON_JOG, UJ_JOGGING},
    {UJ_READY, UJ_ON_JOG, UJ_JOGGING},
    {UJ_READY, UJ_ON_PREPARE, UJ_PREPARED},
    {UJ_PREPARED, UJ_ON_ARM_HERE, UJ_ARMED},
    {UJ_PREPARED, UJ_ON_ARM_AHEAD, UJ_ADVANCING},
    {UJ_HELD, UJ_ON_ARM_HERE, UJ_ARMED},
    {UJ_HELD, UJ_ON_ARM_AHEAD, UJ_ADVANCING},
    {UJ_ADVANCING, UJ_ON_ARRIVED, UJ_ARMED},
    {UJ_ADVANCING, UJ_ON_LAST_POINT, UJ_FINISHED},
    {UJ_ADVANCING, UJ_ON_RAMP, UJ_RAMPING},
    {UJ_ARMED, UJ_ON_ARM_AHEAD, UJ_ADVANCING},
    {UJ_ARMED, UJ_ON_DISARM_START, UJ_PREPARED},
    {UJ_ARMED, UJ_ON_DISARM_PATH, UJ_HELD},
    {UJ_ARMED, UJ_ON_START, UJ_MOVING},
    {UJ_HELD, UJ_ON_LAST_POINT, UJ_FINISHED},
    {UJ_ARMED, UJ_ON_LAST_POINT, UJ_FINISHED},
    {UJ_MOVING, UJ_ON_RAMP, UJ_RAMPING},
    {UJ_MOVING, UJ_ON_LAST_POINT, UJ_FINISHED},
    {UJ_RAMPING, UJ_ON_LAST_POINT, UJ_FINISHED},
    {UJ_RAMPING, UJ_ON_REST, UJ_HELD},
    {UJ_STOPPING, UJ_ON_REST_HOMED, UJ_READY},
    {UJ_STOPPING, UJ_ON_REST_UNHOMED, UJ_UNHOMED},
    {UJ_STOPPING, UJ_ON_REST_FAULT, UJ_FAULTED},
    {UJ_FAULTED, UJ_ON_CLEAR_HOMED, UJ_READY},
    {UJ_FAULTED, UJ_ON_CLEAR_UNHOMED, UJ_UNHOMED},
    {UJ_READY, UJ_ON_UNHOME, UJ_UNHOMED},
    {UJ_HOMING, UJ_ON_STOP, UJ_STOPPING},
    {UJ_ADVANCING, UJ_ON_STOP, UJ_STOPPING},
    {UJ_MOVING, UJ_ON_STOP, UJ_STOPPING},
    {UJ_RAMPING, UJ_ON_STOP, UJ_STOPPING},
    {UJ_JOGGING, UJ_ON_STOP, UJ_STOPPING},
    {UJ_PREPARED, UJ_ON_DISCARD, UJ_READY},
    {UJ_ARMED, UJ_ON_DISCARD, UJ_READY},
    {UJ_HELD, UJ_ON_DISCARD, UJ_READY},
    {UJ_FINISHED, UJ_ON_DISCARD, UJ_READY},
    {UJ_UNHOMED, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_READY, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_PREPARED, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_ARMED, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_HELD, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_FINISHED, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_HOMING, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_ADVANCING, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_MOVING, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_RAMPING, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_JOGGING, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_STOPPING, UJ_ON_RELEASE, UJ_UNHOMED},
    {UJ_UNHOMED, UJ_ON_FAULT, UJ_FAULTED},
    {UJ_READY, UJ_ON_FAULT, UJ_FAULTED},
    {UJ_PREPARED, UJ_ON_FAULT, UJ_FAULTED},
    {UJ_ARMED, UJ_ON_FAULT, UJ_FAULTED},
    {UJ_HELD, UJ_ON_FAULT, UJ_FAULTED},
    {UJ_FINISHED, UJ_ON_FAULT, UJ_FAULTED},
};

bool uj_transition(enum uj_state state, enum uj_trigger trigger, enum uj_state *next)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].from == state && table[i].trigger == trigger) {
            *next = table[i].to;
            return true;
        }
    }
    return false;
}

bool uj_state_rests(enum uj_state state)
{
    switch (state) {
    case UJ_HOMING:
    case UJ_ADVANCING:
    case UJ_MOVING:
    case UJ_RAMPING:
    case UJ_JOGGING:
    case UJ_STOPPING:
        return false;
    default:
        return true;
    }
}

bool uj_state_rests_on_path(enum uj_state state)
{
    return state == UJ_PREPARED || state == UJ_ARMED || state == UJ_HELD || state == UJ_FINISHED;
}

const char *uj_state_name(enum uj_state state)
{
    static const char *const names[UJ_STATE_COUNT] = {
        "unhomed", "homing", "ready", "prepared", "advancing", "armed", "moving",
        "ramping", "held", "finished", "jogging", "stopping", "faulted"};
    return (unsigned)state < UJ_STATE_COUNT ? names[state] : "?";
}
