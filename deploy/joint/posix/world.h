/* The simulated hardware of a joint: what its motor, home sensor, inputs, heat and supply do. It is told steps and
 * truths, and gives readings, as the board of a real joint does (core/hardware.h). */
#ifndef WORLD_H
#define WORLD_H

#include <stdbool.h>
#include <stdint.h>

#include "hardware.h"
#include "options.h"
#include "restart.h"
#include "times.h"
#include "truth.h"

#define WORLD_FOLLOWING 32 /* inputs that are about to follow, at once */

struct world_follower {
    double at_us; /* joint time */
    uint8_t mask, values;
};

struct world {
    const struct options *options;
    const struct uj_joint *joint; /* looked at for what truths do not tell */
    struct crystal crystal;
    struct truth_log log;
    /* motor and sensor, true counts */
    double motor;
    double output; /* behind the play */
    bool hall;
    bool hall_untold;
    uint64_t noise; /* state of what draws the sensor's */
    double hall_at_us;
    /* inputs */
    uint8_t inputs, outputs;
    bool inputs_untold; /* in the log */
    struct world_follower following[WORLD_FOLLOWING]; /* in the order of time */
    unsigned following_count;
    /* heat: exact between changes */
    double sense_at_us;
    double warm_since_us;
    double warm_c;
    double watts;
    bool fan;
    int64_t winding_ma;
    /* for the log */
    enum uj_state state;
    bool reduced;
};

/* Begins at a boot, now. `joint` is to be set before the first step. */
void world_begin(struct world *world, const struct options *options, const struct crystal *crystal, double now_us);

/* Goes on where the board's restart left it; right after the beginning. */
void world_go_on(struct world *world, const struct restart *left);

/* The board restarts now: its outputs are off. `left` gets what stays, but the port. */
void world_leave(struct world *world, double now_us, struct restart *left);

/* What the machine is given. */
struct uj_hardware world_hardware(struct world *world);

#endif
