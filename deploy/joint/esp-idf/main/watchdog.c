#include "watchdog.h"

#include "sdk.h"

void watchdog_allow(uint32_t ms)
{
    const esp_task_wdt_config_t watchdog = {.timeout_ms = ms, .idle_core_mask = 0, .trigger_panic = true};
    ESP_ERROR_CHECK(esp_task_wdt_reconfigure(&watchdog));
}

void watchdog_feed(void)
{
    (void)esp_task_wdt_reset();
}
