#include "hands.h"

#include "pins.h"

#if SOC_TOUCH_SENSOR_SUPPORTED

#include "ring.h"

#define TURNS 10     /* of the calling task: the pads are read every 20 ms */
#define THRESHOLD 50 /* a pad is touched where it differs by more than 1/50, 2 % */

static const int pads[UJ_RING_ALL] = {CONFIG_UJ_TOUCH_PAD_1, CONFIG_UJ_TOUCH_PAD_2, CONFIG_UJ_TOUCH_PAD_3,
                                      CONFIG_UJ_TOUCH_PAD_4, CONFIG_UJ_TOUCH_MIDDLE};
static touch_sensor_handle_t sensor;
static touch_channel_handle_t channels[UJ_RING_ALL];

void hands_begin(void)
{
    if (CONFIG_UJ_TOUCH_MIDDLE < 0) {
        return;
    }
    /* Whether a pad is touched is judged by ring.c: the thresholds of the hardware are not used. */
#if SOC_TOUCH_SENSOR_VERSION == 1
    touch_sensor_sample_config_t sample[] = {
        TOUCH_SENSOR_V1_DEFAULT_SAMPLE_CONFIG(5.0f, TOUCH_VOLT_LIM_L_0V5, TOUCH_VOLT_LIM_H_1V7)};
    const touch_channel_config_t configuration = {
        .abs_active_thresh = {1},
        .charge_speed = TOUCH_CHARGE_SPEED_7,
        .init_charge_volt = TOUCH_INIT_CHARGE_VOLT_DEFAULT,
        .group = TOUCH_CHAN_TRIG_GROUP_BOTH,
    };
#else
    touch_sensor_sample_config_t sample[] = {
        TOUCH_SENSOR_V2_DEFAULT_SAMPLE_CONFIG(500, TOUCH_VOLT_LIM_L_0V5, TOUCH_VOLT_LIM_H_2V2)};
    const touch_channel_config_t configuration = {
        .active_thresh = {1u << 20},
        .charge_speed = TOUCH_CHARGE_SPEED_7,
        .init_charge_volt = TOUCH_INIT_CHARGE_VOLT_DEFAULT,
    };
#endif
    const touch_sensor_config_t basic = TOUCH_SENSOR_DEFAULT_BASIC_CONFIG(1, sample);
    const touch_sensor_filter_config_t filter = TOUCH_SENSOR_DEFAULT_FILTER_CONFIG();
    ESP_ERROR_CHECK(touch_sensor_new_controller(&basic, &sensor));
    for (int i = 0; i < UJ_RING_ALL; i++) {
        ESP_ERROR_CHECK(touch_sensor_new_channel(sensor, pads[i], &configuration, &channels[i]));
    }
    ESP_ERROR_CHECK(touch_sensor_config_filter(sensor, &filter));
    ESP_ERROR_CHECK(touch_sensor_enable(sensor));
    ESP_ERROR_CHECK(touch_sensor_start_continuous_scanning(sensor));
}

int16_t hands_take(bool *pressed)
{
    static struct uj_ring ring;
    static int turns;
    uint32_t readings[UJ_RING_ALL];
    turns = (turns + 1) % TURNS;
    if (turns != 0 || CONFIG_UJ_TOUCH_MIDDLE < 0) {
        return 0;
    }
    for (int i = 0; i < UJ_RING_ALL; i++) {
        if (touch_channel_read_data(channels[i], TOUCH_CHAN_DATA_TYPE_SMOOTH, &readings[i]) != ESP_OK) {
            return 0;
        }
    }
    const int16_t detents = uj_ring_take(&ring, readings, THRESHOLD);
    *pressed = ring.pressed;
    return detents;
}

#else

#include "knob.h"

static bool is_low(int pin)
{
    return gpio_get_level((gpio_num_t)pin) == 0;
}

void hands_begin(void)
{
    if (PIN_KNOB_A < 0) {
        return;
    }
    const gpio_config_t pins = {
        .pin_bit_mask = pin_bit(PIN_KNOB_A) | pin_bit(PIN_KNOB_B) | pin_bit(PIN_KNOB_BUTTON),
        .mode = GPIO_MODE_INPUT,
        .pull_up_en = GPIO_PULLUP_ENABLE,
    };
    ESP_ERROR_CHECK(gpio_config(&pins));
}

int16_t hands_take(bool *pressed)
{
    static struct uj_knob knob;
    static uint8_t pushed; /* the button's last 8 readings, 16 ms */
    if (PIN_KNOB_A < 0) {
        return 0;
    }
    pushed = (uint8_t)(pushed << 1 | (is_low(PIN_KNOB_BUTTON) ? 1u : 0u));
    if (pushed == 0 || pushed == 0xff) {
        *pressed = pushed != 0;
    }
    return uj_knob_take(&knob, is_low(PIN_KNOB_A), is_low(PIN_KNOB_B));
}

#endif
