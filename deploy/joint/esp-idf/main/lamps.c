#include "lamps.h"

#include <string.h>

#include "light.h"
#include "pins.h"

#if CONFIG_IDF_TARGET_ESP32C3

/* This chip has two channels that send, and the motor has them both. */
void lamps_begin(void)
{
    const gpio_config_t pin = {.pin_bit_mask = pin_bit(PIN_LIGHT), .mode = GPIO_MODE_OUTPUT};
    ESP_ERROR_CHECK(gpio_config(&pin));
}

void lamps_show(enum uj_word word, bool on)
{
    (void)word;
    ESP_ERROR_CHECK(gpio_set_level((gpio_num_t)PIN_LIGHT, on ? 1 : 0));
}

#else

static rmt_channel_handle_t channel;
static rmt_encoder_handle_t encoder;

void lamps_begin(void)
{
    const rmt_tx_channel_config_t configuration = {
        .gpio_num = (gpio_num_t)PIN_LIGHT,
        .clk_src = RMT_CLK_SRC_DEFAULT,
        .resolution_hz = 10000000,
        .mem_block_symbols = SOC_RMT_MEM_WORDS_PER_CHANNEL,
        .trans_queue_depth = 1,
    };
    /* 0.3 µs and 0.9 µs: within what the usual lamps with one wire for data take for a 0 and a 1. */
    const rmt_bytes_encoder_config_t bits = {
        .bit0 = {.level0 = 1, .duration0 = 3, .level1 = 0, .duration1 = 9},
        .bit1 = {.level0 = 1, .duration0 = 9, .level1 = 0, .duration1 = 3},
        .flags.msb_first = 1,
    };
    ESP_ERROR_CHECK(rmt_new_tx_channel(&configuration, &channel));
    ESP_ERROR_CHECK(rmt_new_bytes_encoder(&bits, &encoder));
    ESP_ERROR_CHECK(rmt_enable(channel));
}

void lamps_show(enum uj_word word, bool on)
{
    static uint8_t shown[UJ_LIGHT_BYTES];
    uint8_t bytes[UJ_LIGHT_BYTES];
    const rmt_transmit_config_t once = {.loop_count = 0, .flags.queue_nonblocking = true};
    uj_light_bytes(word, on, bytes);
    /* The bytes must stay while they are sent: 0.3 ms, and this is called every 20. */
    memcpy(shown, bytes, sizeof shown);
    (void)rmt_transmit(channel, encoder, shown, sizeof shown, &once);
}

#endif
