#include "requests.h"

#include <string.h>

#include "body.h"
#include "text.h"

static enum uj_reject configure(struct uj_joint *joint, const struct uj_request *request,
                                char sentence[UJ_SENTENCE_BYTES])
{
    const struct uj_configuration *wanted = &request->of.configuration;
    const int64_t fastest = UJ_COUNTS_PER_MICROSTEP * (int64_t)joint->settings.capabilities.max_step_rate_hz;
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_NOT_AT_REST;
    }
    if (joint->buffer.trajectory != 0) {
        return UJ_REJECT_TRAJECTORY_LOADED;
    }
    if (wanted->velocity > fastest) {
        struct uj_text text = uj_text("velocity is ");
        uj_text_number(&text, wanted->velocity);
        uj_text_words(&text, " counts/s, the driver can do ");
        uj_text_number(&text, fastest);
        uj_text_copy(sentence, text.bytes);
        return UJ_REJECT_CONFIGURATION;
    }
    const struct uj_configuration *before = &joint->configuration;
    const bool geometry = joint->configured && (before->counts_per_turn != wanted->counts_per_turn ||
                                                before->homing.direction != wanted->homing.direction ||
                                                before->homing.home != wanted->homing.home);
    joint->configuration = *wanted;
    memcpy(joint->digest, request->digest, sizeof joint->digest);
    joint->configured = true;
    uj_ramp_make(&joint->ramp, joint->configuration.ramp_rows, joint->configuration.ramp);
    if (geometry && joint->homed) {
        joint->homed = false;
        if (joint->state == UJ_READY) {
            uj_body_go(joint, UJ_ON_UNHOME);
        }
    }
    uj_current_full(joint);
    return UJ_ACCEPTED;
}

/* What points and prepare need alike. */
static enum uj_reject ready_for_a_trajectory(const struct uj_joint *joint)
{
    if (!joint->configured) {
        return UJ_REJECT_NOT_CONFIGURED;
    }
    if (joint->state == UJ_UNHOMED) {
        return UJ_REJECT_UNHOMED;
    }
    if (joint->state == UJ_FAULTED) {
        return UJ_REJECT_FAULTED;
    }
    return UJ_ACCEPTED;
}

static enum uj_reject prepare(struct uj_joint *joint, uint32_t trajectory)
{
    struct uj_point first;
    struct uj_point second;
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_NOT_AT_REST;
    }
    const enum uj_reject unready = ready_for_a_trajectory(joint);
    if (unready != UJ_ACCEPTED) {
        return unready;
    }
    if (joint->safety.latched != UJ_STOP_NONE) {
        return UJ_REJECT_STOP_LATCHED;
    }
    if (!joint->energised) {
        return UJ_REJECT_NOT_ENERGISED;
    }
    if (joint->buffer.trajectory != 0 && joint->buffer.trajectory != trajectory) {
        return UJ_REJECT_TRAJECTORY_LOADED;
    }
    if (joint->state == UJ_ARMED || joint->state == UJ_HELD || joint->state == UJ_FINISHED) {
        return UJ_REJECT_TRAJECTORY_LOADED;
    }
    if (joint->buffer.trajectory == 0 || trajectory == 0 ||
        (joint->buffer.count < 2 && !uj_buffer_has_last(&joint->buffer)) ||
        !uj_buffer_segment(&joint->buffer, 0, &first, &second)) {
        return UJ_REJECT_POINTS_MISSING;
    }
    if (uj_body_position(joint) != first.position) {
        return UJ_REJECT_POSITION;
    }
    if (joint->state == UJ_READY) {
        uj_path_begin(&joint->player.path, &joint->ramp);
        uj_body_go(joint, UJ_ON_PREPARE);
    }
    return UJ_ACCEPTED;
}

static enum uj_reject discard(struct uj_joint *joint)
{
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_NOT_AT_REST;
    }
    uj_player_discard(joint);
    return UJ_ACCEPTED;
}

static enum uj_reject clear(struct uj_joint *joint)
{
    if (!uj_body_rests(joint)) {
        return UJ_REJECT_NOT_AT_REST;
    }
    if (joint->session.stop_asked != UJ_STOP_NONE) {
        return UJ_REJECT_STOP_STILL_ASKED;
    }
    if (joint->safety.faults != 0 && uj_safety_causes(joint) != 0) {
        return UJ_REJECT_FAULT_PERSISTS;
    }
    joint->safety.faults = 0;
    joint->safety.latched = UJ_STOP_NONE;
    joint->safety.stop_untold = false;
    if (joint->state == UJ_FAULTED) {
        uj_body_go(joint, joint->homed ? UJ_ON_CLEAR_HOMED : UJ_ON_CLEAR_UNHOMED);
    }
    return UJ_ACCEPTED;
}

enum uj_reject uj_requests_take(struct uj_joint *joint, const struct uj_request *request,
                                char sentence[UJ_SENTENCE_BYTES])
{
    sentence[0] = '\0';
    switch (request->type) {
    case UJ_REQUEST_CONFIGURE:
        return configure(joint, request, sentence);
    case UJ_REQUEST_PREPARE:
        return prepare(joint, request->of.trajectory);
    case UJ_REQUEST_DISCARD:
        return discard(joint);
    case UJ_REQUEST_CLEAR:
        return clear(joint);
    case UJ_REQUEST_BLINK:
        uj_lamp_blink(joint, request->of.seconds);
        return UJ_ACCEPTED;
    }
    return UJ_REJECT_MESSAGE_UNKNOWN;
}

static const char *limit_name(enum uj_segment_fault limit)
{
    switch (limit) {
    case UJ_SEGMENT_SPACING:
        return "spacing";
    case UJ_SEGMENT_VELOCITY:
        return "velocity";
    case UJ_SEGMENT_ACCELERATION:
        return "acceleration";
    case UJ_SEGMENT_SOUND:
        break;
    }
    return "";
}

enum uj_reject uj_requests_points(struct uj_joint *joint, const struct uj_points *points,
                                  char sentence[UJ_SENTENCE_BYTES])
{
    sentence[0] = '\0';
    const enum uj_reject unready = ready_for_a_trajectory(joint);
    if (unready != UJ_ACCEPTED) {
        return unready;
    }
    if (joint->state == UJ_HOMING || joint->state == UJ_JOGGING || joint->state == UJ_STOPPING) {
        return UJ_REJECT_NOT_AT_REST;
    }
    if (uj_body_on_path(joint)) {
        /* Standing, no arm time matters. */
        const double arm_us = uj_clock_has_map(&joint->clock) ? uj_body_arm_us(joint) : 0;
        uj_path_free(&joint->player.path, &joint->buffer, arm_us);
    }
    const struct uj_configuration *configuration = &joint->configuration;
    const struct uj_point_limits limits = {.capacity = joint->settings.capabilities.point_capacity,
                                           .has_range = configuration->has_range,
                                           .range_low = configuration->range_low,
                                           .range_high = configuration->range_high,
                                           .velocity = (double)configuration->velocity,
                                           .acceleration = (double)configuration->acceleration};
    struct uj_buffer_trouble trouble = {.index = 0, .limit = UJ_SEGMENT_SOUND};
    const enum uj_reject reject = uj_buffer_take(&joint->buffer, points, &limits, &trouble);
    if (reject == UJ_REJECT_SEGMENT) {
        struct uj_text text = uj_text("the segment before point ");
        uj_text_number(&text, trouble.index);
        uj_text_words(&text, " passes the limit of ");
        uj_text_words(&text, limit_name(trouble.limit));
        uj_text_copy(sentence, text.bytes);
    }
    uj_player_permitted(joint);
    return reject;
}
