/* What the Wi-Fi says of itself, as the cable tells it (protocol/CABLE.md, "Requests"). */
#ifndef UJ_RADIO_H
#define UJ_RADIO_H

#include "cable_board.h"

#define UJ_RADIO_ADDRESS_US 10000000 /* joined for longer without an address: there is none */

/* The SDK's reasons for a loss that the cable has a word for; every other one is UJ_WIFI_OTHER. */
enum uj_radio_loss {
    UJ_RADIO_MIC_FAILURE = 14,
    UJ_RADIO_4WAY_HANDSHAKE_TIMEOUT = 15,
    UJ_RADIO_NO_AP_FOUND = 201,
    UJ_RADIO_AUTH_FAIL = 202,
    UJ_RADIO_HANDSHAKE_TIMEOUT = 204
};

/* Begin with all of it 0: it does not try. */
struct uj_radio {
    bool tries;
    bool joined;
    bool has_address;
    bool refused; /* the last try ended with the password */
    uint8_t address[4];
    int64_t joined_us;
    enum uj_cable_wifi_reason reason; /* of the last try */
};

/* It begins to try, and never gives up. */
void uj_radio_try(struct uj_radio *radio);

/* It is in the network, without an address yet. */
void uj_radio_joined(struct uj_radio *radio, int64_t now_us);

void uj_radio_addressed(struct uj_radio *radio, const uint8_t address[4]);

/* The address is gone. The SDK says so long after the network is gone, too: then it is no news. */
void uj_radio_unaddressed(struct uj_radio *radio, int64_t now_us);

/* A try failed, or the network is gone, with the SDK's reason. One try that ends with the password may be a poor link:
 * two in a row are told. */
void uj_radio_lost(struct uj_radio *radio, unsigned loss);

/* Fills all of `wifi` but the strength. */
void uj_radio_tell(const struct uj_radio *radio, int64_t now_us, struct uj_cable_wifi *wifi);

#endif
