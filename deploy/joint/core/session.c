#include "session.h"

#include <string.h>

#include "body.h"
#include "drive.h"

bool uj_session_is(const struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                   uint64_t session)
{
    return joint->session.begun && joint->session.session == session &&
           memcmp(joint->session.coordinator, coordinator, UJ_COORDINATOR_ID_BYTES) == 0;
}

bool uj_session_drives(const struct uj_joint *joint, const struct uj_drive *drive)
{
    const struct uj_session *now = &joint->session;
    return now->begun && drive->session == now->session && drive->sequence > now->sequence;
}

enum uj_reject uj_session_judge(const struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                                uint64_t session)
{
    const struct uj_session *now = &joint->session;
    if (uj_session_is(joint, coordinator, session)) {
        return UJ_ACCEPTED;
    }
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_BUSY;
    }
    if (now->begun && memcmp(now->coordinator, coordinator, UJ_COORDINATOR_ID_BYTES) != 0 &&
        joint->now_us - now->heard_us < UJ_RELEASE_SESSION_US) {
        return UJ_REJECT_FOREIGN;
    }
    return UJ_ACCEPTED;
}

bool uj_session_begin(struct uj_joint *joint, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES], uint64_t session)
{
    struct uj_session *now = &joint->session;
    if (uj_session_is(joint, coordinator, session)) {
        now->heard_us = joint->now_us;
        return false;
    }
    uj_player_forget(joint);
    uj_clock_clear(&joint->clock);
    uj_current_full(joint);
    joint->homing.number = 0;
    joint->event_count = 0;
    *now = (struct uj_session){
        .begun = true, .session = session, .heard_us = joint->now_us, .driven_us = joint->now_us};
    memcpy(now->coordinator, coordinator, UJ_COORDINATOR_ID_BYTES);
    return true;
}
