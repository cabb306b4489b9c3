/* A segment between two points: the cubic that has their positions and velocities at their times. Its peaks,
 * the limits it must keep, and what it holds at a time. Double precision; nothing here is urgent.
 */
#ifndef UJ_SEGMENTS_H
#define UJ_SEGMENTS_H

#include "points.h"

enum uj_segment_fault {
    UJ_SEGMENT_SOUND,
    UJ_SEGMENT_SPACING,      /* shorter than 1 ms */
    UJ_SEGMENT_VELOCITY,
    UJ_SEGMENT_ACCELERATION
};

struct uj_peaks {
    double velocity;     /* counts/s, largest magnitude */
    double acceleration; /* counts/s², largest magnitude */
};

/* Of a segment that takes time (b later than a). */
struct uj_peaks uj_segment_peaks(const struct uj_point *a, const struct uj_point *b);

/* What rounding to whole counts can add, for a segment of h seconds. */
double uj_segment_allowance_velocity(double h_s);
double uj_segment_allowance_acceleration(double h_s);

/* The first limit that the segment passes. `velocity` in counts/s, `acceleration` in counts/s² as configured: 0.8 of
 * it is the limit. */
enum uj_segment_fault uj_segment_check(const struct uj_point *a, const struct uj_point *b, double velocity,
                                       double acceleration);

/* Smallest and largest position of the cubic between its ends, both included. */
void uj_segment_reach(const struct uj_point *a, const struct uj_point *b, double *low, double *high);

/* Position (counts) and velocity (counts/s of path time) at path time path_us, from a's time to b's. */
double uj_segment_position(const struct uj_point *a, const struct uj_point *b, double path_us);
double uj_segment_velocity(const struct uj_point *a, const struct uj_point *b, double path_us);

#endif
