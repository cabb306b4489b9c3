/* stream.json and the welcome of handshake.json: what the joint says, made of its fields. */
#include <stdio.h>
#include <string.h>

#include "frames.h"
#include "reports.h"
#include "status.h"
#include "vectors.h"

static uint8_t out[UJ_MAX_BODY_BYTES];

static void copy_text(struct uj_json object, const char *name, char *text, size_t space)
{
    const char *characters = NULL;
    size_t length = 0;
    if (!uj_json_string(vectors_member(object, name), &characters, &length) || length >= space) {
        vectors_give_up("no text, or longer than this joint writes", name);
    }
    memcpy(text, characters, length);
    text[length] = '\0';
}

static bool is_true(struct uj_json object, const char *name)
{
    return vectors_member(object, name).text[0] == 't';
}

/* 32 bytes; null for null. */
static const uint8_t *digest_or_null(struct uj_json object, const char *name, uint8_t bytes[UJ_SHA256_BYTES])
{
    if (uj_json_is_null(vectors_member(object, name))) {
        return NULL;
    }
    vectors_exactly(object, name, bytes, UJ_SHA256_BYTES);
    return bytes;
}

static size_t welcome(struct uj_json message)
{
    static char firmware[33];
    static char sensors[UJ_MAX_SENSORS][17];
    static char board[17];
    uint8_t configuration[UJ_SHA256_BYTES], keyed[UJ_SHA256_BYTES], image[UJ_SHA256_BYTES];
    const struct uj_json capabilities = vectors_member(message, "capabilities");
    struct uj_welcome w = {
        .firmware = firmware,
        .boot = (uint32_t)vectors_integer(message, "boot"),
        .udp = (uint16_t)vectors_integer(message, "udp"),
        .trajectory = (uint32_t)vectors_integer(message, "trajectory"),
        .next_index = (uint32_t)vectors_integer(message, "next_index"),
        .configuration = digest_or_null(message, "configuration", configuration),
        .keyed = digest_or_null(message, "keyed", keyed),
        .image = digest_or_null(message, "image", image),
        .on_trial = is_true(message, "on_trial"),
        .capabilities =
            {
                .point_capacity = (uint32_t)vectors_integer(capabilities, "point_capacity"),
                .max_step_rate_hz = (uint32_t)vectors_integer(capabilities, "max_step_rate_hz"),
                .inputs = (uint8_t)vectors_integer(capabilities, "inputs"),
                .outputs = (uint8_t)vectors_integer(capabilities, "outputs"),
                .idle_current = is_true(capabilities, "idle_current"),
                .image_capacity = (uint32_t)vectors_integer(capabilities, "image_capacity"),
            },
    };
    struct uj_json key;
    struct uj_json sensor;
    size_t count = 0;
    copy_text(message, "firmware", firmware, sizeof firmware);
    vectors_exactly(message, "id", w.id, sizeof w.id);
    vectors_exactly(message, "nonce", w.nonce, sizeof w.nonce);
    vectors_exactly(message, "proof", w.proof, sizeof w.proof);
    for (size_t at = 0; uj_json_next(vectors_member(capabilities, "sensors"), &at, &key, &sensor); count++) {
        if (count == UJ_MAX_SENSORS || sensor.length - 2 > 16) {
            vectors_give_up("more or longer ones than a joint has", "sensors");
            break;
        }
        memcpy(sensors[count], sensor.text + 1, sensor.length - 2);
        sensors[count][sensor.length - 2] = '\0';
        w.capabilities.sensors[count] = sensors[count];
    }
    if (!uj_json_is_null(vectors_member(capabilities, "board"))) {
        copy_text(capabilities, "board", board, sizeof board);
        w.capabilities.board = board;
    }
    return uj_write_welcome(&w, out, sizeof out);
}

static size_t reject(struct uj_json message)
{
    char sentence[201];
    copy_text(message, "message", sentence, sizeof sentence);
    for (int i = 1; i < UJ_REJECT_COUNT; i++) {
        if (uj_json_is(vectors_member(message, "code"), uj_reject_name((enum uj_reject)i))) {
            return uj_write_reject((uint64_t)vectors_integer(message, "ref"), (enum uj_reject)i, sentence, out,
                                   sizeof out);
        }
    }
    vectors_give_up("no code of this joint", "code");
    return 0;
}

static const struct uj_edge_list *edges(struct uj_json message)
{
    static struct uj_edge_list met;
    struct uj_json key;
    struct uj_json edge;
    memset(&met, 0, sizeof met);
    for (size_t at = 0; uj_json_next(vectors_member(message, "edges"), &at, &key, &edge);) {
        if (met.count == UJ_MAX_EDGES) {
            vectors_give_up("more than 32", "edges");
            break;
        }
        uj_edge_list_add(&met, vectors_integer(edge, "position"), is_true(edge, "rising"), is_true(edge, "fast"));
    }
    return &met;
}

