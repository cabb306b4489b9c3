/* The way from the joint to the motor's pins, with the pulse peripheral and the haste of the joint's task played here.
 *
 *   feed SEED TURN_MS BLOCKED_MS TOLD
 *
 * A joint jogs there and back for 6 s of joint time; for a second of it its drivers are off. Its task runs it every
 * TURN_MS, and has something else to do for BLOCKED_MS before each drive, which come every 50 ms; where TOLD is 1 it
 * takes 33 ms for that and says so before. The two channels have 48 symbols each and are refilled by halves. Lines that come out:
 *
 *   p TICKS COUNTS     where the joint is commanded to be
 *   r TICKS            rising edge of the step input
 *   f TICKS            falling edge of it
 *   d TICKS LEVEL      change of the direction input
 *   o TICKS LEVEL      drivers on or off
 *   end LATE LOST      worst lateness of a step, and whether the ring was lost
 *
 * TICKS are 0.1 µs of joint time. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "feed.h"
#include "machine.h"
#include "usual.h"

#define MEMORY 48
#define HALF (MEMORY / 2)
#define SECONDS 6
#define OFF_FROM_MS 2000
#define OFF_TO_MS 3000

struct channel {
    enum uj_pulses_reader reader;
    uint32_t memory[MEMORY];
    size_t at;      /* the symbol that is being sent */
    uint64_t until; /* stream time at which it ends */
    int level;
};

static struct uj_machine machine;
static struct uj_feed feed;
static struct channel channels[UJ_PULSES_READERS] = {{.reader = UJ_PULSES_STEP}, {.reader = UJ_PULSES_DIRECTION}};
static uint32_t noise;

static uint32_t chance(uint32_t below)
{
    noise = noise * 1664525u + 1013904223u;
    return (noise >> 8) % below;
}

static void edge(struct channel *channel, uint64_t at, int level)
{
    if (level == channel->level) {
        return;
    }
    channel->level = level;
    if (channel->reader == UJ_PULSES_STEP) {
        printf("%c %" PRIu64 "\n", level != 0 ? 'r' : 'f', at);
    } else {
        printf("d %" PRIu64 " %d\n", at, level);
    }
}

static void send_symbol(struct channel *channel)
{
    const uint32_t symbol = channel->memory[channel->at];
    edge(channel, channel->until, (int)(symbol >> 15 & 1));
    edge(channel, channel->until + (symbol & 0x7fff), (int)(symbol >> 31));
    channel->until += (symbol & 0x7fff) + (symbol >> 16 & 0x7fff);
}

static void run_channel(struct channel *channel, uint64_t until)
{
    while (channel->until < until) {
        send_symbol(channel);
        channel->at = (channel->at + 1) % MEMORY;
        if (channel->at % HALF == 0) {
            uj_pulses_take(&feed.pulses, channel->reader, channel->memory + (channel->at + HALF) % MEMORY, HALF);
        }
    }
}

static void ask(double now_us, const struct uj_request *request)
{
    char sentence[UJ_SENTENCE_BYTES];
    if (uj_joint_request(&machine.endpoint.joint, now_us, request, sentence) != UJ_ACCEPTED) {
        fprintf(stderr, "feed: a request is refused: %s\n", sentence);
        exit(2);
    }
}

static void configure(void)
{
    struct uj_request request = {.type = UJ_REQUEST_CONFIGURE};
    request.of.configuration = usual_configuration();
    ask(0, &request);
}

static bool on_step(void *context, const struct uj_step *step)
{
    (void)context;
    uj_feed_step(&feed, step);
    return false;
}

static void on_truth(void *context, const struct uj_truth *truth)
{
    (void)context;
    if (truth->kind == UJ_TRUTH_DRIVERS) {
        uj_feed_unmark(&feed);
        printf("o %.0f %d\n", truth->at_us * 10, (int)truth->value);
    }
}

static bool on_read(void *context, double until_us, struct uj_reading *reading)
{
    (void)context;
    (void)until_us;
    (void)reading;
    return false;
}

static double on_next_us(void *context)
{
    (void)context;
    return INFINITY;
}

/* As main/runner.c. */
static void run(double now_us, double work_us)
{
    uj_feed_unmark(&feed);
    for (double more_us = 0;; more_us += UJ_FEED_MORE_US) {
        machine.hardware.ahead_us = UJ_FEED_AHEAD_US + more_us;
        uj_machine_run(&machine, now_us);
        uj_feed_rest(&feed, now_us + machine.hardware.ahead_us);
        if (more_us >= work_us) {
            return;
        }
        uj_feed_mark(&feed, &machine.steps, now_us + machine.hardware.ahead_us);
    }
}

