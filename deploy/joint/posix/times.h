/* The machine's raw monotonic clock, and a joint's clock that is made of it. */
#ifndef TIMES_H
#define TIMES_H

#include <stdint.h>

/* A simulated crystal: joint time = since_us + (true time − true_us) · rate. */
struct crystal {
    double true_us; /* true time of the boot */
    double since_us; /* joint time then */
    double rate;
};

/* True time: CLOCK_MONOTONIC_RAW in µs, which nobody sets or slews. */
double times_true_us(void);

double times_joint_us(const struct crystal *crystal, double true_us);

/* True time at which the crystal shows `joint_us`. */
double times_true_of_us(const struct crystal *crystal, double joint_us);

/* CLOCK_REALTIME − CLOCK_MONOTONIC_RAW in µs, now: what the kernel's receive times are against true time. */
double times_real_ahead_us(void);

#endif
