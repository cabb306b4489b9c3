#include "ntp.h"

#include <string.h>

#include "bytes.h"

#define MODE_CLIENT 3
#define MODE_SERVER 4

uint64_t uj_ntp_timestamp(int64_t joint_us)
{
    const uint64_t us = (uint64_t)joint_us + 1000000;
    const uint64_t seconds = us / 1000000;
    /* Taken apart so, no product passes 2^52. Rounded to the nearest: half a unit is added; a fraction that
     * rounds up to a whole second cannot be, since 999999 us are 4294 units short of it. */
    const uint64_t fraction = ((us % 1000000 << 32) + 500000) / 1000000;
    return seconds << 32 | fraction;
}

bool uj_ntp_read(const uint8_t packet[UJ_PACKET_BYTES], struct uj_ntp_request *request)
{
    const uint8_t version = packet[0] >> 3 & 7;
    if (version < 1 || version > 4 || (packet[0] & 7) != MODE_CLIENT) {
        return false;
    }
    request->version = version;
    request->transmit = uj_get_u64(packet + 40);
    return true;
}

void uj_ntp_reply(const struct uj_ntp_request *request, int64_t receive_us, int64_t transmit_us,
                  uint8_t packet[UJ_PACKET_BYTES])
{
    const uint64_t receive = uj_ntp_timestamp(receive_us);
    memset(packet, 0, UJ_PACKET_BYTES);
    packet[0] = (uint8_t)(request->version << 3 | MODE_SERVER);
    packet[1] = 1;    /* stratum */
    packet[3] = 0xec; /* precision: -20 */
    memcpy(packet + 12, "UNIS", 4);
    uj_put_u64(packet + 16, receive);
    uj_put_u64(packet + 24, request->transmit);
    uj_put_u64(packet + 32, receive);
    uj_put_u64(packet + 40, uj_ntp_timestamp(transmit_us));
}
