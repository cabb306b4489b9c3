#include "slow.h"

#include "board.h"
#include "guard.h"
#include "hands.h"
#include "lamps.h"
#include "pins.h"
#include "readings.h"

#define TURN_MS 2 /* a knob is looked at so often */
#define LIGHT_TURNS 10
#define READING_TURNS 500

static void show(void)
{
    double now_us;
    const struct uj_endpoint *endpoint = guard_enter(&now_us);
    const enum uj_word word = uj_lamp_word(&endpoint->joint, now_us);
    const bool on = uj_lamp_is_on(&endpoint->joint, now_us);
    guard_leave();
    lamps_show(word, on);
}

static void sense(void)
{
    int16_t temperature_centi_c;
    uint16_t supply_mv;
    double now_us;
    const bool has_temperature = readings_temperature(&temperature_centi_c);
    const bool has_supply = readings_supply(&supply_mv);
    const int8_t rssi_dbm = readings_rssi();
    struct uj_endpoint *endpoint = guard_enter(&now_us);
    uj_joint_sense(&endpoint->joint, now_us, has_temperature ? &temperature_centi_c : NULL,
                   has_supply ? &supply_mv : NULL, rssi_dbm);
    const uint8_t fan_percent = endpoint->joint.safety.fan_percent;
    guard_leave();
    board_fan(fan_percent);
}

static void feel(void)
{
    static bool was_pressed;
    bool pressed = was_pressed;
    double now_us;
    const int16_t detents = hands_take(&pressed);
    if (detents == 0 && pressed == was_pressed) {
        return;
    }
    struct uj_endpoint *endpoint = guard_enter(&now_us);
    if (detents != 0) {
        uj_joint_turn(&endpoint->joint, now_us, detents);
    }
    if (pressed != was_pressed) {
        uj_joint_press(&endpoint->joint, now_us, pressed);
        was_pressed = pressed;
    }
    guard_leave();
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
