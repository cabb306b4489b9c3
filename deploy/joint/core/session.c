#include "session.h"

#include <string.h>

#include "body.h"

bool uj_session_is(const struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                   uint64_t session)
{
    return joint->session.begun && joint->session.session == session &&
           memcmp(joint->session.coordinator, coordinator, UJ_COORDINATOR_ID_BYTES) == 0;
}

enum uj_reject uj_session_take(struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                               uint64_t session, bool *fresh)
{
    struct uj_session *now = &joint->session;
    *fresh = false;
    if (uj_session_is(joint, coordinator, session)) {
        now->heard_us = joint->now_us;
        return UJ_ACCEPTED;
    }
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_BUSY;
    }
    if (now->begun && memcmp(now->coordinator, coordinator, UJ_COORDINATOR_ID_BYTES) != 0 &&
        joint->now_us - now->heard_us < UJ_RELEASE_SESSION_US) {
        return UJ_REJECT_FOREIGN;
    }
    *fresh = true;
    uj_player_forget(joint);
    uj_clock_clear(&joint->clock);
    uj_current_full(joint);
    joint->homing.number = 0;
    joint->safety.lost_at_rest = false;
    joint->event_count = 0;
    /* The stop that the newest drive carried is still asked until a drive of this session says otherwise. */
    const uint8_t stop_asked = now->stop_asked;
    *now = (struct uj_session){.begun = true,
                               .session = session,
                               .heard_us = joint->now_us,
                               .begun_us = joint->now_us,
                               .stop_asked = stop_asked};
    memcpy(now->coordinator, coordinator, UJ_COORDINATOR_ID_BYTES);
    return UJ_ACCEPTED;
}
