#include "whole.h"

#include <math.h>

uj_time uj_time_from_us(double us)
{
    const double limit = (double)UJ_TIME_MAX;
    const double time = floor(us * UJ_TIME_PER_US + 0.5);
    if (time >= limit) {
        return UJ_TIME_MAX;
    }
    if (time <= -limit) {
        return -UJ_TIME_MAX;
    }
    return isnan(time) ? 0 : (uj_time)time;
}

double uj_time_to_us(uj_time time)
{
    return (double)time / UJ_TIME_PER_US;
}

int64_t uj_time_round_us(uj_time time)
{
    return uj_floor_div(time + UJ_TIME_PER_US / 2, UJ_TIME_PER_US);
}

int64_t uj_floor_div(int64_t a, int64_t n)
{
    return a / n - (a % n < 0 ? 1 : 0);
}

int64_t uj_floor_mul_div(int64_t d, int64_t m, int64_t n)
{
    const int64_t whole = uj_floor_div(d, n);
    return whole * m + uj_floor_div((d - whole * n) * m, n);
}
