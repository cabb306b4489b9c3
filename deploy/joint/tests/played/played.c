#include "played.h"

#include <limits.h>
#include <math.h>
#include <string.h>

#define MICROSTEP 256 /* counts */

/* ---- what comes out --------------------------------------------------------------------------------------------- */

static void keep(struct played *played, uint32_t connection, unsigned kind, const uint8_t *bytes, size_t length)
{
    if (played->now.messages == PLAYED_MESSAGES || length > PLAYED_BYTES - played->sent) {
        played->now.crowded = 1;
        return;
    }
    played->messages[played->now.messages++] = (struct played_message){connection, kind, played->sent, length};
    if (length > 0) {
        memcpy(played->bytes + played->sent, bytes, length);
    }
    played->sent += length;
}

static void on_send(void *context, uint32_t connection, bool text, const uint8_t *bytes, size_t length)
{
    keep(context, connection, text ? PLAYED_TEXT : PLAYED_BINARY, bytes, length);
}

static void on_close(void *context, uint32_t connection, unsigned code)
{
    (void)code;
    keep(context, connection, PLAYED_CLOSE, NULL, 0);
}

size_t played_take(struct played *played, int64_t what[2], uint8_t *out)
{
    const struct played_message message = played->messages[played->taken++];
    what[0] = message.connection;
    what[1] = message.kind;
    memcpy(out, played->bytes + message.at, message.length);
    if (played->taken == (size_t)played->now.messages) {
        played->taken = played->sent = 0;
        played->now.messages = 0;
    }
    return message.length;
}

/* ---- the motor and the truth ------------------------------------------------------------------------------------ */

static bool on_step(void *context, const struct uj_step *step)
{
    struct played *played = context;
    played->motor += step->up ? MICROSTEP : -MICROSTEP;
    return false; /* the world finds edges of the home sensor by itself, and tells them at their instant */
}

static double path_us(const struct uj_joint *joint)
{
    const struct uj_path *path = &joint->player.path;
    if (!uj_body_on_path(joint) || !uj_clock_has_map(&joint->clock)) {
        return (double)path->stand_us;
    }
    return uj_time_to_us(uj_path_progress(path, uj_body_arm_us(joint)).path);
}

static void tell(struct played *played, enum played_event event)
{
    if (played->now.truths == PLAYED_TRUTHS) {
        played->now.crowded = 1;
        return;
    }
    const struct uj_joint *joint = &played->machine.endpoint.joint;
    double position;
    double velocity;
    uj_body_where(joint, &position, &velocity);
    played->truths[played->now.truths++] = (struct played_truth){.at_us = joint->now_us,
                                                                 .position = position,
                                                                 .path_us = path_us(joint),
                                                                 .event = event,
                                                                 .trajectory = joint->buffer.trajectory,
                                                                 .plan = joint->player.complied,
                                                                 .outputs = joint->outputs,
                                                                 .inputs = joint->inputs,
                                                                 .shift = played->shift};
}

static void enter(struct played *played, enum uj_state next)
{
    const enum uj_state before = played->state;
    played->state = next;
    if (next == UJ_MOVING) {
        tell(played, played->machine.endpoint.joint.player.path.stand_us != 0 ? PLAYED_RESUME : PLAYED_START);
    } else if (next == UJ_HELD && before == UJ_RAMPING) {
        tell(played, PLAYED_HOLD);
    } else if (next == UJ_FINISHED) {
        tell(played, PLAYED_FINISH);
    } else if (next == UJ_READY && before == UJ_HOMING) {
        tell(played, PLAYED_HOME);
    } else if ((next == UJ_READY || next == UJ_UNHOMED || next == UJ_FAULTED) && !uj_state_rests(before)) {
        tell(played, PLAYED_STOP);
    }
}

static void on_truth(void *context, const struct uj_truth *truth)
{
    struct played *played = context;
    const struct uj_joint *joint = &played->machine.endpoint.joint;
    double position;
    double velocity;
    switch (truth->kind) {
    case UJ_TRUTH_DRIVERS:
        uj_body_where(joint, &position, &velocity);
        played->motor = uj_body_round(position);
        break;
    case UJ_TRUTH_SHIFT:
        played->motor += truth->value;
        played->shift += truth->value;
        break;
    case UJ_TRUTH_STATE:
        enter(played, (enum uj_state)truth->value);
        break;
    case UJ_TRUTH_OUTPUTS:
        tell(played, PLAYED_OUTPUTS);
        break;
    case UJ_TRUTH_CURRENT:
        break;
    }
    const bool reduced = joint->energised && joint->current.reduced;
    if (reduced != played->reduced && joint->energised) {
        tell(played, reduced ? PLAYED_CURRENT_REDUCED : PLAYED_CURRENT_FULL);
    }
    played->reduced = reduced;
}