static void told(double now_us)
{
    const struct uj_steps *steps = uj_feed_take_back(&feed, now_us + UJ_FEED_AHEAD_US);
    if (steps != NULL) {
        machine.steps = *steps;
    }
    uj_machine_told(&machine);
}

/* A drive, every 50 ms, with a jog that changes now and then. */
static void drive(uint32_t ms)
{
    static uint32_t sequence;
    static int32_t velocity;
    const double now_us = 1000.0 * ms;
    const bool off = ms >= OFF_FROM_MS && ms < OFF_TO_MS;
    if (sequence % 8 == 0) {
        velocity = (int32_t)chance(5460000) - 2730000;
        velocity = chance(5) == 0 ? 0 : velocity;
    }
    sequence++;
    const bool jogs = velocity != 0 && !off;
    const struct uj_drive drive = {.session = 7,
                                   .sequence = sequence,
                                   .flags = UJ_DRIVE_MAP | UJ_DRIVE_EXPIRY | (off ? 0 : UJ_DRIVE_ENERGISE),
                                   .stop = off ? UJ_STOP_RELEASE : UJ_STOP_NONE,
                                   .mode = jogs ? UJ_MODE_JOG : UJ_MODE_NONE,
                                   .jog_velocity = jogs ? velocity : 0,
                                   .expiry_us = (int64_t)now_us + 250000,
                                   .map = {.number = 1}};
    run(now_us, 0);
    (void)uj_joint_drive(&machine.endpoint.joint, now_us, &drive);
    if (ms / 50 * 50 == OFF_TO_MS) {
        ask(now_us, &(struct uj_request){.type = UJ_REQUEST_CLEAR});
    }
    told(now_us);
}

int main(int count, char **words)
{
    static const struct uj_pulses_limits limits = {.high = 20, .low = 20, .setup = 1000, .hold = 4000};
    static const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES] = {1};
    static const uint8_t key[UJ_KEY_BYTES] = {0};
    const struct uj_settings settings = {.firmware = "0", .boot = 1, .capabilities = {.max_step_rate_hz = 40000}};
    const struct uj_shell shell = {.context = NULL}; /* nobody is connected */
    const struct uj_hardware hardware = {.limits = uj_feed_limits(&limits),
                                         .ahead_us = UJ_FEED_AHEAD_US,
                                         .step = on_step,
                                         .truth = on_truth,
                                         .read = on_read,
                                         .next_us = on_next_us};
    if (count != 5) {
        return 2;
    }
    noise = (uint32_t)strtoul(words[1], NULL, 10);
    const uint32_t turn_ms = (uint32_t)strtoul(words[2], NULL, 10);
    const uint32_t blocked_ms = (uint32_t)strtoul(words[3], NULL, 10);
    const double work_us = strtoul(words[4], NULL, 10) == 1 ? 33000 : 0;
    const struct uj_joint *joint = &machine.endpoint.joint;
    uj_feed_begin(&feed, &limits, 0);
    uj_machine_init(&machine, &settings, key, &shell, &hardware, 0);
    (void)uj_joint_session(&machine.endpoint.joint, 0, coordinator, 7);
    configure();
    for (int i = 0; i < UJ_PULSES_READERS; i++) {
        uj_pulses_take(&feed.pulses, channels[i].reader, channels[i].memory, MEMORY);
    }
    for (uint32_t ms = 0; ms < SECONDS * 1000; ms++) {
        double position;
        double velocity;
        if (ms % 50 == 0) {
            run(1000.0 * ms, blocked_ms > 0 ? work_us : 0);
        }
        if (ms % 50 == blocked_ms) {
            told(1000.0 * ms); /* what it was that took so long */
            drive(ms);
        } else if (ms % turn_ms == 0 && ms % 50 > blocked_ms) {
            run(1000.0 * ms, 0);
        }
        uj_joint_where(joint, fmax(joint->now_us, 1000.0 * ms), &position, &velocity);
        printf("p %" PRIu32 " %.3f\n", ms * 10000, position);
        run_channel(&channels[0], (ms + 1) * 10000);
        run_channel(&channels[1], (ms + 1) * 10000);
    }
    printf("end %" PRIu64 " %d\n", feed.pulses.worst_late, feed.pulses.lost_step);
    return 0;
}
