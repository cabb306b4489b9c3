#include "joint.h"

#include <math.h>

#include "outputs.h"
#include "requests.h"

void uj_joint_init(struct uj_joint *joint, const struct uj_settings *settings, double now_us)
{
    *joint = (struct uj_joint){.settings = *settings, .now_us = now_us, .state = UJ_UNHOMED};
    uint32_t *capacity = &joint->settings.capabilities.point_capacity;
    if (*capacity == 0 || *capacity > UJ_POINT_CAPACITY) {
        *capacity = UJ_POINT_CAPACITY;
    }
    if (settings->update == NULL) {
        /* Nothing would take the images that are for it. */
        joint->settings.capabilities.board = NULL;
        joint->settings.capabilities.image_capacity = 0;
    }
    uj_clock_clear(&joint->clock);
    uj_player_init(joint);
    uj_free_stand(&joint->mover.motion, now_us, 0);
    uj_current_init(joint);
    uj_touch_init(&joint->touch);
    uj_lamp_init(joint);
}

/* Joint time from which no drive has come for SILENCE_US. */
static double silent_us(const struct uj_joint *joint)
{
    return joint->session.driven_us + UJ_SILENCE_US;
}

/* Joint time at which that ends a motion or a start; INFINITY where there is none. */
static double silenced_us(const struct uj_joint *joint)
{
    switch (joint->state) {
    case UJ_JOGGING:
    case UJ_HOMING:
    case UJ_ADVANCING:
    case UJ_MOVING:
        return silent_us(joint);
    default:
        return uj_player_starts(joint) ? silent_us(joint) : INFINITY;
    }
}

static void fall_silent(struct uj_joint *joint)
{
    uj_player_drop_start(joint);
    if (joint->state == UJ_JOGGING || joint->state == UJ_HOMING) {
        uj_mover_brake(joint, "no drive came any more");
    } else {
        uj_player_ramp(joint, "silence");
    }
}

/* Joint time at which outputs go off because nobody is heard any more: at rest alone. INFINITY for none. */
static double lost_us(const struct uj_joint *joint)
{
    const int64_t on_lost = joint->configuration.outputs_off.on_lost;
    return uj_state_rests(joint->state) && (on_lost & joint->outputs) != 0 ? silent_us(joint) : INFINITY;
}

double uj_joint_next_deadline(const struct uj_joint *joint)
{
    double next_us = uj_player_next_us(joint);
    next_us = fmin(next_us, uj_mover_next_us(joint));
    next_us = fmin(next_us, silenced_us(joint));
    next_us = fmin(next_us, lost_us(joint));
    next_us = fmin(next_us, uj_current_reduces_us(joint));
    return fmin(next_us, joint->touch.long_at_us);
}

/* One thing that is due at joint->now_us. Of several at one instant motion comes first. */
static void happen_one(struct uj_joint *joint)
{
    const double now_us = joint->now_us;
    if (uj_player_next_us(joint) <= now_us) {
        uj_player_happen(joint);
    } else if (uj_mover_next_us(joint) <= now_us) {
        uj_mover_happen(joint);
    } else if (silenced_us(joint) <= now_us) {
        fall_silent(joint);
    } else if (lost_us(joint) <= now_us) {
        uj_outputs_on_lost(joint);
    } else if (uj_current_reduces_us(joint) <= now_us) {
        uj_current_reduce(joint);
    } else if (joint->touch.long_at_us <= now_us) {
        uj_touch_becomes_long(&joint->touch);
    }
    uj_current_tell(joint);
}

void uj_joint_poll(struct uj_joint *joint, double now_us)
{
    for (;;) {
        const double next_us = uj_joint_next_deadline(joint);
        if (!(next_us <= now_us)) {
            break;
        }
        joint->now_us = fmax(joint->now_us, next_us);
        happen_one(joint);
    }
    joint->now_us = fmax(joint->now_us, now_us);
    uj_current_tell(joint);
}

static void take_map(struct uj_joint *joint, const struct uj_drive *drive)
{
    if (!uj_drive_has(drive, UJ_DRIVE_MAP)) {
        return;
    }
    const bool rests = uj_body_rests(joint);
    const enum uj_map_taken taken = uj_clock_take(&joint->clock, &drive->map, joint->now_us, rests);
    if (rests) {
        uj_body_settle(joint);
    }
    if (taken != UJ_MAP_WRONG) {
        return;
    }
    uj_player_drop_start(joint);
    if (joint->state == UJ_JOGGING || joint->state == UJ_HOMING) {
        uj_mover_brake(joint, "one of two clock maps is wrong");
    } else {
        uj_player_ramp(joint, "clock");
    }
}