size_t played_truths(struct played *played, struct played_truth *out)
{
    const size_t count = (size_t)played->now.truths;
    memcpy(out, played->truths, count * sizeof *out);
    played->now.truths = 0;
    return count;
}

static bool on_read(void *context, double until_us, struct uj_reading *reading)
{
    (void)context;
    (void)until_us;
    (void)reading;
    return false; /* the world tells them: played_hall and the others */
}

static double on_next_us(void *context)
{
    (void)context;
    return INFINITY;
}

/* ---- looking ---------------------------------------------------------------------------------------------------- */

static struct played_change change_of(const struct uj_change *change)
{
    return (struct played_change){change->at_us, change->path_us, change->before_ppm, change->after_ppm};
}

static void look_at_path(struct played_seen *seen, const struct uj_joint *joint)
{
    const struct uj_player *player = &joint->player;
    const struct uj_path *path = &player->path;
    const bool starts = uj_player_starts(joint);
    seen->complied = player->complied;
    seen->reason = player->reason;
    strncpy(seen->cause, player->cause, PLAYED_CAUSE_BYTES - 1);
    seen->stand_us = path->stand_us;
    seen->on_path = joint->state == UJ_MOVING || joint->state == UJ_RAMPING || joint->state == UJ_ADVANCING;
    if (starts || (joint->state == UJ_MOVING && path->has_pending)) {
        seen->has_pending = 1;
        seen->pending = change_of(&path->pending);
    }
    if (path->has_permit && (starts || joint->state == UJ_MOVING)) {
        seen->has_permit = 1;
        seen->permit_us = path->permit_us;
    }
    if (player->tells_end && joint->state != UJ_FINISHED) {
        seen->has_began = 1;
        seen->began_us = player->end_us;
    }
    if (!seen->on_path) {
        return;
    }
    if (path->phase == UJ_PATH_ADVANCES) {
        seen->has_goal = 1;
        seen->goal_us = path->target_us;
    } else if (path->phase == UJ_PATH_MOVES) {
        seen->has_present = 1;
        seen->present = change_of(&path->present);
    }
    const struct uj_course *course = uj_path_course(path, uj_time_from_us(uj_body_arm_us(joint)));
    seen->course = (struct played_course){.at = course->at,
                                          .path = course->path,
                                          .begin = course->begin,
                                          .end = course->end,
                                          .before_ppm = course->before_ppm,
                                          .after_ppm = course->after_ppm,
                                          .by_table = path->phase != UJ_PATH_MOVES};
}

static void look_at_motion(struct played_seen *seen, const struct uj_joint *joint)
{
    const struct uj_free_motion *motion = &joint->mover.motion;
    if (joint->state != UJ_HOMING && joint->state != UJ_JOGGING && joint->state != UJ_STOPPING) {
        return;
    }
    struct played_motion *out = &seen->motion;
    out->moves = 1;
    out->legs = motion->legs;
    for (uint32_t i = 0; i < motion->legs; i++) {
        const struct uj_leg *leg = &motion->leg[i];
        out->leg[i] = (struct played_leg){leg->from_us, leg->position, leg->velocity, leg->acceleration};
    }
    out->end_us = motion->end_us;
    out->end_position = motion->end_position;
    out->end_velocity = motion->end_velocity;
}

static void look(struct played *played)
{
    const struct uj_joint *joint = &played->machine.endpoint.joint;
    struct played_now *now = &played->now;
    now->now_us = joint->now_us;
    now->deadline_us = uj_machine_next_us(&played->machine);
    now->motor = played->motor;
    uj_body_where(joint, &now->position, &now->velocity);
    struct played_seen *seen = &played->seen;
    memset(seen, 0, sizeof *seen);
    seen->state = joint->state;
    seen->homed = joint->homed;
    seen->energised = joint->energised;
    seen->reduced = joint->current.reduced;
    seen->settled_us = joint->current.settled_us;
    seen->latched = joint->safety.latched;
    seen->faults = joint->safety.faults;
    seen->inputs = joint->inputs;
    seen->outputs = joint->outputs;
    seen->home_sensor = joint->edges.active;
    seen->fan_percent = joint->safety.fan_percent;
    seen->shift = played->shift;
    seen->rest_position = uj_state_rests(joint->state) ? now->position : 0;
    seen->begun = joint->session.begun;
    memcpy(&seen->session, &joint->session.session, sizeof seen->session);
    seen->sequence = joint->session.sequence;
    seen->condition = joint->session.condition;
    seen->driven_us = joint->session.driven_us;
    seen->homing_number = joint->homing.number;
    seen->turn = uj_touch_turned(&joint->touch);
    seen->presses = joint->touch.presses;
    seen->long_presses = joint->touch.long_presses;
    look_at_path(seen, joint);
    look_at_motion(seen, joint);
    const struct uj_clock *clock = &joint->clock;
    seen->clock = (struct played_clock){clock->map.number,   clock->map.arm_us, clock->map.joint_us,
                                        clock->map.rate_ppb, clock->remainder,  clock->taken};
    const struct uj_buffer *buffer = &joint->buffer;
    seen->trajectory = buffer->trajectory;
    seen->first_index = buffer->first_index;
    seen->next_index = uj_buffer_next_index(buffer);
    seen->next_switch = buffer->next_switch;
    seen->has_last = uj_buffer_has_last(buffer);
    seen->configured = joint->configured;
    if (joint->configured) {
        memcpy(seen->digest, joint->digest, sizeof seen->digest);
    }
}

