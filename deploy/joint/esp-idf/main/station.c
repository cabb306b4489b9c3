#include "station.h"

#include <stdio.h>
#include <string.h>

#include "pins.h"
#include "streams.h"

#define ID_CHARACTERS (2 * UJ_JOINT_ID_BYTES)

_Static_assert((int)UJ_RADIO_NO_AP_FOUND == WIFI_REASON_NO_AP_FOUND &&
                   (int)UJ_RADIO_AUTH_FAIL == WIFI_REASON_AUTH_FAIL &&
                   (int)UJ_RADIO_MIC_FAILURE == WIFI_REASON_MIC_FAILURE &&
                   (int)UJ_RADIO_4WAY_HANDSHAKE_TIMEOUT == WIFI_REASON_4WAY_HANDSHAKE_TIMEOUT &&
                   (int)UJ_RADIO_HANDSHAKE_TIMEOUT == WIFI_REASON_HANDSHAKE_TIMEOUT,
               "the reasons are the SDK's");

static struct uj_radio radio;
static portMUX_TYPE radio_lock = portMUX_INITIALIZER_UNLOCKED;

static void note(esp_event_base_t base, int32_t event, const void *data)
{
    if (base == IP_EVENT && event == IP_EVENT_STA_GOT_IP) {
        const ip_event_got_ip_t *got = data;
        uint8_t address[4];
        memcpy(address, &got->ip_info.ip.addr, sizeof address); /* in the network's order */
        uj_radio_addressed(&radio, address);
    } else if (base == IP_EVENT) {
        uj_radio_unaddressed(&radio, esp_timer_get_time());
    } else if (event == WIFI_EVENT_STA_CONNECTED) {
        uj_radio_joined(&radio, esp_timer_get_time());
    } else if (event == WIFI_EVENT_STA_DISCONNECTED) {
        const wifi_event_sta_disconnected_t *lost = data;
        uj_radio_lost(&radio, lost->reason);
    }
}

static void on_event(void *argument, esp_event_base_t base, int32_t event, void *data)
{
    (void)argument;
    portENTER_CRITICAL(&radio_lock);
    note(base, event, data);
    portEXIT_CRITICAL(&radio_lock);
    if (base == WIFI_EVENT && (event == WIFI_EVENT_STA_START || event == WIFI_EVENT_STA_DISCONNECTED)) {
        (void)esp_wifi_connect();
    }
}

static void join(const struct uj_told *told)
{
    const wifi_init_config_t init = WIFI_INIT_CONFIG_DEFAULT();
    wifi_config_t configuration = {
        .sta =
            {
                .scan_method = WIFI_ALL_CHANNEL_SCAN,
                .sort_method = WIFI_CONNECT_AP_BY_SIGNAL,
                .threshold.authmode = told->password_length > 0 ? WIFI_AUTH_WPA2_PSK : WIFI_AUTH_OPEN,
                .pmf_cfg = {.capable = true, .required = false},
                .sae_pwe_h2e = WPA3_SAE_PWE_BOTH,
            },
    };
    /* Fields of fixed length that need no 0 at their end. */
    memcpy(configuration.sta.ssid, told->ssid, sizeof configuration.sta.ssid);
    memcpy(configuration.sta.password, told->password, sizeof configuration.sta.password);
    ESP_ERROR_CHECK(esp_wifi_init(&init));
    ESP_ERROR_CHECK(esp_event_handler_instance_register(WIFI_EVENT, ESP_EVENT_ANY_ID, on_event, NULL, NULL));
    ESP_ERROR_CHECK(esp_event_handler_instance_register(IP_EVENT, IP_EVENT_STA_GOT_IP, on_event, NULL, NULL));
    ESP_ERROR_CHECK(esp_event_handler_instance_register(IP_EVENT, IP_EVENT_STA_LOST_IP, on_event, NULL, NULL));
    ESP_ERROR_CHECK(esp_wifi_set_storage(WIFI_STORAGE_RAM));
    ESP_ERROR_CHECK(esp_wifi_set_mode(WIFI_MODE_STA));
    uj_radio_try(&radio);
    if (esp_wifi_set_config(WIFI_IF_STA, &configuration) != ESP_OK) {
        uj_radio_lost(&radio, 0); /* and is not started: the cable must stay, to be told better */
        return;
    }
    ESP_ERROR_CHECK(esp_wifi_start());
    /* A radio that sleeps answers a beacon interval late, 100 ms and more: a stop must not wait for that. */
    ESP_ERROR_CHECK(esp_wifi_set_ps(WIFI_PS_NONE));
}

static void announce(const struct uj_told *told, const struct uj_settings *settings)
{
    char id[ID_CHARACTERS + 1];
    char host[sizeof "joint-" + ID_CHARACTERS];
    char name[UJ_CABLE_TEXT_MAX + sizeof "-" + ID_CHARACTERS];
    char port[6];
    for (int i = 0; i < UJ_JOINT_ID_BYTES; i++) {
        (void)snprintf(id + 2 * i, 3, "%02x", settings->id[i]);
    }
    (void)snprintf(host, sizeof host, "joint-%s", id);
    (void)snprintf(name, sizeof name, "%.*s-%s", (int)told->name_length, (const char *)told->name, id);
    (void)snprintf(port, sizeof port, "%u", (unsigned)settings->udp);
    /* The component (1.11.3) puts each before the one before it: on the wire they are in the document's order. */
    mdns_txt_item_t keys[] = {{"udp", port}, {"path", STREAMS_PATH}, {"fw", settings->firmware},
                              {"proto", "1"}, {"id", id},            {"txtvers", "1"}};
    ESP_ERROR_CHECK(mdns_init());
    ESP_ERROR_CHECK(mdns_hostname_set(host));
    ESP_ERROR_CHECK(mdns_instance_name_set(told->name_length > 0 ? name : host));
    ESP_ERROR_CHECK(mdns_service_add(NULL, "_unisono-joint", "_tcp", CONFIG_UJ_PORT, keys, sizeof keys / sizeof keys[0]));
}

void station_begin(const struct uj_told *told, const struct uj_settings *settings)
{
    ESP_ERROR_CHECK(esp_netif_init());
    ESP_ERROR_CHECK(esp_event_loop_create_default());
    (void)esp_netif_create_default_wifi_sta();
    join(told);
    announce(told, settings);
}

void station_tell(struct uj_cable_wifi *wifi)
{
    wifi_ap_record_t station;
    portENTER_CRITICAL(&radio_lock);
    uj_radio_tell(&radio, esp_timer_get_time(), wifi);
    portEXIT_CRITICAL(&radio_lock);
    if (wifi->state == UJ_WIFI_CONNECTED && esp_wifi_sta_get_ap_info(&station) == ESP_OK) {
        wifi->rssi_dbm = station.rssi;
    }
}
