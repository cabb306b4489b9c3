#include "body.h"

#include <math.h>

int64_t uj_body_round(double value)
{
    return (int64_t)floor(value + 0.5);
}

bool uj_body_on_path(const struct uj_joint *joint)
{
    switch (joint->state) {
    case UJ_PREPARED:
    case UJ_ADVANCING:
    case UJ_ARMED:
    case UJ_MOVING:
    case UJ_RAMPING:
    case UJ_HELD:
    case UJ_FINISHED:
        return true;
    default:
        return false;
    }
}

bool uj_body_rests(const struct uj_joint *joint)
{
    return uj_state_rests(joint->state) && !uj_player_starts(joint);
}

double uj_body_arm_us(const struct uj_joint *joint)
{
    return uj_clock_arm_us(&joint->clock, joint->now_us);
}

void uj_body_where(const struct uj_joint *joint, double *position, double *velocity)
{
    if (uj_body_on_path(joint)) {
        /* Without a map it stands, and then no arm time matters. */
        double arm_us = uj_clock_has_map(&joint->clock) ? uj_body_arm_us(joint) : 0;
        uj_path_where(&joint->player.path, &joint->buffer, arm_us, position, velocity);
    } else {
        uj_free_at(&joint->mover.motion, joint->now_us, position, velocity);
    }
}

int64_t uj_body_position(const struct uj_joint *joint)
{
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    return uj_body_round(position);
}

void uj_body_truth(struct uj_joint *joint, enum uj_truth_kind kind, int64_t value)
{
    if (joint->settings.truth != NULL) {
        const struct uj_truth truth = {.at_us = joint->now_us, .kind = kind, .value = value};
        joint->settings.truth(joint->settings.world, &truth);
    }
}

void uj_body_tell(struct uj_joint *joint, const struct uj_event *event)
{
    if (joint->event_count == UJ_EVENTS_KEPT) {
        joint->event_head = (joint->event_head + 1) % UJ_EVENTS_KEPT;
        joint->event_count--;
    }
    joint->events[(joint->event_head + joint->event_count) % UJ_EVENTS_KEPT] = *event;
    joint->event_count++;
}

void uj_body_forget_edges(struct uj_joint *joint, const struct uj_edge_list *list)
{
    for (unsigned newer = joint->event_count; newer > 0; newer--) {
        const struct uj_event *event = &joint->events[(joint->event_head + newer - 1) % UJ_EVENTS_KEPT];
        if ((event->type == UJ_EVENT_HOMED && event->of.homed.edges == list) ||
            (event->type == UJ_EVENT_HOMING_FAILED && event->of.homing_failed.edges == list)) {
            joint->event_head = (joint->event_head + newer) % UJ_EVENTS_KEPT;
            joint->event_count -= newer;
            return;
        }
    }
}

void uj_body_settle(struct uj_joint *joint)
{
    uj_clock_settle(&joint->clock);
    joint->player.path.since = -UJ_TIME_MAX;
}

void uj_body_go(struct uj_joint *joint, enum uj_trigger trigger)
{
    const enum uj_state before = joint->state;
    if (!uj_transition(before, trigger, &joint->state)) {
        /* A mistake in these rules. Better no motion than a wrong one: the state stays, and what called goes on. */
        return;
    }
    if (joint->state != before) {
        uj_body_truth(joint, UJ_TRUTH_STATE, joint->state);
    }
    if (!uj_state_rests(joint->state)) {
        return;
    }
    if (!uj_state_rests(before)) {
        uj_body_settle(joint);
        uj_current_rested(joint);
    } else if (before == UJ_ARMED && joint->state != UJ_ARMED) {
        uj_current_rested(joint);
    }
}

void uj_body_drivers_off(struct uj_joint *joint)
{
    joint->homed = false;
    joint->edges.kept.place.known = false;
    if (joint->energised) {
        joint->energised = false;
        uj_current_init(joint);
        uj_body_truth(joint, UJ_TRUTH_DRIVERS, 0);
    }
}

void uj_body_release(struct uj_joint *joint)
{
    if (joint->state == UJ_HOMING) {
        uj_homing_failed(joint, "the drivers were released");
    }
    uj_mover_stand(joint);
    uj_player_discard(joint);
    uj_body_drivers_off(joint);
    if (joint->state != UJ_FAULTED) {
        uj_body_go(joint, UJ_ON_RELEASE);
        if (joint->safety.faults != 0) {
            uj_body_go(joint, UJ_ON_FAULT);
        }
    }
}
