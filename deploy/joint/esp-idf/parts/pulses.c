#include "pulses.h"

#define FIRST_LEVEL (UINT32_C(1) << 15)
#define SECOND_LEVEL (UINT32_C(1) << 31)
#define DURATION UINT32_C(0x7fff)

void uj_pulses_begin(struct uj_pulses *pulses, const struct uj_pulses_limits *limits)
{
    *pulses = (struct uj_pulses){.limits = *limits};
}

/* Symbols that the slower reader has not read yet. */
static uint32_t waiting(const struct uj_pulses *pulses)
{
    const uint32_t step = pulses->end.written - pulses->read[UJ_PULSES_STEP];
    const uint32_t direction = pulses->end.written - pulses->read[UJ_PULSES_DIRECTION];
    return step > direction ? step : direction;
}

/* Whether there is room for a step or for UJ_PULSES_KEPT_FREE idle symbols. */
static bool has_room(const struct uj_pulses *pulses)
{
    return waiting(pulses) < UJ_PULSES_RING - UJ_PULSES_KEPT_FREE;
}

static void write(struct uj_pulses *pulses, uint32_t first, uint32_t second, bool pulse)
{
    pulses->ring[pulses->end.written % UJ_PULSES_RING] =
        first | second << 16 | (pulses->end.up ? FIRST_LEVEL : 0) | (pulse ? SECOND_LEVEL : 0);
    pulses->end.written++;
    pulses->end.ticks += first + second;
    pulses->end.after_pulse = pulse;
}

/* An idle symbol of 2 ticks or more. */
static void write_idle(struct uj_pulses *pulses, uint32_t ticks)
{
    write(pulses, ticks / 2, ticks - ticks / 2, false);
}

void uj_pulses_rest(struct uj_pulses *pulses, uint64_t until)
{
    while (pulses->end.ticks + 2 <= until && has_room(pulses)) {
        const uint64_t left = until - pulses->end.ticks;
        write_idle(pulses, left < UJ_PULSES_IDLE ? (uint32_t)left : UJ_PULSES_IDLE);
    }
}

static uint64_t later(uint64_t a, uint64_t b)
{
    return a > b ? a : b;
}

bool uj_pulses_step(struct uj_pulses *pulses, uint64_t at, bool up, uint64_t turn_at)
{
    const struct uj_pulses_limits *limits = &pulses->limits;
    uint64_t rise = at;
    if (up != pulses->end.up) {
        /* The direction may change once the last step's hold is over, and not within its pulse. */
        const uint64_t turn = later(turn_at, pulses->end.rose + limits->hold);
        uj_pulses_rest(pulses, turn);
        if (pulses->end.ticks + 2 <= turn || !has_room(pulses)) {
            return false;
        }
        if (pulses->end.ticks < turn) {
            write_idle(pulses, 2); /* by a tick too long rather than too short */
        }
        pulses->end.up = up;
        pulses->end.turned = pulses->end.ticks;
    }
    if (pulses->end.turned > pulses->end.rose) {
        rise = later(rise, pulses->end.turned + limits->setup);
    }
    if (rise > pulses->end.ticks + UJ_PULSES_IDLE) {
        uj_pulses_rest(pulses, rise - UJ_PULSES_IDLE / 2);
    }
    if (rise > pulses->end.ticks + UJ_PULSES_IDLE || !has_room(pulses)) {
        return false;
    }
    rise = later(rise, pulses->end.ticks + (pulses->end.after_pulse ? limits->low : 1));
    if (rise > at) {
        pulses->worst_late = later(pulses->worst_late, rise - at);
    }
    write(pulses, (uint32_t)(rise - pulses->end.ticks), limits->high, true);
    pulses->end.rose = rise;
    return true;
}

bool uj_pulses_take_back(struct uj_pulses *pulses, const struct uj_pulses_end *end)
{
    for (int i = 0; i < UJ_PULSES_READERS; i++) {
        if ((int32_t)(end->written - pulses->read[i]) < 0) {
            return false;
        }
    }
    pulses->end = *end;
    return true;
}

void uj_pulses_take(struct uj_pulses *pulses, enum uj_pulses_reader reader, uint32_t *symbols, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (pulses->read[reader] == pulses->end.written) {
            if (waiting(pulses) >= UJ_PULSES_RING) {
                pulses->lost_step = true;
                pulses->read[UJ_PULSES_STEP] = pulses->end.written;
                pulses->read[UJ_PULSES_DIRECTION] = pulses->end.written;
            }
            write_idle(pulses, UJ_PULSES_IDLE);
        }
        const uint32_t symbol = pulses->ring[pulses->read[reader] % UJ_PULSES_RING];
        const uint32_t first = symbol & DURATION;
        const uint32_t second = symbol >> 16 & DURATION;
        uint32_t levels = symbol & SECOND_LEVEL;
        if (reader == UJ_PULSES_DIRECTION) {
            levels = (symbol & FIRST_LEVEL) != 0 ? FIRST_LEVEL | SECOND_LEVEL : 0;
        }
        symbols[i] = first | second << 16 | levels;
        pulses->read[reader]++;
        pulses->ticks_read[reader] += first + second;
    }
}
