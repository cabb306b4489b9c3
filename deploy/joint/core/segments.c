#include "segments.h"

#include <math.h>

static double length_s(const struct uj_point *a, const struct uj_point *b)
{
    return (double)(b->time_us - a->time_us) / 1e6;
}

static double way(const struct uj_point *a, const struct uj_point *b)
{
    return (double)(b->position - a->position);
}

static double begin_acceleration(const struct uj_point *a, const struct uj_point *b, double h)
{
    return (6 * way(a, b) / h - 4.0 * a->velocity - 2.0 * b->velocity) / h;
}

static double end_acceleration(const struct uj_point *a, const struct uj_point *b, double h)
{
    return (-6 * way(a, b) / h + 2.0 * a->velocity + 4.0 * b->velocity) / h;
}

struct uj_peaks uj_segment_peaks(const struct uj_point *a, const struct uj_point *b)
{
    const double h = length_s(a, b);
    const double a0 = begin_acceleration(a, b, h);
    const double a1 = end_acceleration(a, b, h);
    struct uj_peaks peaks = {.velocity = fmax(fabs((double)a->velocity), fabs((double)b->velocity)),
                             .acceleration = fmax(fabs(a0), fabs(a1))};
    if ((a0 < 0 && a1 > 0) || (a0 > 0 && a1 < 0)) {
        peaks.velocity = fmax(peaks.velocity, fabs(a->velocity + 0.5 * a0 * h * (a0 / (a0 - a1))));
    }
    return peaks;
}

double uj_segment_allowance_velocity(double h_s)
{
    return 1.5 / h_s + 1;
}

double uj_segment_allowance_acceleration(double h_s)
{
    return 6 / (h_s * h_s) + 3 / h_s;
}

enum uj_segment_fault uj_segment_check(const struct uj_point *a, const struct uj_point *b, double velocity,
                                       double acceleration)
{
    const double h = length_s(a, b);
    const double planned = UJ_ACCELERATION_SHARE * acceleration;
    if (b->time_us - a->time_us < 1000) {
        return UJ_SEGMENT_SPACING;
    }
    const struct uj_peaks peaks = uj_segment_peaks(a, b);
    if (peaks.velocity > velocity + uj_segment_allowance_velocity(h) || fabs((double)a->velocity) > velocity + 1 ||
        fabs((double)b->velocity) > velocity + 1) {
        return UJ_SEGMENT_VELOCITY;
    }
    if (peaks.acceleration > planned + uj_segment_allowance_acceleration(h) ||
        fabs((double)b->velocity - (double)a->velocity) > planned * h + 1) {
        return UJ_SEGMENT_ACCELERATION;
    }
    return UJ_SEGMENT_SOUND;
}

/* Position at share u of the segment of h seconds. */
static double at_share(const struct uj_point *a, const struct uj_point *b, double h, double u)
{
    const double d0 = a->velocity * h;
    const double d1 = b->velocity * h;
    const double d = way(a, b);
    return (double)a->position + ((d0 + d1 - 2 * d) * u + (3 * d - 2 * d0 - d1)) * u * u + d0 * u;
}

void uj_segment_reach(const struct uj_point *a, const struct uj_point *b, double *low, double *high)
{
    const double h = length_s(a, b);
    *low = fmin((double)a->position, (double)b->position);
    *high = fmax((double)a->position, (double)b->position);
    /* The velocity is v0 + a0·h·u + ½·(a1 − a0)·h·u²; the position turns where it is 0. */
    const double a0 = begin_acceleration(a, b, h) * h;
    const double square = 0.5 * (end_acceleration(a, b, h) * h - a0);
    const double root = a0 * a0 - 4 * square * a->velocity;
    if (root < 0) {
        return;
    }
    /* In the form that loses no digits: q/square and v0/q. */
    const double q = -0.5 * (a0 + copysign(sqrt(root), a0));
    const double shares[2] = {square != 0 ? q / square : 0, q != 0 ? a->velocity / q : 0};
    for (int i = 0; i < 2; i++) {
        if (shares[i] > 0 && shares[i] < 1) {
            const double position = at_share(a, b, h, shares[i]);
            *low = fmin(*low, position);
            *high = fmax(*high, position);
        }
    }
}

double uj_segment_position(const struct uj_point *a, const struct uj_point *b, double path_us)
{
    const double h = length_s(a, b);
    return h > 0 ? at_share(a, b, h, (path_us - (double)a->time_us) / 1e6 / h) : (double)a->position;
}

double uj_segment_velocity(const struct uj_point *a, const struct uj_point *b, double path_us)
{
    const double h = length_s(a, b);
    if (h <= 0) {
        return a->velocity;
    }
    const double t = (path_us - (double)a->time_us) / 1e6;
    const double a0 = begin_acceleration(a, b, h);
    return a->velocity + (a0 + 0.5 * (end_acceleration(a, b, h) - a0) * t / h) * t;
}
