#include "drive.h"

#include <string.h>

#include "bytes.h"
#include "numbers.h"

#define FIELD_TYPE 0xF001
#define FIELD_BYTES (UJ_FIELD_HEAD_BYTES + UJ_DRIVE_BYTES)
#define KNOWN_FLAGS 0x7f
#define MAP_RATE_LIMIT_PPB 1000000

static bool fits(int64_t value)
{
    return value >= -UJ_MAX_INTEGER && value <= UJ_MAX_INTEGER;
}

/* Reads what the flags say is there; the rest stays 0. */
static void read_fields(const uint8_t *value, struct uj_drive *drive)
{
    memset(drive, 0, sizeof *drive);
    drive->session = uj_get_u64(value);
    drive->sequence = uj_get_u32(value + 8);
    drive->mode = value[12];
    drive->flags = value[13];
    drive->stop = value[14];
    drive->condition = value[15];
    drive->output_mask = value[16];
    drive->output_values = value[17];
    drive->full_current = value[18];
    if (uj_drive_has(drive, UJ_DRIVE_MAP)) {
        drive->map.number = uj_get_u32(value + 20);
        drive->map.arm_us = uj_get_i64(value + 24);
        drive->map.joint_us = uj_get_i64(value + 32);
        drive->map.rate_ppb = uj_get_i32(value + 40);
    }
    if (uj_drive_has(drive, UJ_DRIVE_PLAN)) {
        drive->plan_number = uj_get_u32(value + 44);
        drive->trajectory = uj_get_u32(value + 48);
        drive->stand_us = uj_get_i64(value + 52);
    }
    if (uj_drive_has(drive, UJ_DRIVE_CHANGE)) {
        drive->change.at_us = uj_get_i64(value + 60);
        drive->change.path_us = uj_get_i64(value + 68);
        drive->change.before_ppm = uj_get_u32(value + 76);
        drive->change.after_ppm = uj_get_u32(value + 80);
    }
    if (uj_drive_has(drive, UJ_DRIVE_PERMIT)) {
        drive->permit_us = uj_get_i64(value + 84);
    }
    if (uj_drive_has(drive, UJ_DRIVE_EXPIRY)) {
        drive->expiry_us = uj_get_i64(value + 92);
    }
    drive->jog_velocity = uj_get_i32(value + 100);
    drive->homing_number = uj_get_u32(value + 104);
    if (uj_drive_has(drive, UJ_DRIVE_TARGET)) {
        drive->jog_target = uj_get_i64(value + 108);
    }
}

/* Check 11. What is not there is 0 and passes. */
static bool fields_hold(const struct uj_drive *drive)
{
    return drive->mode <= UJ_MODE_HOME && drive->stop <= UJ_STOP_RELEASE && (drive->flags & ~KNOWN_FLAGS) == 0 &&
           (!uj_drive_has(drive, UJ_DRIVE_CHANGE) || uj_drive_has(drive, UJ_DRIVE_PLAN)) &&
           drive->change.before_ppm <= UJ_RATE_MAX_PPM && drive->change.after_ppm <= UJ_RATE_MAX_PPM &&
           drive->map.rate_ppb >= -MAP_RATE_LIMIT_PPB && drive->map.rate_ppb <= MAP_RATE_LIMIT_PPB &&
           fits(drive->map.arm_us) && fits(drive->map.joint_us) && fits(drive->stand_us) &&
           fits(drive->change.at_us) && fits(drive->change.path_us) && fits(drive->permit_us) &&
           fits(drive->expiry_us) && fits(drive->jog_target);
}

enum uj_reject uj_drive_open(const uint8_t key[UJ_KEY_BYTES], const uint8_t *datagram, size_t length,
                             struct uj_ntp_request *request, struct uj_drive *drive)
{
    uint8_t tag[UJ_TAG_BYTES];
    if (length < UJ_MAC_BYTES) {
        return UJ_REJECT_MAC_MISSING;
    }
    const size_t before_mac = length - UJ_MAC_BYTES;
    if (uj_get_u32(datagram + before_mac) != UJ_KEY_IDENTIFIER) {
        return UJ_REJECT_MAC_MISSING;
    }
    const struct uj_piece message = {datagram, length - UJ_TAG_BYTES};
    uj_tag(key, UJ_TO_JOINT, UJ_CHANNEL_DATAGRAMS, &message, 1, tag);
    if (!uj_same(tag, datagram + message.length, UJ_TAG_BYTES)) {
        return UJ_REJECT_TAG_WRONG;
    }
    if (before_mac < UJ_PACKET_BYTES) {
        return UJ_REJECT_NTP_LENGTH;
    }
    if (!uj_ntp_read(datagram, request)) {
        return UJ_REJECT_NTP_MODE;
    }
    if (before_mac < UJ_PACKET_BYTES + FIELD_BYTES) {
        return UJ_REJECT_FIELD_LENGTH;
    }
    const uint8_t *field = datagram + UJ_PACKET_BYTES;
    if (uj_get_u16(field) != FIELD_TYPE || uj_get_u16(field + 2) != FIELD_BYTES) {
        return UJ_REJECT_FIELD_TYPE;
    }
    if (before_mac != UJ_PACKET_BYTES + FIELD_BYTES) {
        return UJ_REJECT_FIELD_LENGTH;
    }
    read_fields(field + UJ_FIELD_HEAD_BYTES, drive);
    return fields_hold(drive) ? UJ_ACCEPTED : UJ_REJECT_DRIVE_FIELD;
}
