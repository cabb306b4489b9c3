#include "hall.h"

#include "pins.h"
#include "sdk.h"

static QueueHandle_t edges;
static bool told; /* the level given last */

static bool is_active(void)
{
    return gpio_get_level(PIN_HALL) == HALL_ACTIVE_LEVEL;
}

static void IRAM_ATTR on_edge(void *argument)
{
    BaseType_t woken = pdFALSE;
    const struct hall_edge edge = {.at_us = esp_timer_get_time(), .active = is_active()};
    (void)argument;
    (void)xQueueSendFromISR(edges, &edge, &woken); /* full: hall_take finds the level */
    portYIELD_FROM_ISR(woken);
}

void hall_begin(void)
{
    const gpio_config_t pin = {
        .pin_bit_mask = pin_bit(PIN_HALL),
        .mode = GPIO_MODE_INPUT,
        .pull_up_en = GPIO_PULLUP_ENABLE,
        .pull_down_en = GPIO_PULLDOWN_DISABLE,
        .intr_type = GPIO_INTR_ANYEDGE,
    };
    edges = xQueueCreate(16, sizeof(struct hall_edge));
    ESP_ERROR_CHECK(edges != NULL ? ESP_OK : ESP_ERR_NO_MEM);
    ESP_ERROR_CHECK(gpio_config(&pin));
    ESP_ERROR_CHECK(gpio_isr_handler_add(PIN_HALL, on_edge, NULL));
}

bool hall_take(struct hall_edge *edge)
{
    if (xQueueReceive(edges, edge, 0) != pdTRUE) {
        const bool active = is_active();
        if (active == told) {
            return false;
        }
        *edge = (struct hall_edge){.at_us = esp_timer_get_time(), .active = active};
    }
    told = edge->active;
    return true;
}
