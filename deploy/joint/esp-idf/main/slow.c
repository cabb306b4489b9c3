#include "slow.h"

#include "board.h"
#include "hands.h"
#include "lamps.h"
#include "pins.h"
#include "readings.h"
#include "rig.h"
#include "runner.h"

#define TURN_MS 2 /* a knob is looked at so often */
#define LIGHT_TURNS 10
#define READING_TURNS 500

static void show(void)
{
    const struct runner_shown shown = runner_shown();
    lamps_show(shown.word, shown.on);
    board_fan(shown.fan_percent);
}

static void tell(struct uj_reading reading)
{
    reading.at_us = (double)esp_timer_get_time();
    rig_tell(&reading);
}

static void sense(void)
{
    struct uj_reading reading = {.kind = UJ_READING_SENSE};
    reading.of.sense.has_temperature = readings_temperature(&reading.of.sense.temperature_centi_c);
    reading.of.sense.has_supply = readings_supply(&reading.of.sense.supply_mv);
    reading.of.sense.rssi_dbm = readings_rssi();
    tell(reading);
}

static void feel(void)
{
    static bool was_pressed;
    bool pressed = was_pressed;
    const int16_t detents = hands_take(&pressed);
    if (detents != 0) {
        tell((struct uj_reading){.kind = UJ_READING_TURN, .of.detents = detents});
    }
    if (pressed != was_pressed) {
        tell((struct uj_reading){.kind = UJ_READING_PRESS, .of.active = pressed});
        was_pressed = pressed;
    }
}

static void run(void *argument)
{
    TickType_t wake;
    (void)argument;
    ESP_ERROR_CHECK(esp_task_wdt_add(NULL));
    readings_begin();
    lamps_begin();
    hands_begin();
    wake = xTaskGetTickCount();
    for (uint32_t i = 0;; i++) {
        (void)xTaskDelayUntil(&wake, pdMS_TO_TICKS(TURN_MS));
        ESP_ERROR_CHECK(esp_task_wdt_reset());
        feel();
        if (i % LIGHT_TURNS == 0) {
            show();
        }
        if (i % READING_TURNS == 0) {
            sense();
        }
    }
}

void slow_begin(void)
{
    const BaseType_t made = xTaskCreate(run, "slow", 4096, NULL, tskIDLE_PRIORITY + 2, NULL);
    ESP_ERROR_CHECK(made == pdPASS ? ESP_OK : ESP_ERR_NO_MEM);
}
