#include "store.h"

#include <string.h>

#include "sdk.h"

static bool read_text(nvs_handle_t handle, const char *name, char *text, size_t space)
{
    char read[65] = {0};
    size_t length = sizeof read;
    if (nvs_get_str(handle, name, read, &length) != ESP_OK || length < 2 || length > space + 1) {
        ESP_LOGE("store", "There is no \"%s\" of at most %u characters in the store.", name, (unsigned)space);
        return false;
    }
    memcpy(text, read, space);
    return true;
}

bool store_read(struct store *store)
{
    nvs_handle_t handle;
    size_t length = sizeof store->key;
    *store = (struct store){0};
    const esp_err_t ready = nvs_flash_init();
    if (ready != ESP_OK || nvs_open("joint", NVS_READONLY, &handle) != ESP_OK) {
        ESP_LOGE("store", "The store is empty or cannot be read: %s.", esp_err_to_name(ready));
        return false;
    }
    bool all = nvs_get_blob(handle, "key", store->key, &length) == ESP_OK && length == sizeof store->key;
    if (!all) {
        ESP_LOGE("store", "There is no \"key\" of %u bytes in the store.", (unsigned)sizeof store->key);
    }
    all = read_text(handle, "network", store->network, sizeof store->network) && all;
    all = read_text(handle, "password", store->password, sizeof store->password) && all;
    nvs_close(handle);
    return all;
}