void played_points(const struct played *played, uint32_t first, uint32_t end, struct played_point *out)
{
    const struct uj_buffer *buffer = &played->machine.endpoint.joint.buffer;
    for (uint32_t index = first; index < end; index++) {
        const struct uj_point *point =
            &buffer->ring[(buffer->head + index - buffer->first_index) % UJ_POINT_CAPACITY];
        *out++ = (struct played_point){point->time_us,
                                       point->position,
                                       point->velocity,
                                       (point->flags & UJ_POINT_LAST) != 0,
                                       point->output_mask,
                                       point->output_values};
    }
}

void played_configuration(const struct played *played, struct played_configuration *out)
{
    const struct uj_configuration *from = &played->machine.endpoint.joint.configuration;
    *out = (struct played_configuration){
        .counts_per_turn = from->counts_per_turn,
        .full_step = from->full_step,
        .has_range = from->has_range,
        .range_low = from->range_low,
        .range_high = from->range_high,
        .velocity = from->velocity,
        .acceleration = from->acceleration,
        .jog_unhomed = from->jog_unhomed,
        .direction = from->homing.direction,
        .travel = from->homing.travel,
        .backoff = from->homing.backoff,
        .fast = from->homing.fast,
        .slow = from->homing.slow,
        .home = from->homing.home,
        .temperature_limit_centi_c = from->temperature_limit_centi_c,
        .supply_limit_mv = from->supply_limit_mv,
        .run_current_ma = from->run_current_ma,
        .hold_current_ma = from->hold_current_ma,
        .has_outputs_off = from->has_outputs_off,
        .on_hold = from->outputs_off.on_hold,
        .on_stop = from->outputs_off.on_stop,
        .on_lost = from->outputs_off.on_lost,
        .has_idle_current = from->has_idle_current,
        .after_ms = from->idle_current.after_ms,
        .current_ma = from->idle_current.current_ma,
        .ramp_rows = from->ramp_rows,
    };
    for (uint32_t i = 0; i < from->ramp_rows; i++) {
        out->ramp[i][0] = from->ramp[i].time_us;
        out->ramp[i][1] = from->ramp[i].rate_ppm;
    }
    memcpy(out->name, from->name, sizeof from->name);
}

int played_lamp(const struct played *played, double now_us)
{
    return (int)uj_lamp_word(&played->machine.endpoint.joint, now_us);
}

int played_keys(const struct played *played, uint8_t *in, uint8_t *out)
{
    const struct uj_endpoint *endpoint = &played->machine.endpoint;
    memcpy(in, endpoint->datagram_key_in, UJ_KEY_BYTES);
    memcpy(out, endpoint->datagram_key_out, UJ_KEY_BYTES);
    return endpoint->keyed;
}

/* ---- what goes in ----------------------------------------------------------------------------------------------- */

size_t played_size(void)
{
    return sizeof(struct played);
}

void played_begin(struct played *played, const struct played_settings *settings, double now_us)
{
    memset(played, 0, sizeof *played);
    strncpy(played->firmware, settings->firmware, PLAYED_FIRMWARE_BYTES - 1);
    struct uj_settings own = {
        .firmware = played->firmware,
        .boot = (uint32_t)settings->boot,
        .udp = (uint16_t)settings->udp,
        .capabilities = {.point_capacity = (uint32_t)settings->point_capacity,
                         .max_step_rate_hz = (uint32_t)settings->max_step_rate_hz,
                         .sensors = {"hall", "temperature", "supply"},
                         .inputs = (uint8_t)settings->inputs,
                         .outputs = (uint8_t)settings->outputs,
                         .idle_current = settings->idle_current != 0},
        .tells_home_sensor = true,
    };
    memcpy(own.id, settings->id, sizeof own.id);
    const struct uj_shell shell = {.context = played, .send = on_send, .close = on_close};
    /* STEP high and low at least 1.9 µs each (TI SLVSA73); DIR 650 ns before and after it (the same, from memory).
     * 1/256 µs. */
    const struct uj_hardware hardware = {.context = played,
                                         .limits = {.high = 487, .low = 487, .setup = 167, .hold = 167},
                                         .step = on_step,
                                         .truth = on_truth,
                                         .read = on_read,
                                         .next_us = on_next_us};
    played->state = UJ_UNHOMED;
    uj_machine_init(&played->machine, &own, settings->key, &shell, &hardware, now_us);
    look(played);
}

