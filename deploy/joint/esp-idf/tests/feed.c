/* The way from the joint to the motor's pins, with the pulse peripheral and the tasks' haste played here.
 *
 *   feed SEED TURN_MS BLOCKED_MS
 *
 * A joint jogs there and back for 6 s of joint time. The step task runs every TURN_MS, and finds the joint's lock taken for
 * BLOCKED_MS after each drive, which come every 50 ms. The two channels have 48 symbols each and are refilled by halves. Lines that come out:
 *
 *   p TICKS COUNTS     where the joint is commanded to be
 *   r TICKS            rising edge of the step input
 *   f TICKS            falling edge of it
 *   d TICKS LEVEL      change of the direction input
 *   end LATE LOST      worst lateness of a step, and whether the ring was lost
 *
 * TICKS are 0.1 µs of joint time. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "feed.h"
#include "usual.h"

#define MEMORY 48
#define HALF (MEMORY / 2)
#define SECONDS 6

struct channel {
    enum uj_pulses_reader reader;
    uint32_t memory[MEMORY];
    size_t at;      /* the symbol that is being sent */
    uint64_t until; /* stream time at which it ends */
    int level;
};

static struct uj_joint joint;
static struct uj_feed feed;
static struct uj_pulses pulses;
static struct channel channels[UJ_PULSES_READERS] = {{.reader = UJ_PULSES_STEP}, {.reader = UJ_PULSES_DIRECTION}};
static uint32_t noise;
static bool told; /* the joint was told something since the last look */

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
            uj_pulses_take(&pulses, channel->reader, channel->memory + (channel->at + HALF) % MEMORY, HALF);
        }
    }
}

static void configure(void)
{
    struct uj_request request = {.type = UJ_REQUEST_CONFIGURE};
    char sentence[UJ_SENTENCE_BYTES];
    request.of.configuration = usual_configuration();
    if (uj_joint_request(&joint, 0, &request, sentence) != UJ_ACCEPTED) {
        fprintf(stderr, "feed: the configuration is refused: %s\n", sentence);
        exit(2);
    }
}

/* A drive every 50 ms, with a jog that changes now and then. */
static void drive(double now_us)
{
    static uint32_t sequence;
    static int32_t velocity;
    if (sequence % 8 == 0) {
        velocity = (int32_t)chance(5460000) - 2730000;
        velocity = chance(5) == 0 ? 0 : velocity;
    }
    sequence++;
    const struct uj_drive drive = {.session = 7,
                                   .sequence = sequence,
                                   .flags = UJ_DRIVE_MAP | UJ_DRIVE_ENERGISE | UJ_DRIVE_EXPIRY,
                                   .mode = velocity != 0 ? UJ_MODE_JOG : UJ_MODE_NONE,
                                   .jog_velocity = velocity,
                                   .expiry_us = (int64_t)now_us + 250000,
                                   .map = {.number = 1}};
    (void)uj_joint_drive(&joint, now_us, &drive);
    told = true;
}

/* One turn of the step task, as in main/stepper.c. */
static void turn(double now_us, bool blocked)
{
    const uj_time until = uj_time_from_us(now_us + UJ_FEED_AHEAD_US);
    for (int looks = 0; looks < 8; looks++) {
        enum uj_feed_result result;
        if (!blocked) {
            const bool due = uj_feed_is_due(&joint, now_us);
            uj_joint_poll(&joint, now_us);
            uj_feed_look(&feed, &joint, now_us, told || due || looks > 0, 0);
            told = false;
        }
        do {
            result = uj_feed_next(&feed, until);
        } while (result != UJ_FEED_LOOK && uj_feed_put(&feed, &pulses, until) && result == UJ_FEED_STEP);
        if (result != UJ_FEED_LOOK) {
            return;
        }
    }
}

int main(int count, char **words)
{
    static const struct uj_pulses_limits limits = {.high = 20, .low = 20, .setup = 1000, .hold = 4000};
    static const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES] = {1};
    const struct uj_settings settings = {
        .firmware = "0", .boot = 1, .capabilities = {.max_step_rate_hz = 40000}};
    if (count != 4) {
        return 2;
    }
    noise = (uint32_t)strtoul(words[1], NULL, 10);
    const uint32_t turn_ms = (uint32_t)strtoul(words[2], NULL, 10);
    const uint32_t blocked_ms = (uint32_t)strtoul(words[3], NULL, 10);
    uj_joint_init(&joint, &settings, 0);
    (void)uj_joint_session(&joint, 0, coordinator, 7);
    configure();
    uj_pulses_begin(&pulses, &limits);
    uj_feed_begin(&feed, &limits, 0);
    for (int i = 0; i < UJ_PULSES_READERS; i++) {
        uj_pulses_take(&pulses, channels[i].reader, channels[i].memory, MEMORY);
    }
    for (uint32_t ms = 0; ms < SECONDS * 1000; ms++) {
        const double now_us = 1000.0 * ms;
        double position;
        double velocity;
        if (ms % 50 == 0) {
            drive(now_us);
        }
        uj_joint_poll(&joint, now_us);
        if (ms % turn_ms == 0) {
            turn(now_us, ms % 50 < blocked_ms);
        }
        uj_joint_where(&joint, now_us, &position, &velocity);
        printf("p %" PRIu32 " %.3f\n", ms * 10000, position);
        run_channel(&channels[0], (ms + 1) * 10000);
        run_channel(&channels[1], (ms + 1) * 10000);
    }
    printf("end %" PRIu64 " %d\n", pulses.worst_late, pulses.lost_step);
    return 0;
}
