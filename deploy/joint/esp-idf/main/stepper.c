#include "stepper.h"

#include <inttypes.h>

#include "board.h"
#include "feed.h"
#include "guard.h"
#include "pins.h"

#define LOOKS 8         /* pieces in one turn at most */
#define STEPS_A_TURN 1000
#define LATE_TICKS (2 * UJ_PULSES_HZ / 1000) /* steps later than 2 ms are a fault */
#define SLACK_TICKS 500 /* 50 µs: interrupts may be that late before anything is wrong */
#define START_TRIES 50
#define INPUT_READINGS 5 /* alike, a ms apart: then an input has changed */

static const struct uj_pulses_limits limits = {
    .high = CONFIG_UJ_STEP_HIGH_TICKS,
    .low = CONFIG_UJ_STEP_LOW_TICKS,
    .setup = CONFIG_UJ_DIRECTION_SETUP_TICKS,
    .hold = CONFIG_UJ_DIRECTION_HOLD_TICKS,
};

static struct uj_pulses pulses;
static struct uj_feed feed;
static portMUX_TYPE pulses_lock = portMUX_INITIALIZER_UNLOCKED;
static rmt_channel_handle_t channels[UJ_PULSES_READERS];
static rmt_encoder_handle_t encoders[UJ_PULSES_READERS];
static bool running;
static int64_t started_us; /* joint time at which the stream began */

/* Called by the peripheral's interrupt whenever half a channel's memory is free. It never says that it is done, so the
 * stream never ends. */
static size_t IRAM_ATTR encode(const void *data, size_t size, size_t written, size_t space, rmt_symbol_word_t *symbols,
                               bool *done, void *argument)
{
    const enum uj_pulses_reader *reader = argument;
    (void)data;
    (void)size;
    (void)written;
    portENTER_CRITICAL_SAFE(&pulses_lock);
    uj_pulses_take(&pulses, *reader, &symbols->val, space);
    portEXIT_CRITICAL_SAFE(&pulses_lock);
    *done = false;
    return space;
}

static void make_channels(void)
{
    static enum uj_pulses_reader readers[UJ_PULSES_READERS] = {UJ_PULSES_STEP, UJ_PULSES_DIRECTION};
    static const int8_t pins[UJ_PULSES_READERS] = {PIN_STEP, PIN_DIRECTION};
    for (int i = 0; i < UJ_PULSES_READERS; i++) {
        const rmt_tx_channel_config_t channel = {
            .gpio_num = (gpio_num_t)pins[i],
            .clk_src = RMT_CLK_SRC_DEFAULT,
            .resolution_hz = UJ_PULSES_HZ,
            .mem_block_symbols = SOC_RMT_MEM_WORDS_PER_CHANNEL,
            .trans_queue_depth = 1,
            .intr_priority = 3,
            .flags.invert_out = i == UJ_PULSES_DIRECTION && DIRECTION_REVERSED,
        };
        const rmt_simple_encoder_config_t encoder = {.callback = encode, .arg = &readers[i], .min_chunk_size = 1};
        ESP_ERROR_CHECK(rmt_new_tx_channel(&channel, &channels[i]));
        ESP_ERROR_CHECK(rmt_new_simple_encoder(&encoder, &encoders[i]));
    }
}

static void stop_channels(void)
{
    for (int i = 0; running && i < UJ_PULSES_READERS; i++) {
        ESP_ERROR_CHECK(rmt_disable(channels[i]));
        ESP_ERROR_CHECK(rmt_encoder_reset(encoders[i]));
    }
    running = false;
}

/* Starts both channels, the direction first. What lies between the two starts is measured: it takes from the time that a
 * direction is held after a step, and adds to its set-up. Where something came between them, again from the beginning. */
static void start_channels(void)
{
    static const uint8_t nothing = 0;
    const rmt_transmit_config_t once = {.loop_count = 0};
    for (int tries = 0;; tries++) {
        stop_channels();
        uj_pulses_begin(&pulses, &limits);
        for (int i = 0; i < UJ_PULSES_READERS; i++) {
            ESP_ERROR_CHECK(rmt_enable(channels[i]));
        }
        running = true;
        const int64_t before_us = guard_time_us();
        ESP_ERROR_CHECK(rmt_transmit(channels[UJ_PULSES_DIRECTION], encoders[UJ_PULSES_DIRECTION], &nothing, 1, &once));
        ESP_ERROR_CHECK(rmt_transmit(channels[UJ_PULSES_STEP], encoders[UJ_PULSES_STEP], &nothing, 1, &once));
        started_us = guard_time_us(); /* the second call starts its channel right before it returns */
        if ((started_us - before_us) * 10 <= CONFIG_UJ_DIRECTION_HOLD_TICKS / 2) {
            break;
        }
        /* A stream whose two channels might be too far apart must never carry a step: the controller starts anew. */
        ESP_ERROR_CHECK(tries < START_TRIES ? ESP_OK : ESP_ERR_TIMEOUT);
    }
    uj_feed_begin(&feed, &limits, (uj_time)started_us * UJ_TIME_PER_US);
}

