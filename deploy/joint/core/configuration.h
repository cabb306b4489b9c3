/* A joint's configuration as `configure` brings it: protocol/README.md, "Configuration". Lengths are counts,
 * speeds counts/s, the acceleration counts/s^2. */
#ifndef UJ_CONFIGURATION_H
#define UJ_CONFIGURATION_H

#include <stdbool.h>
#include <stdint.h>

#include "json.h"

#define UJ_NAME_CHARACTERS 32
#define UJ_MAX_RAMP_ROWS 64

struct uj_homing {
    int64_t direction; /* 1 or -1 */
    int64_t travel;
    int64_t backoff;
    int64_t fast;
    int64_t slow;
    int64_t home;
};

struct uj_ramp_row {
    int64_t time_us; /* from rest */
    int64_t rate_ppm;
};

struct uj_outputs_off {
    int64_t on_hold; /* one bit for each output, 0 to 255 */
    int64_t on_stop;
    int64_t on_lost;
};

struct uj_idle_current {
    int64_t after_ms;
    int64_t current_ma;
};

/* Every bound of the table and every rule beneath it holds. */
struct uj_configuration {
    char name[UJ_NAME_CHARACTERS + 1]; /* ends with 0 */
    int64_t counts_per_turn;
    int64_t full_step;
    bool has_range; /* false: turns without end; low and high are 0 then */
    int64_t range_low;
    int64_t range_high;
    int64_t velocity;
    int64_t acceleration;
    int64_t jog_unhomed;
    struct uj_homing homing;
    uint32_t ramp_rows; /* 2 to UJ_MAX_RAMP_ROWS */
    struct uj_ramp_row ramp[UJ_MAX_RAMP_ROWS];
    int64_t temperature_limit_centi_c;
    int64_t supply_limit_mv;
    int64_t run_current_ma;
    int64_t hold_current_ma;
    bool has_outputs_off; /* false: every output is kept; the masks are 0 then */
    struct uj_outputs_off outputs_off;
    bool has_idle_current; /* false: never reduced */
    struct uj_idle_current idle_current;
};

/* Reads the object `configuration` of a `configure`. False where anything in it is forbidden: then what stands
 * in `configuration` does not count. */
bool uj_configuration_read(struct uj_json object, struct uj_configuration *configuration);

/* The rules beyond the bounds of single fields, those of the ramp's pieces too. */
bool uj_configuration_holds(const struct uj_configuration *configuration);

#endif
