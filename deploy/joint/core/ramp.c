#include "ramp.h"

/* The last row with value <= x, at most the last but one, so that there is a piece after it. */
static uint32_t piece_of_time(const struct uj_ramp *ramp, uj_time x)
{
    uint32_t k = 0;
    while (k + 2 < ramp->rows && ramp->row[k + 1].time_us * UJ_TIME_PER_US <= x) {
        k++;
    }
    return k;
}

static uint32_t piece_of_path(const struct uj_ramp *ramp, uj_time path)
{
    uint32_t k = 0;
    while (k + 2 < ramp->rows && ramp->path[k + 1] <= path) {
        k++;
    }
    return k;
}

void uj_ramp_make(struct uj_ramp *ramp, uint32_t rows, const struct uj_ramp_row *row)
{
    int64_t sum = 0; /* S: twice the trapezoids, µs·ppm */
    ramp->row = row;
    ramp->rows = rows <= UJ_MAX_RAMP_ROWS ? rows : UJ_MAX_RAMP_ROWS;
    for (uint32_t k = 0; k < ramp->rows; k++) {
        if (k > 0) {
            sum += (row[k].rate_ppm + row[k - 1].rate_ppm) * (row[k].time_us - row[k - 1].time_us);
        }
        ramp->path[k] = sum * 128 / UJ_RATE_MAX_PPM;
    }
}

/* P(x) in the piece that begins with row k, 0 <= x − 256·t_k. */
static uj_time path_in_piece(const struct uj_ramp *ramp, uint32_t k, uj_time x)
{
    const struct uj_ramp_row *from = &ramp->row[k];
    const int64_t y = x - from->time_us * UJ_TIME_PER_US;
    const int64_t q = y * (from[1].rate_ppm - from->rate_ppm) / (from[1].time_us - from->time_us);
    return ramp->path[k] + y * (512 * from->rate_ppm + q) / (INT64_C(512) * UJ_RATE_MAX_PPM);
}

static uj_time table_end(const struct uj_ramp *ramp)
{
    return ramp->row[ramp->rows - 1].time_us * UJ_TIME_PER_US;
}

uj_time uj_ramp_path(const struct uj_ramp *ramp, uj_time x)
{
    if (x <= 0) {
        return 0;
    }
    if (x >= table_end(ramp)) {
        x = table_end(ramp);
    }
    return path_in_piece(ramp, piece_of_time(ramp, x), x);
}

int64_t uj_ramp_rate(const struct uj_ramp *ramp, uj_time x)
{
    if (x <= 0) {
        return 0;
    }
    if (x >= table_end(ramp)) {
        return (int64_t)UJ_RATE_MAX_PPM * 256;
    }
    const struct uj_ramp_row *from = &ramp->row[piece_of_time(ramp, x)];
    const int64_t y = x - from->time_us * UJ_TIME_PER_US;
    return from->rate_ppm * 256 + y * (from[1].rate_ppm - from->rate_ppm) / (from[1].time_us - from->time_us);
}

uj_time uj_ramp_time(const struct uj_ramp *ramp, uint32_t rate_ppm)
{
    const int64_t rate = rate_ppm <= UJ_RATE_MAX_PPM ? rate_ppm : UJ_RATE_MAX_PPM;
    uint32_t k = 0;
    while (k + 2 < ramp->rows && ramp->row[k + 1].rate_ppm <= rate) {
        k++;
    }
    const struct uj_ramp_row *from = &ramp->row[k];
    return from->time_us * UJ_TIME_PER_US + (rate - from->rate_ppm) * UJ_TIME_PER_US * (from[1].time_us - from->time_us) /
                                                (from[1].rate_ppm - from->rate_ppm);
}

uj_time uj_ramp_time_of_path(const struct uj_ramp *ramp, uj_time path)
{
    if (path >= uj_ramp_path(ramp, table_end(ramp))) {
        return table_end(ramp);
    }
    if (path < 0) {
        return 0;
    }
    const uint32_t k = piece_of_path(ramp, path);
    uj_time low = ramp->row[k].time_us * UJ_TIME_PER_US;      /* P(low) <= path … */
    uj_time high = ramp->row[k + 1].time_us * UJ_TIME_PER_US; /* … and P(high) may be */
    /* The row's own path is rounded once, P at its time twice: the piece's end may still be within. */
    if (path_in_piece(ramp, k, high) <= path) {
        return high;
    }
    while (high - low > 1) {
        const uj_time middle = low + (high - low) / 2;
        if (path_in_piece(ramp, k, middle) <= path) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return low;
}

uj_time uj_rate_path(uj_time duration, uint32_t rate_ppm)
{
    const int64_t seconds = uj_floor_div(duration, UJ_TIME_PER_S);
    const int64_t rest = duration - seconds * UJ_TIME_PER_S;
    return seconds * 256 * rate_ppm + rest * rate_ppm / UJ_RATE_MAX_PPM;
}

uj_time uj_rate_time(uj_time path, uint32_t rate_ppm)
{
    /* Rates that a plan may have stay far below this; with less than 31 ppm a day of path would not fit. */
    if (path / rate_ppm >= UJ_TIME_MAX / UJ_RATE_MAX_PPM) {
        return UJ_TIME_MAX;
    }
    return uj_floor_mul_div(path, UJ_RATE_MAX_PPM, rate_ppm);
}
