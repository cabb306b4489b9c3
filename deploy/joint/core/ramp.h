/* The ramp: rate against time from rest, linear between its rows. In whole numbers, by the law of
 * protocol/README.md ("In whole numbers"); exact as vectors/fixedpoint.json. Error below 0.02 µs.
 *
 * A "table time" is the time from rest at which the table has a rate. Read forwards the ramp speeds up, read
 * backwards it slows down.
 */
#ifndef UJ_RAMP_H
#define UJ_RAMP_H

#include "configuration.h"
#include "numbers.h"
#include "whole.h"

struct uj_ramp {
    uint32_t rows; /* 2 to UJ_MAX_RAMP_ROWS; 0: no ramp yet */
    const struct uj_ramp_row *row; /* the caller's */
    uj_time path[UJ_MAX_RAMP_ROWS]; /* P at each row */
};

/* Makes the ramp of the rows of a sound configuration: from (0, 0) to 1000000 ppm, both columns growing.
 * They are not copied, and must stay. */
void uj_ramp_make(struct uj_ramp *ramp, uint32_t rows, const struct uj_ramp_row *row);

/* P(x): path from rest to table time x; before 0 and beyond the table it stays at the ends. */
uj_time uj_ramp_path(const struct uj_ramp *ramp, uj_time x);

/* The rate at table time x, in 1/256 ppm. */
int64_t uj_ramp_rate(const struct uj_ramp *ramp, uj_time x);

/* T(r): table time of a rate in ppm, at most 1000000. */
uj_time uj_ramp_time(const struct uj_ramp *ramp, uint32_t rate_ppm);

/* X(p): the largest table time with P(x) <= p; the table's end where p is beyond its path. */
uj_time uj_ramp_time_of_path(const struct uj_ramp *ramp, uj_time path);

/* R(d, r): path covered in time d at rate r ppm. Rounds down, also for d < 0. */
uj_time uj_rate_path(uj_time duration, uint32_t rate_ppm);

/* Q(p, r): its inverse; p >= 0, r > 0. At most UJ_TIME_MAX. */
uj_time uj_rate_time(uj_time path, uint32_t rate_ppm);

#endif