/* Whether the stream can be relied on. A channel whose interrupt came too late sends what was in its memory once more: then
 * it has sent for longer than what was taken from the ring lasts. */
static bool is_sound(void)
{
    bool sound;
    portENTER_CRITICAL(&pulses_lock);
    const uint64_t sent = (uint64_t)(guard_time_us() - started_us) * 10;
    sound = !pulses.lost_step && pulses.worst_late <= LATE_TICKS;
    for (int i = 0; i < UJ_PULSES_READERS; i++) {
        sound = sound && pulses.ticks_read[i] + SLACK_TICKS >= sent;
    }
    portEXIT_CRITICAL(&pulses_lock);
    return sound;
}

/* Inputs, told when they have read alike for some ms. */
static void tell_inputs(struct uj_joint *joint, double now_us)
{
    static uint8_t read;
    static uint8_t alike;
    const uint8_t now = board_inputs();
    alike = now != read ? 0 : alike < INPUT_READINGS ? (uint8_t)(alike + 1) : alike;
    read = now;
    if (alike == INPUT_READINGS && now != joint->inputs) {
        uj_joint_input(joint, now_us, now);
    }
}

static void look(bool sound, bool used_up)
{
    static uint32_t seen;
    double now_us;
    /* While a long frame of points is judged the lock is taken for many ms: the pieces that are here go on. */
    struct uj_endpoint *endpoint = guard_try(1, &now_us);
    if (endpoint == NULL) {
        return;
    }
    struct uj_joint *joint = &endpoint->joint;
    const bool due = uj_feed_is_due(joint, now_us);
    uj_joint_driver(joint, now_us, !sound || board_driver_fault());
    tell_inputs(joint, now_us);
    uj_joint_poll(joint, now_us);
    const uint32_t changes = guard_changes();
    const bool changed = used_up || due || changes != seen || joint->safety.faults != 0;
    seen = changes;
    uj_feed_look(&feed, joint, now_us, changed, board_take_shift());
    guard_leave();
}

static void turn(bool sound)
{
    const uj_time until = (uj_time)(guard_time_us() + UJ_FEED_AHEAD_US) * UJ_TIME_PER_US;
    look(sound, false);
    for (int looks = 1, steps = 0; steps < STEPS_A_TURN;) {
        const enum uj_feed_result result = uj_feed_next(&feed, until);
        if (result == UJ_FEED_LOOK) {
            if (looks++ == LOOKS) {
                break;
            }
            look(sound, true);
            continue;
        }
        portENTER_CRITICAL(&pulses_lock);
        const bool put = uj_feed_put(&feed, &pulses, until);
        portEXIT_CRITICAL(&pulses_lock);
        if (result == UJ_FEED_REST || !put) {
            break;
        }
        steps++;
    }
}

static void run(void *argument)
{
    TickType_t wake;
    (void)argument;
    ESP_ERROR_CHECK(esp_task_wdt_add(NULL));
    make_channels();
    start_channels();
    wake = xTaskGetTickCount();
    for (;;) {
        (void)xTaskDelayUntil(&wake, 1);
        ESP_ERROR_CHECK(esp_task_wdt_reset());
        const bool sound = is_sound();
        if (!sound) {
            ESP_LOGE("stepper", "The step pulses came too late by %" PRIu64 " ticks of 100 ns.", pulses.worst_late);
            start_channels();
        }
        turn(sound);
    }
}

void stepper_begin(void)
{
    /* The highest of the joint's tasks, on the core that the radio does not use where there are two. */
    const BaseType_t made = xTaskCreatePinnedToCore(run, "steps", 6144, NULL, configMAX_PRIORITIES - 3, NULL,
                                                    portNUM_PROCESSORS - 1);
    ESP_ERROR_CHECK(made == pdPASS ? ESP_OK : ESP_ERR_NO_MEM);
}
