#include "configuration.h"

#include <string.h>

#include "fields.h"
#include "numbers.h"

#define U31_MAX INT32_MAX
#define COUNT(table) (sizeof(table) / sizeof(table)[0])

#define INTEGER(type, member, low, high) \
    {#member, uj_field_integer, offsetof(struct type, member), false, low, high}

static const struct uj_field HOMING[] = {
    INTEGER(uj_homing, direction, -1, 1),
    INTEGER(uj_homing, travel, 1, UJ_MAX_INTEGER),
    INTEGER(uj_homing, backoff, 1, UJ_MAX_INTEGER),
    INTEGER(uj_homing, fast, 1, U31_MAX),
    INTEGER(uj_homing, slow, 1, U31_MAX),
    INTEGER(uj_homing, home, -UJ_MAX_INTEGER, UJ_MAX_INTEGER),
};

static const struct uj_field OUTPUTS_OFF[] = {
    INTEGER(uj_outputs_off, on_hold, 0, 255),
    INTEGER(uj_outputs_off, on_stop, 0, 255),
    INTEGER(uj_outputs_off, on_lost, 0, 255),
};

static const struct uj_field IDLE_CURRENT[] = {
    INTEGER(uj_idle_current, after_ms, 100, 86400000),
    INTEGER(uj_idle_current, current_ma, 0, 10000),
};

static bool read_name(const struct uj_field *field, struct uj_json value, void *into)
{
    const char *characters;
    size_t length;
    (void)field;
    if (!uj_json_string(value, &characters, &length) || length < 1 || length > UJ_NAME_CHARACTERS) {
        return false;
    }
    for (size_t i = 0; i < length; i++) {
        const char c = characters[i];
        if (!((c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' ||
              c == '-')) {
            return false;
        }
    }
    memcpy(into, characters, length);
    ((char *)into)[length] = '\0';
    return true;
}

static bool read_homing(const struct uj_field *field, struct uj_json value, void *into)
{
    (void)field;
    return uj_fields_read(value, HOMING, COUNT(HOMING), into);
}

/* An end of the range. Which of them are null is looked at afterwards, when both have been read. */
static bool read_end(const struct uj_field *field, struct uj_json value, void *into)
{
    return uj_json_is_null(value) || uj_field_integer(field, value, into);
}

static bool read_row(struct uj_json pair, struct uj_ramp_row *row)
{
    struct uj_json key;
    struct uj_json value;
    size_t at = 0;
    return uj_json_is_list(pair) && uj_json_next(pair, &at, &key, &value) &&
           uj_json_integer(value, 0, 30000000, &row->time_us) && uj_json_next(pair, &at, &key, &value) &&
           uj_json_integer(value, 0, UJ_RATE_MAX_PPM, &row->rate_ppm) && !uj_json_next(pair, &at, &key, &value);
}

/* Into the whole configuration: the rows and their number. */
static bool read_ramp(const struct uj_field *field, struct uj_json value, void *into)
{
    struct uj_configuration *configuration = into;
    struct uj_json key;
    struct uj_json pair;
    uint32_t rows = 0;
    (void)field;
    if (!uj_json_is_list(value)) {
        return false;
    }
    for (size_t at = 0; uj_json_next(value, &at, &key, &pair); rows++) {
        if (rows == UJ_MAX_RAMP_ROWS || !read_row(pair, &configuration->ramp[rows])) {
            return false;
        }
    }
    configuration->ramp_rows = rows;
    return rows >= 2;
}

/* Into the whole configuration. */
static bool read_outputs_off(const struct uj_field *field, struct uj_json value, void *into)
{
    struct uj_configuration *configuration = into;
    (void)field;
    configuration->has_outputs_off = !uj_json_is_null(value);
    return !configuration->has_outputs_off ||
           uj_fields_read(value, OUTPUTS_OFF, COUNT(OUTPUTS_OFF), &configuration->outputs_off);
}

/* Into the whole configuration. */
static bool read_idle_current(const struct uj_field *field, struct uj_json value, void *into)
{
    struct uj_configuration *configuration = into;
    (void)field;
    configuration->has_idle_current = !uj_json_is_null(value);
    return !configuration->has_idle_current ||
           uj_fields_read(value, IDLE_CURRENT, COUNT(IDLE_CURRENT), &configuration->idle_current);
}

static const struct uj_field CONFIGURATION[] = {
    {"name", read_name, offsetof(struct uj_configuration, name), false, 0, 0},
    INTEGER(uj_configuration, counts_per_turn, 1, UJ_MAX_INTEGER),
    INTEGER(uj_configuration, full_step, 1, U31_MAX),
    {"range_low", read_end, offsetof(struct uj_configuration, range_low), false, -UJ_MAX_INTEGER, UJ_MAX_INTEGER},
    {"range_high", read_end, offsetof(struct uj_configuration, range_high), false, -UJ_MAX_INTEGER, UJ_MAX_INTEGER},
    INTEGER(uj_configuration, velocity, 1, U31_MAX),
    INTEGER(uj_configuration, acceleration, 1, INT64_C(1) << 40),
    INTEGER(uj_configuration, jog_unhomed, 1, U31_MAX),
    {"homing", read_homing, offsetof(struct uj_configuration, homing), false, 0, 0},
    {"ramp", read_ramp, 0, false, 0, 0},
    INTEGER(uj_configuration, temperature_limit_centi_c, 0, 15000),
    INTEGER(uj_configuration, supply_limit_mv, 0, 60000),
    INTEGER(uj_configuration, run_current_ma, 0, 10000),
    INTEGER(uj_configuration, hold_current_ma, 0, 10000),
    {"outputs_off", read_outputs_off, 0, true, 0, 0},
    {"idle_current", read_idle_current, 0, true, 0, 0},
};

bool uj_configuration_read(struct uj_json object, struct uj_configuration *configuration)
{
    struct uj_json low;
    struct uj_json high;
    memset(configuration, 0, sizeof *configuration);
    if (!uj_fields_read(object, CONFIGURATION, COUNT(CONFIGURATION), configuration) ||
        !uj_json_member(object, "range_low", &low) || !uj_json_member(object, "range_high", &high) ||
        uj_json_is_null(low) != uj_json_is_null(high)) {
        return false;
    }
    configuration->has_range = !uj_json_is_null(low);
    return uj_configuration_holds(configuration);
}

static bool ramp_holds(const struct uj_configuration *configuration)
{
    const struct uj_ramp_row *rows = configuration->ramp;
    const double velocity = (double)configuration->velocity;
    const double acceleration = (double)configuration->acceleration;
    if (rows[0].time_us != 0 || rows[0].rate_ppm != 0 ||
        rows[configuration->ramp_rows - 1].rate_ppm != UJ_RATE_MAX_PPM) {
        return false;
    }
    for (uint32_t i = 1; i < configuration->ramp_rows; i++) {
        const int64_t time_us = rows[i].time_us - rows[i - 1].time_us;
        const int64_t gained_ppm = rows[i].rate_ppm - rows[i - 1].rate_ppm;
        if (time_us <= 0 || gained_ppm <= 0) {
            return false;
        }
        /* ppm against µs is rate against seconds. */
        const double rate = (double)rows[i].rate_ppm / 1e6;
        const double used = UJ_ACCELERATION_SHARE * rate * rate * acceleration;
        if (used + (double)gained_ppm / (double)time_us * velocity > acceleration) {
            return false;
        }
    }
    return true;
}

bool uj_configuration_holds(const struct uj_configuration *configuration)
{
    const struct uj_configuration *c = configuration;
    return (!c->has_range || c->range_low < c->range_high) && c->jog_unhomed <= c->velocity &&
           c->homing.fast <= c->velocity && c->homing.slow <= c->velocity && c->homing.direction != 0 &&
           (!c->has_idle_current || c->idle_current.current_ma <= c->hold_current_ma) && ramp_holds(c);
}
