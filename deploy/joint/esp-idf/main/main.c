/* A joint on a microcontroller: starts its tasks.
 *
 * NEVER RUN. No line of this folder's main/ has run on a microcontroller, and no motor has turned by it. It was compiled
 * against the SDK's headers (6.0.1), no more: not linked, not flashed. What is in ../parts and in ../../core is tested on a
 * computer, and the core on an emulated one. Whoever starts it first: motor without load, hand at the supply's switch.
 *
 * It moves a machine. A stop by software is not a safety-rated emergency stop. */
#include <string.h>

#include "board.h"
#include "network.h"
#include "pins.h"
#include "rig.h"
#include "runner.h"
#include "slots.h"
#include "slow.h"
#include "station.h"
#include "store.h"
#include "told.h"
#include "watchdog.h"

_Static_assert(sizeof CONFIG_UJ_BOARD > 1 && sizeof CONFIG_UJ_BOARD - 1 <= UJ_IMAGE_BOARD_CHARACTERS,
               "the board's name has 1 to 16 characters");

static void tell_sensors(struct uj_capabilities *capabilities)
{
    int count = 0;
    capabilities->sensors[count++] = "hall";
    if (CONFIG_UJ_ADC_TEMPERATURE >= 0) {
        capabilities->sensors[count++] = "temperature";
    }
    if (CONFIG_UJ_ADC_SUPPLY >= 0) {
        capabilities->sensors[count++] = "supply";
    }
}

/* Random numbers are random once the radio runs; the handshake's numbers come after that. */
static uint32_t random_boot(void)
{
    uint32_t boot;
    do {
        boot = esp_random();
    } while (boot == 0);
    return boot;
}

/* Joint time counts from the start, and so does the trial. Without the key that signs, no image is taken; what runs on
 * trial confirms itself all the same. */
static void begin_update(const struct uj_told *told, struct uj_update_start *start, struct uj_settings *settings)
{
    static struct uj_update update;
    memcpy(start->key, told->update_key, sizeof start->key);
    uj_update_init(&update, start, 0);
    settings->update = &update;
    if (told->has_update_key && slots_capacity() > 0) {
        settings->capabilities.board = CONFIG_UJ_BOARD;
        settings->capabilities.image_capacity = slots_capacity();
    }
}

void app_main(void)
{
    static struct uj_memory memory;
    struct uj_settings settings = {
        .udp = CONFIG_UJ_PORT,
        .capabilities = {.point_capacity = UJ_POINT_CAPACITY,
                         .max_step_rate_hz = CONFIG_UJ_MAX_STEP_RATE_HZ,
                         .inputs = lines(input_pins),
                         .outputs = lines(output_pins),
                         .idle_current = PIN_CURRENT >= 0},
        .tells_home_sensor = true,
    };
    struct uj_update_start start;
    board_begin();
    watchdog_allow(WATCHDOG_MS);
    ESP_ERROR_CHECK(esp_read_mac(settings.id, ESP_MAC_WIFI_STA));
    settings.firmware = esp_app_get_description()->version;
    store_begin(&memory);
    slots_begin(&start);
    /* A board without key or network is none of an arm: drivers off, and nothing but the cable. */
    const bool is_joint = memory.told.has_key && memory.told.ssid_length > 0;
    if (start.on_trial && !is_joint) {
        esp_restart(); /* nobody could ever reach it: the one before comes back */
    }
    if (is_joint) {
        station_begin(&memory.told, &settings);
    }
    settings.boot = random_boot();
    if (is_joint) {
        tell_sensors(&settings.capabilities);
        begin_update(&memory.told, &start, &settings);
        rig_begin();
        runner_begin(&settings, memory.told.key, &network_shell);
        network_begin();
        slow_begin();
    }
    told_begin(&memory, &settings, is_joint);
}
