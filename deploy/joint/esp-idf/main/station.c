#include "station.h"

#include <stdio.h>
#include <string.h>

#include "pins.h"
#include "streams.h"

#define ID_CHARACTERS (2 * UJ_JOINT_ID_BYTES)

static void on_event(void *argument, esp_event_base_t base, int32_t event, void *data)
{
    (void)argument;
    if (base == WIFI_EVENT && event == WIFI_EVENT_STA_START) {
        (void)esp_wifi_connect();
    } else if (base == WIFI_EVENT && event == WIFI_EVENT_STA_DISCONNECTED) {
        const wifi_event_sta_disconnected_t *lost = data;
        ESP_LOGW("station", "The network is gone, reason %d.", (int)lost->reason);
        (void)esp_wifi_connect();
    } else if (base == IP_EVENT && event == IP_EVENT_STA_GOT_IP) {
        const ip_event_got_ip_t *got = data;
        ESP_LOGI("station", "Address " IPSTR ".", IP2STR(&got->ip_info.ip));
    }
}

static void join(const struct store *store)
{
    const wifi_init_config_t init = WIFI_INIT_CONFIG_DEFAULT();
    wifi_config_t configuration = {
        .sta =
            {
                .scan_method = WIFI_ALL_CHANNEL_SCAN,
                .sort_method = WIFI_CONNECT_AP_BY_SIGNAL,
                .threshold.authmode = WIFI_AUTH_WPA2_PSK,
                .pmf_cfg = {.capable = true, .required = false},
                .sae_pwe_h2e = WPA3_SAE_PWE_BOTH,
            },
    };
    /* Fields of fixed length that need no 0 at their end. */
    memcpy(configuration.sta.ssid, store->network, sizeof configuration.sta.ssid);
    memcpy(configuration.sta.password, store->password, sizeof configuration.sta.password);
    ESP_ERROR_CHECK(esp_wifi_init(&init));
    ESP_ERROR_CHECK(esp_event_handler_instance_register(WIFI_EVENT, ESP_EVENT_ANY_ID, on_event, NULL, NULL));
    ESP_ERROR_CHECK(esp_event_handler_instance_register(IP_EVENT, IP_EVENT_STA_GOT_IP, on_event, NULL, NULL));
    ESP_ERROR_CHECK(esp_wifi_set_storage(WIFI_STORAGE_RAM));
    ESP_ERROR_CHECK(esp_wifi_set_mode(WIFI_MODE_STA));
    ESP_ERROR_CHECK(esp_wifi_set_config(WIFI_IF_STA, &configuration));
    ESP_ERROR_CHECK(esp_wifi_start());
    /* A radio that sleeps answers a beacon interval late, 100 ms and more: a stop must not wait for that. */
    ESP_ERROR_CHECK(esp_wifi_set_ps(WIFI_PS_NONE));
}

static void announce(const struct uj_settings *settings)
{
    char id[ID_CHARACTERS + 1];
    char name[sizeof "joint-" + ID_CHARACTERS];
    char port[6];
    for (int i = 0; i < UJ_JOINT_ID_BYTES; i++) {
        (void)snprintf(id + 2 * i, 3, "%02x", settings->id[i]);
    }
    (void)snprintf(name, sizeof name, "joint-%s", id);
    (void)snprintf(port, sizeof port, "%u", (unsigned)settings->udp);
    /* The component (1.11.3) puts each before the one before it: on the wire they are in the document's order. */
    mdns_txt_item_t keys[] = {{"udp", port}, {"path", STREAMS_PATH}, {"fw", settings->firmware},
                              {"proto", "1"}, {"id", id},            {"txtvers", "1"}};
    ESP_ERROR_CHECK(mdns_init());
    ESP_ERROR_CHECK(mdns_hostname_set(name));
    ESP_ERROR_CHECK(mdns_instance_name_set(name));
    ESP_ERROR_CHECK(mdns_service_add(NULL, "_unisono-joint", "_tcp", CONFIG_UJ_PORT, keys, sizeof keys / sizeof keys[0]));
}

void station_begin(const struct store *store, const struct uj_settings *settings)
{
    ESP_ERROR_CHECK(esp_netif_init());
    ESP_ERROR_CHECK(esp_event_loop_create_default());
    (void)esp_netif_create_default_wifi_sta();
    join(store);
    announce(settings);
}
