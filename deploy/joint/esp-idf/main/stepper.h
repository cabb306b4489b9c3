/* The motor's steps, by two channels of the pulse peripheral (see ../parts/pulses.h). For the joint's task alone. */
#ifndef STEPPER_H
#define STEPPER_H

#include <stdbool.h>

#include "steps.h"

/* Starts the channels. */
void stepper_begin(void);

struct uj_driver_limits stepper_limits(void);

/* Writes one step. */
void stepper_step(const struct uj_step *step);

/* No step comes before joint time `until_us` but those that are written. */
void stepper_rest(double until_us);

/* For work that takes longer: see ../parts/feed.h. */
void stepper_unmark(void);
void stepper_mark(const struct uj_steps *steps, double until_us);
const struct uj_steps *stepper_take_back(double from_us);

/* Once a turn: whether the pulses can be relied on. False: they could not, steps were lost, and they began anew. */
bool stepper_check(void);

#endif
