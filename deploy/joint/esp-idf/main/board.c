#include "board.h"

#include "pins.h"

#define DUTY_FULL 1023 /* 10 bits */
#define FAN_HZ 25000
#define CURRENT_HZ 25000

static void level(int pin, int on)
{
    ESP_ERROR_CHECK(gpio_set_level((gpio_num_t)pin, (uint32_t)on));
}

/* The enable input of the drivers is low when they are on: a pull-up holds them off until the controller runs. */
static void drivers(bool on)
{
    level(PIN_ENABLE, on ? 0 : 1);
}

static void pin_mode(int pin, gpio_mode_t mode, bool pull_up)
{
    const gpio_config_t configuration = {
        .pin_bit_mask = pin_bit(pin),
        .mode = mode,
        .pull_up_en = pull_up ? GPIO_PULLUP_ENABLE : GPIO_PULLUP_DISABLE,
        .pull_down_en = GPIO_PULLDOWN_DISABLE,
        .intr_type = GPIO_INTR_DISABLE,
    };
    ESP_ERROR_CHECK(gpio_config(&configuration));
}

static void pulse_width(ledc_timer_t timer, ledc_channel_t channel, int pin, uint32_t hz)
{
    const ledc_timer_config_t clock = {
        .speed_mode = LEDC_LOW_SPEED_MODE,
        .duty_resolution = LEDC_TIMER_10_BIT,
        .timer_num = timer,
        .freq_hz = hz,
        .clk_cfg = LEDC_AUTO_CLK,
    };
    const ledc_channel_config_t output = {
        .gpio_num = pin,
        .speed_mode = LEDC_LOW_SPEED_MODE,
        .channel = channel,
        .timer_sel = timer,
        .duty = 0,
        .hpoint = 0,
    };
    ESP_ERROR_CHECK(ledc_timer_config(&clock));
    ESP_ERROR_CHECK(ledc_channel_config(&output));
}

static void duty(ledc_channel_t channel, uint32_t value)
{
    ESP_ERROR_CHECK(ledc_set_duty(LEDC_LOW_SPEED_MODE, channel, value));
    ESP_ERROR_CHECK(ledc_update_duty(LEDC_LOW_SPEED_MODE, channel));
}

static void outputs(uint8_t values)
{
    for (uint8_t i = 0; i < lines(output_pins); i++) {
        level(output_pins[i], values >> i & 1);
    }
}

static void current(int64_t milliamps)
{
    if (PIN_CURRENT < 0 || milliamps < 0) {
        return;
    }
    const int64_t value = milliamps * DUTY_FULL / CONFIG_UJ_CURRENT_FULL_MA;
    duty(LEDC_CHANNEL_1, value > DUTY_FULL ? DUTY_FULL : (uint32_t)value);
}

void board_begin(void)
{
    drivers(false); /* the level stands before the pin drives it */
    pin_mode(PIN_ENABLE, GPIO_MODE_OUTPUT, false);
    for (uint8_t i = 0; i < lines(output_pins); i++) {
        level(output_pins[i], 0);
        pin_mode(output_pins[i], GPIO_MODE_OUTPUT, false);
    }
    for (uint8_t i = 0; i < lines(input_pins); i++) {
        pin_mode(input_pins[i], GPIO_MODE_INPUT, true);
    }
    if (PIN_DRIVER_FAULT >= 0) {
        pin_mode(PIN_DRIVER_FAULT, GPIO_MODE_INPUT, true);
    }
    if (PIN_FAN >= 0) {
        pulse_width(LEDC_TIMER_0, LEDC_CHANNEL_0, PIN_FAN, FAN_HZ);
    }
    if (PIN_CURRENT >= 0) {
        pulse_width(LEDC_TIMER_1, LEDC_CHANNEL_1, PIN_CURRENT, CURRENT_HZ);
    }
    ESP_ERROR_CHECK(gpio_install_isr_service(0));
}

void board_truth(const struct uj_truth *truth)
{
    switch (truth->kind) {
    case UJ_TRUTH_DRIVERS:
        drivers(truth->value != 0);
        break;
    case UJ_TRUTH_CURRENT:
        current(truth->value);
        break;
    case UJ_TRUTH_OUTPUTS:
        outputs((uint8_t)truth->value);
        break;
    case UJ_TRUTH_SHIFT:
    case UJ_TRUTH_STATE:
        break;
    }
}

uint8_t board_inputs(void)
{
    uint8_t values = 0;
    for (uint8_t i = 0; i < lines(input_pins); i++) {
        /* A contact to ground that is closed counts as on. */
        values = (uint8_t)(values | (gpio_get_level((gpio_num_t)input_pins[i]) == 0 ? 1u << i : 0u));
    }
    return values;
}

bool board_driver_fault(void)
{
    return PIN_DRIVER_FAULT >= 0 && gpio_get_level((gpio_num_t)PIN_DRIVER_FAULT) == 0;
}

void board_fan(uint8_t percent)
{
    if (PIN_FAN >= 0) {
        duty(LEDC_CHANNEL_0, (uint32_t)percent * DUTY_FULL / 100);
    }
}
