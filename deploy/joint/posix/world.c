#include "world.h"

#include <math.h>

#include "joint.h"

#define SENSE_US 1e6    /* temperature and supply change slowly */
#define FOLLOW_US 1e5   /* a small gripper closes about so fast (common practice) */
/* A closed joint of printed plastic with a motor of some 0.4 kg; common practice, as in the simulator in Python. */
#define STILL_K_PER_W 8.0
#define FAN_K_PER_W 2.6
#define CAPACITY_J_PER_K 200.0
#define COUNTS_PER_STEP 256.0

/* Home sensor: on within half a width of its magnet, off again a hysteresis further out, and each edge elsewhere at every
 * step where it has noise. */

/* Evenly between 0 and 1, neither of them: SplitMix64 (Steele, Lea and Flood 2014), from memory. */
static double drawn(struct world *world)
{
    world->noise += UINT64_C(0x9E3779B97F4A7C15);
    uint64_t mixed = world->noise;
    mixed = (mixed ^ mixed >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    mixed = (mixed ^ mixed >> 27) * UINT64_C(0x94D049BB133111EB);
    return ((double)((mixed ^ mixed >> 31) >> 12) + 0.5) * 0x1p-52;
}

/* Of one step, counts; normal, by Box and Muller (1958). */
static double hall_noise(struct world *world)
{
    if (!(world->options->home_noise > 0)) {
        return 0;
    }
    const double size = sqrt(-2 * log(drawn(world)));
    return world->options->home_noise * size * cos(2 * acos(-1) * drawn(world));
}

static bool hall_level(const struct world *world, double position, double noise)
{
    const struct options *options = world->options;
    double away = position - options->home_centre;
    if (options->home_period > 0) {
        away = remainder(away, options->home_period);
    }
    return fabs(away) <= options->home_half_width + (world->hall ? options->home_hysteresis : 0) + noise;
}

static void follow_motor(struct world *world)
{
    const double half = world->options->play / 2;
    world->output = fmin(fmax(world->output, world->motor - half), world->motor + half);
}

static bool on_step(void *context, const struct uj_step *step)
{
    struct world *world = context;
    world->motor += step->up ? COUNTS_PER_STEP : -COUNTS_PER_STEP;
    follow_motor(world);
    const bool level = hall_level(world, world->motor, hall_noise(world));
    if (level != world->hall) {
        world->hall = level;
        world->hall_untold = true;
        world->hall_at_us = uj_time_to_us(step->at);
    }
    return world->hall_untold;
}

/* Heat: one body, which nears where its power takes it. */

static double warm_c(const struct world *world, double now_us)
{
    const double k_per_w = world->fan ? FAN_K_PER_W : STILL_K_PER_W;
    const double steady_c = world->options->ambient_c + world->watts * k_per_w;
    const double passed_s = (now_us - world->warm_since_us) * 1e-6;
    return steady_c + (world->warm_c - steady_c) * exp(-passed_s / (k_per_w * CAPACITY_J_PER_K));
}

static void heat(struct world *world, double now_us)
{
    const double current_a = (double)world->winding_ma * 1e-3;
    world->warm_c = warm_c(world, now_us);
    world->warm_since_us = now_us;
    world->watts = world->options->idle_watts + current_a * current_a * world->options->winding_ohm;
    world->fan = world->joint->safety.fan_percent > 0;
}

/* At the end of the supply's wires, for a load of constant power: the higher solution of v = source − ohm · watts / v.
 * 0 where the supply collapses. */
static double supply_v(const struct world *world)
{
    const double source_v = world->options->source_v;
    const double root = source_v * source_v - 4 * world->options->hop_ohm * world->watts;
    return root < 0 ? 0 : (source_v + sqrt(root)) / 2;
}

/* The log. */

static void tell(const struct world *world, const char *event, double at_us)
{
    struct uj_status status;
    uj_joint_status(world->joint, &status);
    const struct truth_line line = {.event = event,
                                    .true_us = times_true_of_us(&world->crystal, at_us),
                                    .position = world->motor,
                                    .output_position = world->output,
                                    .path_us = status.path_us,
                                    .trajectory = status.trajectory,
                                    .outputs = world->outputs,
                                    .inputs = world->inputs};
    truth_write(&world->log, &line);
}

/* What entering a state is called in the log; null for nothing. */
static const char *event_of(const struct world *world, enum uj_state next)
{
    switch (next) {
    case UJ_MOVING:
        return world->joint->player.path.stand_us != 0 ? "resume" : "start";
    case UJ_HELD:
        return world->state == UJ_RAMPING ? "hold" : NULL;
    case UJ_FINISHED:
        return "finish";
    case UJ_READY:
        if (world->state == UJ_HOMING) {
            return "home";
        }
        break;
    default:
        break;
    }
    return uj_state_rests(next) && !uj_state_rests(world->state) &&
                   (next == UJ_READY || next == UJ_UNHOMED || next == UJ_FAULTED)
               ? "stop"
               : NULL;
}

/* Outputs have switched: their inputs follow. */
static void follow_outputs(struct world *world, uint8_t outputs, double at_us)
{
    const struct options *options = world->options;
    const unsigned changed = (unsigned)(outputs ^ world->outputs);
    world->outputs = outputs;
    for (unsigned i = 0; i < options->follows_count && world->following_count < WORLD_FOLLOWING; i++) {
        const unsigned output = options->follows[i][1];
        if ((changed >> output & 1) != 0) {
            const unsigned input = options->follows[i][0];
            world->following[world->following_count++] =
                (struct world_follower){.at_us = at_us + FOLLOW_US,
                                        .mask = (uint8_t)(1u << input),
                                        .values = (uint8_t)((unsigned)(outputs >> output & 1) << input)};
        }
    }
}

static void on_truth(void *context, const struct uj_truth *truth)
{
    struct world *world = context;
    const char *event = NULL;
    switch (truth->kind) {
    case UJ_TRUTH_STATE:
        event = event_of(world, (enum uj_state)truth->value);
        world->state = (enum uj_state)truth->value;
        break;
    case UJ_TRUTH_OUTPUTS:
        event = "outputs";
        follow_outputs(world, (uint8_t)truth->value, truth->at_us);
        break;
    case UJ_TRUTH_CURRENT: {
        const bool reduced = world->joint->energised && world->joint->current.reduced;
        if (reduced != world->reduced && world->joint->energised) {
            event = reduced ? "current-reduced" : "current-full";
        }
        world->reduced = reduced;
        world->winding_ma = truth->value;
        heat(world, truth->at_us);
        break;
    }
    case UJ_TRUTH_DRIVERS:
    case UJ_TRUTH_SHIFT:
        break;
    }
    if (event != NULL) {
        tell(world, event, truth->at_us);
    }
}

/* Readings. */

static void show_inputs(struct world *world, struct uj_reading *reading)
{
    const struct world_follower first = world->following[0];
    world->following_count--;
    for (unsigned i = 0; i < world->following_count; i++) {
        world->following[i] = world->following[i + 1];
    }
    const uint8_t before = world->inputs;
    world->inputs = (uint8_t)((world->inputs & ~first.mask) | first.values);
    world->inputs_untold = world->inputs != before;
    reading->kind = UJ_READING_INPUTS;
    reading->at_us = first.at_us;
    reading->of.inputs = world->inputs;
}

static void sense(struct world *world, struct uj_reading *reading)
{
    reading->kind = UJ_READING_SENSE;
    reading->at_us = world->sense_at_us;
    reading->of.sense.has_temperature = true;
    reading->of.sense.temperature_centi_c = (int16_t)lround(warm_c(world, world->sense_at_us) * 100);
    reading->of.sense.has_supply = true;
    reading->of.sense.supply_mv = (uint16_t)lround(supply_v(world) * 1000);
    reading->of.sense.rssi_dbm = (int8_t)world->options->rssi_dbm;
    heat(world, world->sense_at_us); /* the fan may have been switched by the last one */
    world->sense_at_us += SENSE_US;
}

static double on_next_us(void *context)
{
    const struct world *world = context;
    const double next_us = world->hall_untold ? world->hall_at_us : world->sense_at_us;
    return world->following_count > 0 ? fmin(next_us, world->following[0].at_us) : next_us;
}

static bool on_read(void *context, double until_us, struct uj_reading *reading)
{
    struct world *world = context;
    if (world->inputs_untold) { /* the joint has them by now, and is at that instant */
        world->inputs_untold = false;
        tell(world, "inputs", world->joint->now_us);
    }
    if (world->hall_untold) {
        world->hall_untold = false;
        *reading = (struct uj_reading){.at_us = world->hall_at_us, .kind = UJ_READING_HALL};
        reading->of.active = world->hall;
        return true;
    }
    if (on_next_us(world) > until_us) {
        return false;
    }
    if (world->following_count > 0 && world->following[0].at_us <= world->sense_at_us) {
        show_inputs(world, reading);
    } else {
        sense(world, reading);
    }
    return true;
}

static void find_home_sensor(struct world *world)
{
    world->hall = hall_level(world, world->motor, 0);
    world->hall_untold = world->hall;
}

void world_begin(struct world *world, const struct options *options, const struct crystal *crystal, double now_us)
{
    *world = (struct world){.options = options,
                            .crystal = *crystal,
                            .log = {.file = -1},
                            .motor = round(options->start),
                            .output = round(options->start),
                            .sense_at_us = now_us,
                            .warm_since_us = now_us,
                            .warm_c = options->ambient_c,
                            .watts = options->idle_watts,
                            .state = UJ_UNHOMED};
    world->hall_at_us = now_us;
    for (unsigned i = 0; i < UJ_JOINT_ID_BYTES; i++) {
        world->noise = world->noise << 8 | options->id[i];
    }
    find_home_sensor(world);
}

void world_go_on(struct world *world, const struct restart *left)
{
    world->motor = left->motor;
    world->output = left->output;
    world->warm_c = left->warm_c;
    find_home_sensor(world);
}

void world_leave(struct world *world, double now_us, struct restart *left)
{
    if (world->outputs != 0) {
        world->outputs = 0;
        tell(world, "outputs", now_us);
    }
    *left = (struct restart){.motor = world->motor, .output = world->output, .warm_c = warm_c(world, now_us)};
}

struct uj_hardware world_hardware(struct world *world)
{
    /* STEP high and low at least 1.9 µs each (TI SLVSA73); DIR 650 ns before and after it (the same, from memory).
     * 1/256 µs. */
    return (struct uj_hardware){.context = world,
                                .limits = {.high = 487, .low = 487, .setup = 167, .hold = 167},
                                .step = on_step,
                                .truth = on_truth,
                                .read = on_read,
                                .next_us = on_next_us};
}
