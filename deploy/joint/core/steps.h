/* The step path: the instants and directions of the motor's steps, in whole numbers. One step is one microstep, 256
 * counts. No floating point; one division for each slice, none for a step.
 *
 * Time is joint time in 1/256 µs (a port converts to its timer's ticks: at 80 MHz times 5, divided by 16). A slice is
 * UJ_STEPS_SLICE of it: the position is computed at its ends and taken for straight between them. With
 * acceleration a the error of that is at most a·T²/8: 0.045 counts at 5460000 counts/s².
 *
 * Positions are rounded to the nearest microstep, half a one up, after a play of 1/64 microstep either way: so a position
 * that trembles about the half makes no steps. The motor is at most 1/2 + 1/64 microstep from the commanded position,
 * besides the slice's error and what the driver's limits put off.
 *
 * Steps are made ahead of time by as much as the caller lets them. Where the motion changes meanwhile, the next piece
 * begins where the caller is with its steps, and the difference (½·a·t² for t made ahead) is stepped off as any other.
 */
#ifndef UJ_STEPS_H
#define UJ_STEPS_H

#include "piece.h"

#define UJ_STEPS_SLICE 65536  /* 1/256 µs: 256 µs */
#define UJ_STEPS_PLAY 1024    /* 1/256 count: 1/64 microstep */
#define UJ_STEPS_MICROSTEP INT64_C(65536) /* 1/256 count */
#define UJ_STEPS_PART 15      /* bits of an instant within a slice below 1/256 µs */

/* What the motor's driver needs, 1/256 µs. A step is made by the rising edge. */
struct uj_driver_limits {
    uint32_t high;  /* a pulse is high for at least this long */
    uint32_t low;   /* and low for at least this long */
    uint32_t setup; /* the direction stands before the rising edge */
    uint32_t hold;  /* and after it */
};

struct uj_step {
    uj_time at;      /* of the rising edge */
    uj_time turn_at; /* where `turns`, and only there: when the direction is set, `setup` before `at` */
    bool up;         /* towards larger positions */
    bool turns;      /* the direction is another than at the step before, or not known yet */
};

struct uj_steps {
    struct uj_driver_limits limits;
    uint32_t gap;            /* rising edge to rising edge, at least; 1/256 µs */
    uint32_t turning_gap;    /* the same where the direction changes between */
    int64_t microstep;       /* where the motor stands at the slice's end, in microsteps from `base` */
    int64_t base;            /* position of microstep 0, 1/256 count */
    int direction;           /* of the last step: 1, −1; 0 before the first */
    uj_time last;            /* rising edge of the last step */
    uj_time at;              /* the slice's end: up to there the motion is looked at */
    int64_t position;        /* commanded there, from `base`, 1/256 count */
    int64_t played;          /* the same after the play */
    /* the slice */
    uj_time slice;           /* its beginning */
    int slice_direction;     /* 1, −1 */
    uint32_t left;           /* steps in it still to be given */
    uint32_t instant;        /* of the next one, after `slice`, 2^-15 of 1/256 µs */
    uint32_t interval;       /* between two, the same */
};

enum uj_steps_result {
    UJ_STEPS_STEP,  /* a step */
    UJ_STEPS_UNTIL, /* none before `until` */
    UJ_STEPS_PIECE  /* the piece is used up: go on with the one that holds at uj_steps_at, or uj_steps_rest */
};

/* At joint time t the motor stands exactly at `position` (counts), whatever steps were made before: after a boot or a
 * release. */
void uj_steps_begin(struct uj_steps *steps, const struct uj_driver_limits *limits, uj_time t, int64_t position);

/* All positions are shifted by so many counts, as at the end of homing; the motor stays where it is. */
void uj_steps_shift(struct uj_steps *steps, int64_t counts);

/* The next step before joint time `until`. Steps come in the order of time, and do not depend on how `until` cuts it.
 * Where no step is near it looks at slice after slice up to `until`: about 1200 instructions each on rv32imc. */
enum uj_steps_result uj_steps_next(struct uj_steps *steps, const struct uj_motion_piece *piece, uj_time until,
                                   struct uj_step *step);

/* Looks at the next slice of the piece: how many steps, from when on, how far apart. A function of its own file, so that
 * the compiler does not make every step pay for it. For uj_steps_next. */
void uj_steps_look(struct uj_steps *steps, const struct uj_motion_piece *piece);

/* Joint time up to which the motion is looked at. */
uj_time uj_steps_at(const struct uj_steps *steps);

/* The joint rests up to joint time t: no steps come, time goes on. */
void uj_steps_rest(struct uj_steps *steps, uj_time t);

/* Where the motor stands once the steps given are made, 1/256 count. */
int64_t uj_steps_position(const struct uj_steps *steps);

#endif
