/* Counts the instructions of the step path: bench/Makefile runs it on an emulated rv32imc. */
#include <math.h>
#include <stdio.h>

#include "free_motion.h"
#include "instructions.h"
#include "path.h"
#include "steps.h"

#define ARM_US INT64_C(5000000000)
#define JOINT_US INT64_C(60000000)

struct tally {
    const char *name;
    uint32_t times;
    uint32_t worst;
    uint64_t all;
};

static struct uj_ramp ramp;
static struct uj_buffer buffer;
static struct uj_clock arm_clock;
static struct uj_path path;
static struct uj_steps steps;
static struct uj_motion_piece piece;

/* What counting takes by itself: main finds it out first. */
static uint64_t counting;

static void add(struct tally *tally, uint64_t since)
{
    const uint64_t spent = instructions() - since - counting;
    tally->times++;
    tally->all += spent;
    tally->worst = spent > tally->worst ? (uint32_t)spent : tally->worst;
}

static void show(const struct tally *tally)
{
    printf("  %-28s %7u times, mean %6u, worst %6u\n", tally->name, (unsigned)tally->times,
           (unsigned)(tally->times > 0 ? tally->all / tally->times : 0), (unsigned)tally->worst);
}

/* The ramp for v/a of 0.5 s, as a coordinator makes it (protocol/README.md, "The ramp"). */
static void make_ramp(void)
{
    static struct uj_ramp_row rows[33];
    for (int k = 1; k <= 32; k++) {
        rows[k].rate_ppm = k == 32 ? 1000000 : (int64_t)(sqrt((1 - pow(0.2, k / 32.0)) / 0.8) * 1e6);
        const double s = (double)rows[k].rate_ppm / 1e6;
        const double gain = (double)(rows[k].rate_ppm - rows[k - 1].rate_ppm) / 1e6;
        rows[k].time_us = rows[k - 1].time_us + (int64_t)ceil(gain * 0.5 / (1 - 0.8 * s * s) * 1e6);
    }
    uj_ramp_make(&ramp, 33, rows);
}

/* Ten points a second for 20 s, at `velocity` counts/s and a little less in turn. */
static void make_points(int32_t velocity)
{
    uj_buffer_clear(&buffer);
    for (uint32_t i = 0; i < 200; i++) {
        buffer.ring[i].time_us = (int64_t)i * 100000;
        buffer.ring[i].position = (int64_t)i * (velocity / 10);
        buffer.ring[i].velocity = i == 0 ? 0 : velocity - (i % 2 != 0 ? 1000 : 0);
        buffer.count++;
    }
    buffer.trajectory = 1;
    buffer.next_switch = buffer.count;
}

static void measure(const char *name, int64_t from_us, int64_t to_us)
{
    struct tally within = {.name = "a step within a slice"};
    struct tally first = {.name = "a step that begins slices"};
    struct tally pieces = {.name = "a piece"};
    const uj_time to = (JOINT_US + to_us) * UJ_TIME_PER_US;
    const struct uj_driver_limits limits = {256, 256, 256, 256};
    struct uj_step step;
    uint64_t begun;
    double position;
    double velocity;
    uj_path_where(&path, &buffer, uj_clock_arm_us(&arm_clock, (double)(JOINT_US + from_us)), &position, &velocity);
    uj_steps_begin(&steps, &limits, (JOINT_US + from_us) * UJ_TIME_PER_US, (int64_t)position);
    steps.position = (int64_t)(position * 256) - steps.base;
    bool has_piece = false;
    for (;;) {
        if (!has_piece) {
            begun = instructions();
            has_piece = uj_path_piece(&path, &buffer, &arm_clock, uj_time_to_us(uj_steps_at(&steps)), &piece);
            add(&pieces, begun);
        }
        const uj_time before = uj_steps_at(&steps);
        begun = instructions();
        const enum uj_steps_result result = uj_steps_next(&steps, &piece, to, &step);
        if (result == UJ_STEPS_UNTIL) {
            break;
        }
        if (result == UJ_STEPS_PIECE) {
            has_piece = false;
            continue;
        }
        add(uj_steps_at(&steps) == before ? &within : &first, begun);
    }
    const uint32_t made = within.times + first.times;
    const uint64_t all = within.all + first.all + pieces.all;
    printf("%s: %u steps/s, %u instructions a step, %u million a second\n", name,
           (unsigned)(made * INT64_C(1000000) / (to_us - from_us)), (unsigned)(all / made),
           (unsigned)(all / (uint64_t)(to_us - from_us)));
    show(&within);
    show(&first);
    show(&pieces);
}

int main(void)
{
    const struct uj_map first = {1, ARM_US, JOINT_US, 20000};
    const struct uj_map second = {2, ARM_US + 300, JOINT_US, 21000};
    const struct uj_change start = {ARM_US + 10000, 0, 0, 1000000};
    double arm_us;
    struct tally nothing = {.name = "nothing"};
    uint64_t begun = instructions();
    add(&nothing, begun);
    counting = nothing.all;
    make_ramp();
    make_points(64000000);
    (void)uj_clock_take(&arm_clock, &first, (double)JOINT_US, true);
    uj_path_begin(&path, &ramp);
    uj_path_pend(&path, &start, (double)ARM_US);
    uj_path_permit(&path, true, 15000000, (double)ARM_US);
    uj_path_start(&path);
    (void)uj_clock_take(&arm_clock, &second, (double)(JOINT_US + 10100), false); /* a remainder is slewed off */
    measure("250 kHz", 2000000, 3000000);
    measure("speeding up to 250 kHz", 20000, 520000);
    make_points(2730000);
    measure("the usual joint at 60 degrees a second", 2000000, 3000000);
    measure("the usual joint, speeding up", 20000, 820000);

    struct tally next = {.name = "uj_path_next"};
    struct tally back = {.name = "uj_clock_joint_us"};
    struct tally check = {.name = "uj_segment_check"};
    begun = instructions();
    (void)uj_path_next(&path, &buffer, &arm_us);
    add(&next, begun);
    begun = instructions();
    arm_us = uj_clock_joint_us(&arm_clock, arm_us);
    add(&back, begun);
    begun = instructions();
    (void)uj_segment_check(&buffer.ring[4], &buffer.ring[5], 2730000, 5460000);
    add(&check, begun);
    printf("beside the step path:\n");
    show(&next);
    show(&back);
    show(&check);
    printf("bytes: steps %u, piece %u, path %u, clock %u, ramp %u, buffer of %u points %u\n", (unsigned)sizeof steps,
           (unsigned)sizeof piece, (unsigned)sizeof path, (unsigned)sizeof arm_clock, (unsigned)sizeof ramp,
           (unsigned)UJ_POINT_CAPACITY, (unsigned)sizeof buffer);
    return 0;
}
