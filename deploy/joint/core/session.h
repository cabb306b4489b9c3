/* The session in force: whose it is, when the coordinator was heard, and what its newest drive said. */
#ifndef UJ_SESSION_H
#define UJ_SESSION_H

#include <stdbool.h>
#include <stdint.h>

#include "keys.h"
#include "rejects.h"

struct uj_drive;
struct uj_joint;

struct uj_session {
    bool begun;               /* one has begun since boot */
    uint64_t session;
    uint8_t coordinator[UJ_COORDINATOR_ID_BYTES];
    double heard_us;          /* joint time of the last valid drive or frame, or of its beginning */
    double driven_us;         /* joint time of the newest drive, or of its beginning */
    uint32_t sequence;        /* of the newest drive; it and those below are 0 before the first */
    uint8_t condition;        /* of the arm, as it told */
    uint8_t stop_asked;       /* its stop level */
};

/* Whether both are those of the session in force. */
bool uj_session_is(const struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                   uint64_t session);

/* Whether a session that a right proof has brought may begin or go on: UJ_ACCEPTED, UJ_REJECT_BUSY or
 * UJ_REJECT_FOREIGN. */
enum uj_reject uj_session_judge(const struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                                uint64_t session);

/* Begins a session that may begin, or goes on with the one in force. Returns whether it is a new one. */
bool uj_session_begin(struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES], uint64_t session);

/* Whether a drive is of the session in force, and newer than those before. */
bool uj_session_drives(const struct uj_joint *joint, const struct uj_drive *drive);

#endif
