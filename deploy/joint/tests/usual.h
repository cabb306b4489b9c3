/* The configuration of a usual joint, for tests: its home sensor lies in the way of growing counts. */
#ifndef UJ_TESTS_USUAL_H
#define UJ_TESTS_USUAL_H

#include "messages.h"

static inline struct uj_configuration usual_configuration(void)
{
    return (struct uj_configuration){
        .counts_per_turn = 16384000,
        .full_step = 4096,
        .velocity = 2730000,
        .acceleration = 5460000,
        .jog_unhomed = 2730000,
        .homing = {.direction = 1, .travel = 16384000, .backoff = 90000, .fast = 900000, .slow = 90000},
        .ramp_rows = 2,
        .ramp = {{0, 0}, {2500000, 1000000}},
        .temperature_limit_centi_c = 6000,
        .run_current_ma = 800,
        .hold_current_ma = 400,
    };
}

#endif
