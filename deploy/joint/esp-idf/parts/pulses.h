/* Step pulses for a peripheral that sends pairs of durations, two channels in lockstep: one for the step input, one for
 * the direction input. Both get the same symbols in the same order; only the levels differ. So no interrupt ever decides
 * when an edge comes: it only has to bring the next symbols in time.
 *
 * Stream time is in ticks of 100 ns since the channels began. It goes on without end: where no step is made, idle
 * symbols are sent. Where the maker was late, the reader makes an idle symbol itself; then the steps that follow are late,
 * and `worst_late` tells. No step is ever closer to the one before, or to a change of direction, than the limits say.
 *
 * One maker (a task), two readers (interrupts). Whoever calls holds a lock around each call. */
#ifndef UJ_PULSES_H
#define UJ_PULSES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UJ_PULSES_HZ 10000000u
#define UJ_PULSES_RING 4096u      /* symbols */
#define UJ_PULSES_KEPT_FREE 128u  /* of them for idle symbols that readers make */
#define UJ_PULSES_IDLE 640u       /* ticks of the longest idle symbol: 64 µs */

/* A symbol in the ring: bits 0 to 14 and 16 to 30 its two durations in ticks, 1 at least; bit 15 the direction of all of
 * it; bit 31 a step, then the second duration is the pulse. */

enum uj_pulses_reader { UJ_PULSES_STEP, UJ_PULSES_DIRECTION, UJ_PULSES_READERS };

/* Ticks, 1 to 10000 each. */
struct uj_pulses_limits {
    uint32_t high;  /* of a pulse */
    uint32_t low;   /* between two */
    uint32_t setup; /* the direction stands before the rising edge */
    uint32_t hold;  /* and after it */
};

/* How far the maker is. */
struct uj_pulses_end {
    uint32_t written; /* symbols since the beginning; wraps */
    uint64_t ticks;   /* stream time of all that is written */
    uint64_t rose;    /* of the last rising edge */
    uint64_t turned;  /* of the last change of direction */
    bool up;          /* direction now */
    bool after_pulse; /* the last symbol ends with a pulse */
};

struct uj_pulses {
    struct uj_pulses_limits limits;
    uint32_t ring[UJ_PULSES_RING];
    struct uj_pulses_end end;
    uint32_t read[UJ_PULSES_READERS];     /* symbols since the beginning; wraps */
    uint64_t ticks_read[UJ_PULSES_READERS]; /* stream time of them */
    bool lost_step;                       /* one reader left the other behind: the ring is of no use any more */
    uint64_t worst_late;                  /* ticks by which a step came after its instant, at most so far */
};

/* Begins at stream time 0. */
void uj_pulses_begin(struct uj_pulses *pulses, const struct uj_pulses_limits *limits);

/* Nothing happens up to stream time `until`: idle symbols up to there, as many as there is room for. */
void uj_pulses_rest(struct uj_pulses *pulses, uint64_t until);

/* A step with its rising edge at `at`, or as soon after as the limits let; `up` is the direction. Where it is another than
 * at the step before, it changes at `turn_at`, or as near as the limits let. False, with nothing but idle symbols
 * written, where there is no room: call again with the same step. */
bool uj_pulses_step(struct uj_pulses *pulses, uint64_t at, bool up, uint64_t turn_at);

/* Takes back all that was written since the end was `end`. False, with nothing changed, where a reader has some of it. */
bool uj_pulses_take_back(struct uj_pulses *pulses, const struct uj_pulses_end *end);

/* The next `count` symbols for one channel, with its levels: bit 15 that of the first duration, bit 31 that of the
 * second. */
void uj_pulses_take(struct uj_pulses *pulses, enum uj_pulses_reader reader, uint32_t *symbols, size_t count);

#endif