static size_t event(struct uj_json message)
{
    static struct uj_event e;
    static char cause[33];
    const struct uj_json name = vectors_member(message, "event");
    memset(&e, 0, sizeof e);
    if (uj_json_is(name, "homed")) {
        e.type = UJ_EVENT_HOMED;
        e.of.homed.at_us = vectors_integer(message, "at_us");
        e.of.homed.homing_number = (uint32_t)vectors_integer(message, "homing_number");
        e.of.homed.middle = vectors_integer(message, "middle");
        e.of.homed.shift = vectors_integer(message, "shift");
        e.of.homed.has_lost = !uj_json_is_null(vectors_member(message, "lost"));
        e.of.homed.lost = e.of.homed.has_lost ? vectors_integer(message, "lost") : 0;
        e.of.homed.edges = edges(message);
    } else if (uj_json_is(name, "homing-failed")) {
        e.type = UJ_EVENT_HOMING_FAILED;
        e.of.homing_failed.at_us = vectors_integer(message, "at_us");
        e.of.homing_failed.homing_number = (uint32_t)vectors_integer(message, "homing_number");
        e.of.homing_failed.edges = edges(message);
        copy_text(message, "message", e.of.homing_failed.message, sizeof e.of.homing_failed.message);
    } else if (uj_json_is(name, "started")) {
        e.type = UJ_EVENT_STARTED;
        e.of.started.trajectory = (uint32_t)vectors_integer(message, "trajectory");
        e.of.started.plan = (uint32_t)vectors_integer(message, "plan");
        e.of.started.path_us = vectors_integer(message, "path_us");
        e.of.started.permission_us = vectors_integer(message, "permission_us");
        e.of.started.start_us = vectors_integer(message, "start_us");
    } else if (uj_json_is(name, "finished")) {
        e.type = UJ_EVENT_FINISHED;
        e.of.finished.trajectory = (uint32_t)vectors_integer(message, "trajectory");
        e.of.finished.at_us = vectors_integer(message, "at_us");
        e.of.finished.position = vectors_integer(message, "position");
    } else if (uj_json_is(name, "held")) {
        e.type = UJ_EVENT_HELD;
        e.of.held.trajectory = (uint32_t)vectors_integer(message, "trajectory");
        e.of.held.at_us = vectors_integer(message, "at_us");
        e.of.held.path_us = vectors_integer(message, "path_us");
        e.of.held.ramp_began_us = vectors_integer(message, "ramp_began_us");
        copy_text(message, "cause", cause, sizeof cause);
        e.of.held.cause = cause;
    } else if (uj_json_is(name, "stopped")) {
        e.type = UJ_EVENT_STOPPED;
        e.of.stopped.at_us = vectors_integer(message, "at_us");
        e.of.stopped.level = (uint8_t)vectors_integer(message, "level");
        e.of.stopped.position = vectors_integer(message, "position");
    } else if (uj_json_is(name, "fault")) {
        e.type = UJ_EVENT_FAULT;
        e.of.fault.at_us = vectors_integer(message, "at_us");
        copy_text(message, "message", e.of.fault.message, sizeof e.of.fault.message);
        for (unsigned bit = 0; bit < 8; bit++) {
            if (uj_json_is(vectors_member(message, "fault"), uj_fault_name(1u << bit))) {
                e.of.fault.fault = (uint8_t)(1u << bit);
            }
        }
    } else if (uj_json_is(name, "update")) {
        e.type = UJ_EVENT_UPDATE;
        vectors_exactly(message, "image", e.of.update.image, sizeof e.of.update.image);
        e.of.update.received = (uint32_t)vectors_integer(message, "received");
    } else {
        vectors_give_up("no event of this joint", "event");
    }
    return uj_write_event(&e, out, sizeof out);
}

bool vectors_reports(struct uj_json ask, struct uj_json question)
{
    if (!uj_json_is(ask, "report")) {
        return false;
    }
    const struct uj_json message = vectors_member(question, "message");
    const struct uj_json type = vectors_member(message, "type");
    size_t length = 0;
    if (uj_json_is(type, "welcome")) {
        length = welcome(message);
    } else if (uj_json_is(type, "ack")) {
        length = uj_write_ack((uint64_t)vectors_integer(message, "ref"), out, sizeof out);
    } else if (uj_json_is(type, "reject")) {
        length = reject(message);
    } else if (uj_json_is(type, "event")) {
        length = event(message);
    } else {
        vectors_give_up("no message of this joint", "type");
    }
    vectors_tell_hex("body", out, length);
    return true;
}
