/* A status: all that a joint says of itself. Protocol/README.md, "Status". */
#ifndef UJ_STATUS_H
#define UJ_STATUS_H

#include <stdint.h>

#include "keys.h"
#include "ntp.h"

#define UJ_STATUS_BYTES 88
#define UJ_STATUS_DATAGRAM_BYTES 160

/* Bits of `flags`. */
enum {
    UJ_STATUS_HOMED = 1 << 0,
    UJ_STATUS_ENERGISED = 1 << 1,
    UJ_STATUS_PERMIT = 1 << 2,      /* permit_us is there */
    UJ_STATUS_TEMPERATURE = 1 << 3, /* temperature_centi_c is there */
    UJ_STATUS_SUPPLY = 1 << 4,      /* supply_mv is there */
    UJ_STATUS_TELLS_HOME_SENSOR = 1 << 5,
    UJ_STATUS_HOME_SENSOR = 1 << 6, /* only together with the one before */
    UJ_STATUS_REDUCED = 1 << 7
};

enum uj_reason {
    UJ_REASON_NONE = 0,
    UJ_REASON_LATE = 1,
    UJ_REASON_NOT_ARMED = 2,
    UJ_REASON_ELSEWHERE = 3,
    UJ_REASON_POINTS_MISSING = 4,
    UJ_REASON_NO_MAP = 5
};

/* Bits of `faults`. */
enum {
    UJ_FAULT_OVER_TEMPERATURE = 1 << 0,
    UJ_FAULT_DRIVER = 1 << 1,
    UJ_FAULT_HALL_SENSOR = 1 << 2,
    UJ_FAULT_STEPS_LOST = 1 << 3,
    UJ_FAULT_TEMPERATURE_SENSOR = 1 << 4,
    UJ_FAULT_SUPPLY_LOW = 1 << 5
};

struct uj_status {
    uint32_t boot;
    uint32_t sequence; /* of the newest drive taken */
    uint8_t state;     /* enum uj_state */
    uint8_t flags;     /* UJ_STATUS_… */
    uint8_t stop;      /* enum uj_stop: the level latched */
    uint8_t reason;    /* enum uj_reason */
    uint32_t plan;     /* complied with, 0 for none */
    int64_t permit_us;
    uint32_t map_number; /* in use, 0 for none */
    int32_t remainder_us;
    int64_t position; /* counts */
    int32_t velocity; /* counts/s */
    int64_t path_us;
    uint32_t trajectory; /* loaded, 0 for none */
    uint32_t next_index; /* of the point that the buffer lacks next */
    int64_t buffered_us; /* path time of the newest point in the buffer */
    int16_t temperature_centi_c;
    uint16_t supply_mv;
    uint8_t fan_percent; /* 0 to 100 */
    int8_t rssi_dbm;     /* 0 where unknown */
    uint16_t faults;     /* UJ_FAULT_… */
    uint8_t inputs;
    uint8_t outputs;
    int16_t touch_turn; /* detents since boot; wraps */
    uint16_t touch_presses;
    uint16_t touch_long_presses;
    uint32_t homing_number; /* of the last homing begun in this session */
};

/* The status's own bytes, without anything around them. */
void uj_status_write(const struct uj_status *status, uint8_t value[UJ_STATUS_BYTES]);

/* The whole reply: packet, field, key identifier and tag, with the session's key of channel 2 to the
 * coordinator. T2 and T3 are joint times, see uj_ntp_reply. */
void uj_status_seal(const uint8_t key[UJ_KEY_BYTES], const struct uj_ntp_request *request, int64_t receive_us,
                    int64_t transmit_us, const struct uj_status *status,
                    uint8_t datagram[UJ_STATUS_DATAGRAM_BYTES]);

#endif