bool uj_joint_drive(struct uj_joint *joint, double now_us, const struct uj_drive *drive)
{
    uj_joint_poll(joint, now_us);
    struct uj_session *session = &joint->session;
    if (!uj_session_drives(joint, drive)) {
        return false;
    }
    session->sequence = drive->sequence;
    session->driven_us = joint->now_us;
    session->heard_us = joint->now_us;
    session->condition = drive->condition;
    session->stop_asked = drive->stop;
    take_map(joint, drive);
    if (drive->stop != UJ_STOP_NONE) {
        uj_safety_stop(joint, drive->stop);
    } else if (uj_drive_has(drive, UJ_DRIVE_ENERGISE)) {
        uj_safety_energise(joint);
    }
    if (drive->full_current == 1 || drive->mode != UJ_MODE_NONE) {
        uj_current_full(joint);
    }
    if (drive->mode != UJ_MODE_PATH && uj_state_rests(joint->state)) {
        uj_outputs_set(joint, drive->output_mask, drive->output_values);
    }
    uj_mover_drive(joint, drive);
    uj_player_drive(joint, drive);
    uj_current_tell(joint);
    return true;
}

enum uj_reject uj_joint_request(struct uj_joint *joint, double now_us, const struct uj_request *request,
                                char sentence[UJ_SENTENCE_BYTES])
{
    uj_joint_poll(joint, now_us);
    return uj_requests_take(joint, request, sentence);
}

enum uj_reject uj_joint_points(struct uj_joint *joint, double now_us, const struct uj_points *points,
                               char sentence[UJ_SENTENCE_BYTES])
{
    uj_joint_poll(joint, now_us);
    return uj_requests_points(joint, points, sentence);
}

bool uj_joint_session(struct uj_joint *joint, double now_us, const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES],
                      uint64_t session)
{
    uj_joint_poll(joint, now_us);
    return uj_session_begin(joint, coordinator, session);
}

void uj_joint_heard(struct uj_joint *joint, double now_us)
{
    uj_joint_poll(joint, now_us);
    joint->session.heard_us = joint->now_us;
}

void uj_joint_hall(struct uj_joint *joint, double now_us, bool active)
{
    uj_joint_poll(joint, now_us);
    if (active == joint->edges.active) {
        return;
    }
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    joint->edges.active = active;
    if (!joint->configured) {
        return;
    }
    struct uj_passing *passing = &joint->edges.passing;
    uj_passing_change(passing, position, velocity, &joint->configuration);
    uj_edges_pass(&joint->edges);
    if (active && passing->counts && !uj_body_on_path(joint) &&
        signbit(velocity) == (joint->configuration.homing.direction < 0) && velocity != 0) {
        joint->edges.kept.place = (struct uj_passage){.known = true, .position = passing->place};
    }
    if (joint->state == UJ_HOMING) {
        uj_homing_edge(joint, active, position);
    } else if (passing->begins) {
        uj_edges_compare(joint, active, position, velocity);
    }
}

void uj_joint_input(struct uj_joint *joint, double now_us, uint8_t inputs)
{
    uj_joint_poll(joint, now_us);
    joint->inputs = (uint8_t)(inputs & ((1u << joint->settings.capabilities.inputs) - 1u));
}

void uj_joint_sense(struct uj_joint *joint, double now_us, const int16_t *temperature_centi_c,
                    const uint16_t *supply_mv, int8_t rssi_dbm)
{
    uj_joint_poll(joint, now_us);
    struct uj_safety *safety = &joint->safety;
    safety->sensed = true;
    safety->has_temperature = temperature_centi_c != NULL;
    safety->temperature_centi_c = temperature_centi_c != NULL ? *temperature_centi_c : 0;
    safety->has_supply = supply_mv != NULL;
    safety->supply_mv = supply_mv != NULL ? *supply_mv : 0;
    safety->rssi_dbm = rssi_dbm;
    uj_safety_compare(joint);
}

void uj_joint_driver(struct uj_joint *joint, double now_us, bool reports_fault)
{
    uj_joint_poll(joint, now_us);
    uj_safety_driver(joint, reports_fault);
}

void uj_joint_turn(struct uj_joint *joint, double now_us, int16_t detents)
{
    uj_joint_poll(joint, now_us);
    uj_touch_turn(&joint->touch, detents);
}

void uj_joint_press(struct uj_joint *joint, double now_us, bool down)
{
    uj_joint_poll(joint, now_us);
    uj_touch_press(&joint->touch, joint->now_us, down);
}

bool uj_joint_take_event(struct uj_joint *joint, struct uj_event *event)
{
    if (joint->event_count == 0) {
        return false;
    }
    *event = joint->events[joint->event_head];
    joint->event_head = (joint->event_head + 1) % UJ_EVENTS_KEPT;
    joint->event_count--;
    return true;
}
