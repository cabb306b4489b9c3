#include "stepper.h"

#include "feed.h"
#include "pins.h"

#define LATE_TICKS (2 * UJ_PULSES_HZ / 1000) /* steps later than 2 ms are a fault */
#define SLACK_TICKS 500 /* 50 µs: interrupts may be that late before anything is wrong */
#define START_TRIES 50

static const struct uj_pulses_limits limits = {
    .high = CONFIG_UJ_STEP_HIGH_TICKS,
    .low = CONFIG_UJ_STEP_LOW_TICKS,
    .setup = CONFIG_UJ_DIRECTION_SETUP_TICKS,
    .hold = CONFIG_UJ_DIRECTION_HOLD_TICKS,
};

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
    uj_pulses_take(&feed.pulses, *reader, &symbols->val, space);
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
        uj_feed_begin(&feed, &limits, 0);
        for (int i = 0; i < UJ_PULSES_READERS; i++) {
            ESP_ERROR_CHECK(rmt_enable(channels[i]));
        }
        running = true;
        const int64_t before_us = esp_timer_get_time();
        ESP_ERROR_CHECK(rmt_transmit(channels[UJ_PULSES_DIRECTION], encoders[UJ_PULSES_DIRECTION], &nothing, 1, &once));
        ESP_ERROR_CHECK(rmt_transmit(channels[UJ_PULSES_STEP], encoders[UJ_PULSES_STEP], &nothing, 1, &once));
        started_us = esp_timer_get_time(); /* the second call starts its channel right before it returns */
        if ((started_us - before_us) * 10 <= CONFIG_UJ_DIRECTION_HOLD_TICKS / 2) {
            break;
        }
        /* A stream whose two channels might be too far apart must never carry a step: the controller starts anew. */
        ESP_ERROR_CHECK(tries < START_TRIES ? ESP_OK : ESP_ERR_TIMEOUT);
    }
    feed.origin = (uj_time)started_us * UJ_TIME_PER_US;
}

/* Whether the stream can be relied on. A channel whose interrupt came too late sends what was in its memory once more: then
 * it has sent for longer than what was taken from the ring lasts. */
static bool is_sound(void)
{
    bool sound;
    portENTER_CRITICAL(&pulses_lock);
    const uint64_t sent = (uint64_t)(esp_timer_get_time() - started_us) * 10;
    sound = !feed.pulses.lost_step && feed.pulses.worst_late <= LATE_TICKS;
    for (int i = 0; i < UJ_PULSES_READERS; i++) {
        sound = sound && feed.pulses.ticks_read[i] + SLACK_TICKS >= sent;
    }
    portEXIT_CRITICAL(&pulses_lock);
    return sound;
}

void stepper_begin(void)
{
    make_channels();
    start_channels();
}

struct uj_driver_limits stepper_limits(void)
{
    return uj_feed_limits(&limits);
}

void stepper_step(const struct uj_step *step)
{
    portENTER_CRITICAL(&pulses_lock);
    uj_feed_step(&feed, step);
    portEXIT_CRITICAL(&pulses_lock);
}

void stepper_rest(double until_us)
{
    portENTER_CRITICAL(&pulses_lock);
    uj_feed_rest(&feed, until_us);
    portEXIT_CRITICAL(&pulses_lock);
}

void stepper_unmark(void)
{
    uj_feed_unmark(&feed);
}

void stepper_mark(const struct uj_steps *steps, double until_us)
{
    portENTER_CRITICAL(&pulses_lock);
    uj_feed_mark(&feed, steps, until_us);
    portEXIT_CRITICAL(&pulses_lock);
}

const struct uj_steps *stepper_take_back(double from_us)
{
    portENTER_CRITICAL(&pulses_lock);
    const struct uj_steps *steps = uj_feed_take_back(&feed, from_us);
    portEXIT_CRITICAL(&pulses_lock);
    return steps;
}

bool stepper_check(void)
{
    if (is_sound()) {
        return true;
    }
    start_channels();
    return false;
}
