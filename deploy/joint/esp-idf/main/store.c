#include "store.h"

#include <string.h>
#include <strings.h>

#include "sdk.h"

#define SPACE "joint"
#define RECORD "told"

/* The store writes the new entry, then drops the old one, and here overwrites it: it may have been a key. */
static bool put(void *owner, const uint8_t record[UJ_MEMORY_BYTES])
{
    nvs_handle_t handle;
    (void)owner;
    if (nvs_open(SPACE, NVS_READWRITE_PURGE, &handle) != ESP_OK) {
        return false;
    }
    const bool kept = nvs_set_blob(handle, RECORD, record, UJ_MEMORY_BYTES) == ESP_OK && nvs_commit(handle) == ESP_OK;
    nvs_close(handle);
    return kept;
}

void store_begin(struct uj_memory *memory)
{
    nvs_handle_t handle;
    uint8_t record[UJ_MEMORY_BYTES];
    size_t length = sizeof record;
    *memory = (struct uj_memory){.put = put};
    esp_err_t found = nvs_flash_init();
    if (found == ESP_OK) {
        found = nvs_open(SPACE, NVS_READONLY, &handle);
    }
    if (found == ESP_OK) {
        found = nvs_get_blob(handle, RECORD, record, &length);
        nvs_close(handle);
    }
    if (found == ESP_ERR_NVS_NOT_FOUND) {
        return; /* a bare board */
    }
    if (found != ESP_OK || !uj_memory_read(memory, record, length)) {
        ESP_LOGE("store", "What this board was told cannot be read: %s.", esp_err_to_name(found));
    }
    explicit_bzero(record, sizeof record);
}
