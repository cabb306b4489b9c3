#include "times.h"

#include <time.h>

static double of(clockid_t clock)
{
    struct timespec at = {0};
    (void)clock_gettime(clock, &at);
    return (double)at.tv_sec * 1e6 + (double)at.tv_nsec * 1e-3;
}

double times_true_us(void)
{
    return of(CLOCK_MONOTONIC_RAW);
}

double times_joint_us(const struct crystal *crystal, double true_us)
{
    return crystal->since_us + (true_us - crystal->true_us) * crystal->rate;
}

double times_true_of_us(const struct crystal *crystal, double joint_us)
{
    return crystal->true_us + (joint_us - crystal->since_us) / crystal->rate;
}

double times_real_ahead_us(void)
{
    const double before_us = of(CLOCK_MONOTONIC_RAW);
    const double real_us = of(CLOCK_REALTIME);
    const double after_us = of(CLOCK_MONOTONIC_RAW);
    return real_us - (before_us + after_us) / 2;
}