void played_moved(struct played *played, const struct played *from)
{
    /* Pointers into the block are wherever the core has them. Each stands at a multiple of its size, and no number that a
     * joint has to do with looks like one: as a double it is below 1e-300, as a time it is beyond every uptime here. */
    uint8_t *const bytes = (uint8_t *)&played->machine;
    const uintptr_t begin = (uintptr_t)from;
    for (size_t at = 0; at + sizeof(uintptr_t) <= sizeof played->machine; at += sizeof(uintptr_t)) {
        uintptr_t word;
        memcpy(&word, bytes + at, sizeof word);
        if (word >= begin && word < begin + sizeof *from) {
            word = (uintptr_t)played + (word - begin);
            memcpy(bytes + at, &word, sizeof word);
        }
    }
}

void played_run(struct played *played, double now_us)
{
    uj_machine_run(&played->machine, now_us);
    look(played);
}

/* Whatever came has been told. */
static void told(struct played *played)
{
    uj_endpoint_poll(&played->machine.endpoint, played->machine.endpoint.joint.now_us);
    uj_machine_told(&played->machine);
    look(played);
}

void played_opened(struct played *played, double now_us, uint32_t connection, uint32_t address)
{
    uj_machine_run(&played->machine, now_us);
    uj_endpoint_opened(&played->machine.endpoint, now_us, connection, address);
    told(played);
}

void played_frame(struct played *played, double now_us, uint32_t connection, int text, const uint8_t *bytes,
                  size_t length, const uint8_t *nonce)
{
    uj_machine_run(&played->machine, now_us);
    uj_endpoint_frame(&played->machine.endpoint, now_us, connection, text != 0, bytes, length, nonce);
    told(played);
}

void played_closed(struct played *played, double now_us, uint32_t connection)
{
    uj_machine_run(&played->machine, now_us);
    uj_endpoint_closed(&played->machine.endpoint, now_us, connection);
    told(played);
}

size_t played_datagram(struct played *played, double now_us, const uint8_t *bytes, size_t length,
                       struct played_answer *answer)
{
    _Static_assert(sizeof(struct uj_reply) <= PLAYED_REPLY_BYTES, "a reply needs more room");
    struct uj_reply reply;
    const double received_us = ceil(now_us);
    uj_machine_run(&played->machine, received_us);
    uj_endpoint_datagram(&played->machine.endpoint, (int64_t)received_us, bytes, length, &reply);
    told(played);
    memcpy(answer->reply, &reply, sizeof reply);
    if (reply.length == UJ_STATUS_DATAGRAM_BYTES) {
        uj_status_write(&reply.status, answer->status);
    }
    return reply.length;
}

size_t played_seal(const struct played *played, const struct played_answer *answer, double now_us, uint8_t *out)
{
    struct uj_reply reply;
    memcpy(&reply, answer->reply, sizeof reply);
    uj_endpoint_seal(&played->machine.endpoint, &reply, (int64_t)floor(now_us), out);
    return reply.length;
}

void played_hall(struct played *played, double now_us, int active)
{
    uj_machine_run(&played->machine, now_us);
    uj_joint_hall(&played->machine.endpoint.joint, now_us, active != 0);
    told(played);
}

void played_inputs(struct played *played, double now_us, int inputs)
{
    uj_machine_run(&played->machine, now_us);
    uj_joint_input(&played->machine.endpoint.joint, now_us, (uint8_t)inputs);
    told(played);
}

void played_sense(struct played *played, double now_us, int temperature_centi_c, int supply_mv, int rssi_dbm)
{
    const int16_t temperature = (int16_t)temperature_centi_c;
    const uint16_t supply = (uint16_t)supply_mv;
    uj_machine_run(&played->machine, now_us);
    uj_joint_sense(&played->machine.endpoint.joint, now_us, temperature_centi_c == INT_MIN ? NULL : &temperature,
                   supply_mv < 0 ? NULL : &supply, (int8_t)rssi_dbm);
    told(played);
}

void played_driver_fault(struct played *played, double now_us)
{
    uj_machine_run(&played->machine, now_us);
    uj_joint_driver(&played->machine.endpoint.joint, now_us, true);
    uj_joint_driver(&played->machine.endpoint.joint, now_us, false);
    told(played);
}

void played_touch(struct played *played, int turn, int presses, int long_presses)
{
    struct uj_touch *touch = &played->machine.endpoint.joint.touch;
    touch->turn = (uint16_t)turn;
    touch->presses = (uint16_t)presses;
    touch->long_presses = (uint16_t)long_presses;
    look(played);
}
