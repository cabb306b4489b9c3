/* The NTP packet (RFC 5905) that every datagram begins with: protocol/README.md, "Datagrams". */
#ifndef UJ_NTP_H
#define UJ_NTP_H

#include <stdbool.h>
#include <stdint.h>

#define UJ_PACKET_BYTES 48
#define UJ_FIELD_HEAD_BYTES 4 /* u16 type, u16 length of the whole field */
#define UJ_MAC_BYTES 20       /* u32 key identifier, tag */
#define UJ_KEY_IDENTIFIER 1

/* What is kept of a request until its reply is written. */
struct uj_ntp_request {
    uint8_t version;  /* 1 to 4 */
    uint64_t transmit; /* copied into the reply's origin */
};

/* Seconds in 32.32 fixed point, one second added, rounded to the nearest unit. `joint_us` is not negative; after
 * 136 years the seconds begin again at 0. */
uint64_t uj_ntp_timestamp(int64_t joint_us);

/* Reads a request's packet. False unless version 1 to 4 and mode 3. */
bool uj_ntp_read(const uint8_t packet[UJ_PACKET_BYTES], struct uj_ntp_request *request);

/* Writes the reply's packet. T2: `receive_us`, T3: `transmit_us`, both joint times. */
void uj_ntp_reply(const struct uj_ntp_request *request, int64_t receive_us, int64_t transmit_us,
                  uint8_t packet[UJ_PACKET_BYTES]);

#endif
