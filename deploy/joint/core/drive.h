/* A drive: all that a joint is permitted to do right now. Protocol/README.md, "Drive". */
#ifndef UJ_DRIVE_H
#define UJ_DRIVE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "clock.h"
#include "course.h"
#include "keys.h"
#include "ntp.h"
#include "rejects.h"

#define UJ_DRIVE_BYTES 116
#define UJ_DRIVE_DATAGRAM_BYTES 188

enum uj_mode { UJ_MODE_NONE = 0, UJ_MODE_PATH = 1, UJ_MODE_JOG = 2, UJ_MODE_HOME = 3 };

enum uj_stop { UJ_STOP_NONE = 0, UJ_STOP_STOP = 1, UJ_STOP_STOP_AND_RELEASE = 2, UJ_STOP_RELEASE = 3 };

/* Bits of `flags`: the fields that are there. */
enum {
    UJ_DRIVE_ENERGISE = 1 << 0, /* drivers on; 0 changes nothing */
    UJ_DRIVE_MAP = 1 << 1,
    UJ_DRIVE_PLAN = 1 << 2,
    UJ_DRIVE_CHANGE = 1 << 3, /* only together with the plan */
    UJ_DRIVE_PERMIT = 1 << 4,
    UJ_DRIVE_EXPIRY = 1 << 5,
    UJ_DRIVE_TARGET = 1 << 6
};

/* Decoded and checked: a field whose flag is not set is 0, whatever the datagram held there; every i64 is at
 * most +-(2^53 - 1). */
struct uj_drive {
    uint64_t session;
    uint32_t sequence;
    uint8_t mode;          /* enum uj_mode */
    uint8_t flags;         /* UJ_DRIVE_… */
    uint8_t stop;          /* enum uj_stop */
    uint8_t condition;     /* of the arm, as it came: one not in the table counts as 0 */
    uint8_t output_mask;   /* to set where the mode is not path */
    uint8_t output_values;
    uint8_t full_current;  /* 1: some joint moves or is about to; any other value: none does */
    struct uj_map map;
    uint32_t plan_number;  /* from 1 */
    uint32_t trajectory;   /* of the plan, from 1 */
    int64_t stand_us;      /* path time to stand at */
    struct uj_change change;
    int64_t permit_us;     /* path time */
    int64_t expiry_us;     /* arm time */
    int32_t jog_velocity;  /* counts/s, as it came in every mode */
    uint32_t homing_number; /* 0 asks for nothing; as it came in every mode */
    int64_t jog_target;    /* counts */
};

/* Whether the drive has all of these flags. */
static inline bool uj_drive_has(const struct uj_drive *drive, unsigned flags)
{
    return (drive->flags & flags) == flags;
}

/* Checks 4 to 11 of "What is answered", in that order: of a datagram by its lengths, with the session's key of
 * channel 2 to the joint. The caller has made check 3 (the exact length) and makes 12 and 13 (session and
 * sequence). With anything but UJ_ACCEPTED neither `request` nor `drive` counts. */
enum uj_reject uj_drive_open(const uint8_t key[UJ_KEY_BYTES], const uint8_t *datagram, size_t length,
                             struct uj_ntp_request *request, struct uj_drive *drive);

#endif
