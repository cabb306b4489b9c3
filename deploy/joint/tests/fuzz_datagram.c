/* Any bytes as a datagram, as they are and with a tag that is right: the checks behind the tag are reached so. */
#include <string.h>

#include "drive.h"
#include "numbers.h"
#include "status.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const uint8_t KEY[UJ_KEY_BYTES] = {1};

static bool fits(int64_t value)
{
    return value >= -UJ_MAX_INTEGER && value <= UJ_MAX_INTEGER;
}

static void take(const uint8_t *bytes, size_t length)
{
    struct uj_ntp_request request;
    struct uj_drive drive;
    if (uj_drive_open(KEY, bytes, length, &request, &drive) != UJ_ACCEPTED) {
        return;
    }
    /* What is taken keeps what drive.h promises. */
    if (length != UJ_DRIVE_DATAGRAM_BYTES || drive.mode > UJ_MODE_HOME || drive.stop > UJ_STOP_RELEASE ||
        request.version < 1 || request.version > 4 || !fits(drive.permit_us) || !fits(drive.jog_target) ||
        drive.change.after_ppm > UJ_RATE_MAX_PPM || (drive.flags & 0x80) != 0) {
        __builtin_trap();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    uint8_t bytes[UJ_MAX_DATAGRAM_BYTES];
    struct uj_ntp_request request;
    if (size >= UJ_PACKET_BYTES) {
        (void)uj_ntp_read(data, &request);
    }
    if (size > sizeof bytes) {
        return 0;
    }
    take(data, size);
    if (size >= UJ_MAC_BYTES) {
        const struct uj_piece message = {bytes, size - UJ_TAG_BYTES};
        memcpy(bytes, data, size);
        bytes[size - UJ_MAC_BYTES + 3] = UJ_KEY_IDENTIFIER;
        memset(bytes + size - UJ_MAC_BYTES, 0, 3);
        uj_tag(KEY, UJ_TO_JOINT, UJ_CHANNEL_DATAGRAMS, &message, 1, bytes + size - UJ_TAG_BYTES);
        take(bytes, size);
    }
    return 0;
}
