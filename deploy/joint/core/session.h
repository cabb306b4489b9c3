/* The session in force: whose it is, when the coordinator was heard, and what its newest drive said. */
#ifndef UJ_SESSION_H
#define UJ_SESSION_H

#include <stdbool.h>
#include <stdint.h>

#include "keys.h"
#include "rejects.h"

struct uj_joint;

struct uj_session {
    bool begun;               /* one has begun since boot */
    uint64_t session;
    uint8_t coordinator[UJ_COORDINATOR_ID_BYTES];
    double heard_us;          /* joint time of the last valid drive or frame, or of its beginning */
    double begun_us;          /* joint time at which it began */
    bool driven;              /* a drive of it was taken */
    double drive_us;          /* joint time of the newest drive */
    uint32_t sequence;        /* of the newest drive */
    uint8_t condition;        /* of the arm, from the newest drive */
    uint8_t stop_asked;       /* stop level of the newest drive, of whatever session */
    bool silence_told;        /* SILENCE_US after the newest drive has been obeyed */
};

/* Whether both are those of the session in force. */
bool uj_session_is(const struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                   uint64_t session);

/* Judges a session that a right proof has brought; begins it where it is a new one. UJ_ACCEPTED, UJ_REJECT_BUSY or
 * UJ_REJECT_FOREIGN; *fresh tells whether a session began. */
enum uj_reject uj_session_take(struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                               uint64_t session, bool *fresh);

#endif
