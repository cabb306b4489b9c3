/* The step path: the instants and directions of the motor's steps, in whole numbers. One step is one microstep, 256
 * counts. No floating point; one division for each slice, none for a step.
 *
 * Time is joint time in 1/256 µs (a port converts to its timer's ticks: at 80 MHz times 5, divided by 16). A slice is
 * UJ_STEPS_SLICE of it: the position is computed at its ends and taken for straight between them. With
 * acceleration a the error of that is at most a·T²/8: 0.18 counts at 5460000 counts/s².
 *
 * The motor stands at microstep m, which is position 256·m. It steps up when the commanded position comes to
 * m + 1/2, down at m − 1/2. A step against the one before is made 1/32 microstep later, so that a position that
 * rests at the half does not chatter.
 *
 * Steps are made ahead of time by as much as the caller lets them. Where the motion changes meanwhile, the next piece
 * begins where the caller is with its steps, and the difference (½·a·t² for t made ahead) is stepped off as any other.
 */
#ifndef UJ_STEPS_H
#define UJ_STEPS_H

#include "piece.h"

#define UJ_STEPS_SLICE 131072 /* 1/256 µs: 512 µs */
#define UJ_STEPS_HYSTERESIS 2048 /* 1/256 count: 1/32 microstep */

/* What the motor's driver needs, 1/256 µs. A step is made by the rising edge. */
struct uj_driver_limits {
    uint32_t high;  /* a pulse is high for at least this long */
    uint32_t low;   /* and low for at least this long */
    uint32_t setup; /* the direction stands before the rising edge */
    uint32_t hold;  /* and after it */
};

struct uj_step {
    uj_time at;      /* of the rising edge */
    uj_time turn_at; /* where `turns`: the direction changes now, `setup` before `at` */
    bool up;         /* towards larger positions */
    bool turns;      /* the direction is another than at the step before, or not known yet */
};

struct uj_steps {
    struct uj_driver_limits limits;
    int64_t microstep;    /* where the motor stands, all steps given counted */
    int direction;        /* of the last step: 1, −1; 0 before the first */
    uj_time last;         /* rising edge of the last step */
    uj_time at;           /* how far the motion is looked at: the slice's end */
    int64_t position;     /* commanded there, 1/256 count */
    /* the slice */
    int slice_direction;  /* 1, −1 */
    uint32_t left;        /* steps in it still to be given */
    uj_time instant;      /* of the next one, in whole 1/256 µs … */
    uint32_t instant_part;/* … and 2^-32 of it */
    uint64_t interval;    /* between two, 1/256 µs · 2^32 */
};

/* The motor stands at the microstep nearest to `position` (counts) at joint time t, whatever steps were made before:
 * after a boot, a release or a shift of the positions. */
void uj_steps_begin(struct uj_steps *steps, const struct uj_driver_limits *limits, uj_time t, int64_t position);

/* All positions are shifted by so many counts: the motor stays where it is. */
void uj_steps_shift(struct uj_steps *steps, int64_t counts);

/* The next step before joint time `until`, of a motion that the piece holds. False: none; then either `until` is
 * reached (uj_steps_at says so), or the piece is used up and the next one is asked for at uj_steps_at. */
bool uj_steps_next(struct uj_steps *steps, const struct uj_motion_piece *piece, uj_time until, struct uj_step *step);

/* Joint time up to which all steps have been given. */
uj_time uj_steps_at(const struct uj_steps *steps);

/* The joint rests up to joint time t: no steps come, time goes on. */
void uj_steps_rest(struct uj_steps *steps, uj_time t);

#endif
