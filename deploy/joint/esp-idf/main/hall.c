#include "hall.h"

#include "pins.h"

static QueueHandle_t switches;
static volatile bool missed = true; /* nobody knows how it stands at first */

static bool is_active(void)
{
    return gpio_get_level(PIN_HALL) == HALL_ACTIVE_LEVEL;
}

static void IRAM_ATTR on_edge(void *argument)
{
    BaseType_t woken = pdFALSE;
    const struct uj_reading reading = {
        .at_us = (double)esp_timer_get_time(), .kind = UJ_READING_HALL, .of.active = is_active()};
    (void)argument;
    if (xQueueSendFromISR(switches, &reading, &woken) != pdTRUE) {
        missed = true;
    }
    portYIELD_FROM_ISR(woken);
}

void hall_begin(QueueHandle_t queue)
{
    const gpio_config_t pin = {
        .pin_bit_mask = pin_bit(PIN_HALL),
        .mode = GPIO_MODE_INPUT,
        .pull_up_en = GPIO_PULLUP_ENABLE,
        .pull_down_en = GPIO_PULLDOWN_DISABLE,
        .intr_type = GPIO_INTR_ANYEDGE,
    };
    switches = queue;
    ESP_ERROR_CHECK(gpio_config(&pin));
    ESP_ERROR_CHECK(gpio_isr_handler_add(PIN_HALL, on_edge, NULL));
}

bool hall_missed(double at_us, struct uj_reading *reading)
{
    if (!missed) {
        return false;
    }
    missed = false; /* before the level is read: a switch after that comes by itself */
    *reading = (struct uj_reading){.at_us = at_us, .kind = UJ_READING_HALL, .of.active = is_active()};
    return true;
}
