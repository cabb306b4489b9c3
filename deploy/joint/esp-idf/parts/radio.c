#include "radio.h"

#include <string.h>

void uj_radio_try(struct uj_radio *radio)
{
    *radio = (struct uj_radio){.tries = true};
}

void uj_radio_joined(struct uj_radio *radio, int64_t now_us)
{
    *radio = (struct uj_radio){.tries = true, .joined = true, .joined_us = now_us};
}

void uj_radio_addressed(struct uj_radio *radio, const uint8_t address[4])
{
    radio->has_address = true;
    memcpy(radio->address, address, sizeof radio->address);
}

void uj_radio_unaddressed(struct uj_radio *radio, int64_t now_us)
{
    if (radio->joined) {
        uj_radio_joined(radio, now_us);
    }
}

static enum uj_cable_wifi_reason reason_of(unsigned loss)
{
    switch (loss) {
    case UJ_RADIO_NO_AP_FOUND:
        return UJ_WIFI_NOT_FOUND;
    case UJ_RADIO_MIC_FAILURE:
    case UJ_RADIO_4WAY_HANDSHAKE_TIMEOUT:
    case UJ_RADIO_AUTH_FAIL:
    case UJ_RADIO_HANDSHAKE_TIMEOUT:
        return UJ_WIFI_PASSWORD;
    default:
        return UJ_WIFI_OTHER;
    }
}

void uj_radio_lost(struct uj_radio *radio, unsigned loss)
{
    const enum uj_cable_wifi_reason reason = reason_of(loss);
    const bool refused = reason == UJ_WIFI_PASSWORD;
    const bool told = !refused || radio->refused;
    *radio = (struct uj_radio){.tries = true, .refused = refused, .reason = told ? reason : UJ_WIFI_NO_REASON};
}

void uj_radio_tell(const struct uj_radio *radio, int64_t now_us, struct uj_cable_wifi *wifi)
{
    *wifi = (struct uj_cable_wifi){.state = radio->tries ? UJ_WIFI_TRYING : UJ_WIFI_UNSET};
    if (radio->has_address) {
        wifi->state = UJ_WIFI_CONNECTED;
        memcpy(wifi->address, radio->address, sizeof wifi->address);
    } else if (radio->joined && now_us - radio->joined_us >= UJ_RADIO_ADDRESS_US) {
        wifi->reason = UJ_WIFI_NO_ADDRESS;
    } else if (!radio->joined) {
        wifi->reason = radio->reason;
    }
    if (wifi->reason != UJ_WIFI_NO_REASON) {
        wifi->state = UJ_WIFI_FAILED;
    }
}
