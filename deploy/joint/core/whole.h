/* Whole numbers in which the law of motion is computed: times in 1/256 µs, rates in ppm, rounded down.
 *
 * Inside the core a time or a path time is a uj_time. At the seams (clock.h, path.h, free_motion.h) it is a
 * double of µs, which holds every multiple of 1/256 µs exactly up to 2^45 µs, a year.
 */
#ifndef UJ_WHOLE_H
#define UJ_WHOLE_H

#include <stdbool.h>
#include <stdint.h>

typedef int64_t uj_time; /* 1/256 µs, of a clock or along a path */

#define UJ_TIME_PER_US 256
#define UJ_TIME_PER_S 256000000
#define UJ_TIME_MAX ((uj_time)1 << 61) /* what the seams let in, either way; 2^53 µs */

/* µs as the nearest 1/256 µs; beyond ±2^53 µs it stays there, and what is no number is 0. */
uj_time uj_time_from_us(double us);

/* The same time in µs. */
double uj_time_to_us(uj_time time);

/* The nearest whole µs; half a µs rounds up. */
int64_t uj_time_round_us(uj_time time);

/* a ÷ n, rounded down; n > 0. C alone rounds towards 0. */
int64_t uj_floor_div(int64_t a, int64_t n);

/* ⌊d·m / n⌋ by (d ÷ n)·m + (d mod n)·m ÷ n, which overflows only where the result or n·m would; n > 0. */
int64_t uj_floor_mul_div(int64_t d, int64_t m, int64_t n);

#endif
