#include "piece.h"

#include <math.h>

/* As whole number to the nearest, within what the products below can take: ±2^58. */
static int64_t whole(double value)
{
    const double limit = 288230376151711744.0;
    return isnan(value) ? 0 : (int64_t)fmax(-limit, fmin(limit, floor(value + 0.5)));
}

void uj_piece_cubic(struct uj_motion_piece *piece, uj_time origin, uj_time length, double p0, double v0, double p1,
                    double v1)
{
    const double h = (double)length / UJ_TIME_PER_S;
    const double d = p1 - p0;
    piece->origin = origin;
    piece->length = length;
    piece->shift = 1;
    while (((uj_time)1 << piece->shift) <= length) {
        piece->shift++;
    }
    /* Over the next power of two, so that no time is divided: at most 2, 4 and 8 times the segment's own. */
    const double longer = (double)((uj_time)1 << piece->shift) / (double)length;
    piece->base = whole(p0 * 256);
    piece->c[0] = whole(65536 * longer * v0 * h);
    piece->c[1] = whole(65536 * longer * longer * (3 * d - (2 * v0 + v1) * h));
    piece->c[2] = whole(65536 * longer * longer * longer * ((v0 + v1) * h - 2 * d));
}

/* ⌊value / 2^bits⌋; C leaves open what >> does with a negative number. */
static int64_t shifted(int64_t value, unsigned bits)
{
    return value < 0 ? ~(~value >> bits) : value >> bits;
}

/* ⌊value·u / 2^32⌋ */
static int64_t share(int64_t value, uint32_t u)
{
    const int64_t high = shifted(value, 32);
    const uint64_t low = (uint64_t)(uint32_t)(uint64_t)value * u;
    return high * (int64_t)u + (int64_t)(low >> 32);
}

int64_t uj_piece_position(const struct uj_motion_piece *piece, uj_time t)
{
    if (t < piece->from) {
        t = piece->from;
    } else if (t > piece->to) {
        t = piece->to;
    }
    uj_time s = (piece->on_path ? uj_course_path(&piece->course, uj_clock_arm(&piece->clock, t)) : t) - piece->origin;
    if (s < 0) {
        s = 0;
    } else if (s > piece->length) {
        s = piece->length;
    }
    const uint32_t u = (uint32_t)((uint64_t)s << (32 - piece->shift));
    const int64_t counts = share(share(share(piece->c[2], u) + piece->c[1], u) + piece->c[0], u);
    return piece->base + shifted(counts, 8);
}
