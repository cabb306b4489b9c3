#include "told.h"

#include <string.h>
#include <strings.h>

#include "rig.h"
#include "runner.h"
#include "sdk.h"
#include "serial.h"
#include "station.h"

static struct uj_cable_who self; /* id, boot and firmware */
static bool is_joint;
static struct uj_cable cable;
static struct uj_cable_board board;

static void tell_who(void *owner, struct uj_cable_who *who)
{
    *who = self;
    uj_memory_tell(owner, who);
}

static void tell_wifi(void *owner, struct uj_cable_wifi *wifi)
{
    (void)owner;
    station_tell(wifi);
}

static bool drivers_on(void *owner)
{
    (void)owner;
    return rig_drivers_on();
}

static uint32_t random_number(void *owner)
{
    (void)owner;
    return esp_random();
}

static void obey(const struct uj_cable_frame *frame)
{
    struct uj_cable_answer answer;
    uj_cable_obey(&board, frame, &answer);
    serial_write(answer.bytes, answer.length);
    if (!answer.restart) {
        return;
    }
    serial_drain();
    if (!is_joint) {
        esp_restart();
    }
    runner_restart();
}

static void take(uint8_t byte)
{
    struct uj_cable_frame frame;
    bool found;
    size_t given = 1;
    do { /* once more behind a frame: that wipes it */
        (void)uj_cable_feed(&cable, &byte, given, &frame, &found);
        given = 0;
        if (found) {
            obey(&frame);
        }
    } while (found);
}

static void run(void *argument)
{
    (void)argument;
    for (;;) {
        uint8_t byte;
        struct uj_cable_frame frame;
        if (serial_read(&byte, UJ_CABLE_PAUSE_MS)) {
            take(byte);
            continue;
        }
        while (uj_cable_pause(&cable, &frame)) {
            obey(&frame);
        }
    }
}

void told_begin(struct uj_memory *memory, const struct uj_settings *settings, bool joint)
{
    is_joint = joint;
    memcpy(self.id, settings->id, sizeof self.id);
    self.boot = settings->boot;
    self.firmware = (struct uj_cable_text){(const uint8_t *)settings->firmware, strlen(settings->firmware)};
    board = (struct uj_cable_board){.hooks = {.owner = memory,
                                              .who = tell_who,
                                              .wifi = tell_wifi,
                                              .drivers_on = drivers_on,
                                              .compare_key = uj_memory_compare_key,
                                              .set_wifi = uj_memory_set_wifi,
                                              .set_key = uj_memory_set_key,
                                              .set_name = uj_memory_set_name,
                                              .forget = uj_memory_forget,
                                              .random = random_number,
                                              .compare_update_key = uj_memory_compare_update_key,
                                              .set_update_key = uj_memory_set_update_key}};
    /* From here on the cable says nothing unasked; no log of anybody's may come between an answer's bytes. */
    esp_log_level_set("*", ESP_LOG_NONE);
    serial_begin();
    const BaseType_t made = xTaskCreate(run, "cable", 6144, NULL, tskIDLE_PRIORITY + 3, NULL);
    ESP_ERROR_CHECK(made == pdPASS ? ESP_OK : ESP_ERR_NO_MEM);
}
