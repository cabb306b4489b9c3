#include "guard.h"

#include "hall.h"
#include "sdk.h"

static struct uj_endpoint endpoint;
static SemaphoreHandle_t lock;
static uint32_t changes;

int64_t guard_time_us(void)
{
    return esp_timer_get_time();
}

void guard_begin(const struct uj_settings *settings, const uint8_t key[UJ_KEY_BYTES], const struct uj_shell *shell)
{
    lock = xSemaphoreCreateMutex();
    ESP_ERROR_CHECK(lock != NULL ? ESP_OK : ESP_ERR_NO_MEM);
    uj_endpoint_init(&endpoint, settings, key, shell, (double)guard_time_us());
}

/* Whatever else comes next comes after these: so the position of an edge is that of its instant, not of a task's turn. */
static void tell_edges(void)
{
    struct hall_edge edge;
    while (hall_take(&edge)) {
        changes++;
        uj_joint_hall(&endpoint.joint, (double)edge.at_us, edge.active);
    }
}

struct uj_endpoint *guard_try(uint32_t ms, double *now_us)
{
    if (xSemaphoreTake(lock, pdMS_TO_TICKS(ms)) != pdTRUE) {
        return NULL;
    }
    tell_edges();
    *now_us = (double)guard_time_us();
    return &endpoint;
}

struct uj_endpoint *guard_enter(double *now_us)
{
    (void)xSemaphoreTake(lock, portMAX_DELAY);
    changes++;
    tell_edges();
    *now_us = (double)guard_time_us();
    return &endpoint;
}

uint32_t guard_changes(void)
{
    return changes;
}

void guard_leave(void)
{
    (void)xSemaphoreGive(lock);
}
