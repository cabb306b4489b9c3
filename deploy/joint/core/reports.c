#include "reports.h"

#include <string.h>

#include "json_write.h"
#include "status.h"

#define CODE_CHARACTERS 32
#define SENTENCE_CHARACTERS 200
#define SENSOR_CHARACTERS 16
#define BOARD_CHARACTERS 16

const char *uj_fault_name(unsigned fault)
{
    switch (fault) {
    case UJ_FAULT_OVER_TEMPERATURE:
        return "over-temperature";
    case UJ_FAULT_DRIVER:
        return "driver";
    case UJ_FAULT_HALL_SENSOR:
        return "hall-sensor";
    case UJ_FAULT_STEPS_LOST:
        return "steps-lost";
    case UJ_FAULT_TEMPERATURE_SENSOR:
        return "temperature-sensor";
    case UJ_FAULT_SUPPLY_LOW:
        return "supply-low";
    default:
        return "";
    }
}

static void begin(struct uj_writer *writer, const char *type, uint8_t *out, size_t space)
{
    uj_writer_begin(writer, out, space);
    uj_write_open(writer, '{');
    uj_write_key(writer, "type");
    uj_write_text(writer, type, CODE_CHARACTERS);
}

static size_t end(struct uj_writer *writer)
{
    uj_write_close(writer, '}');
    return uj_writer_end(writer);
}

static void member(struct uj_writer *writer, const char *key, int64_t value)
{
    uj_write_key(writer, key);
    uj_write_integer(writer, value);
}

static void text(struct uj_writer *writer, const char *key, const char *value, size_t limit)
{
    uj_write_key(writer, key);
    uj_write_text(writer, value, limit);
}

static void hex(struct uj_writer *writer, const char *key, const uint8_t *bytes, size_t count)
{
    uj_write_key(writer, key);
    uj_write_hex(writer, bytes, count);
}

static void null(struct uj_writer *writer, const char *key)
{
    uj_write_key(writer, key);
    uj_write_null(writer);
}

static void flag(struct uj_writer *writer, const char *key, bool value)
{
    uj_write_key(writer, key);
    uj_write_bool(writer, value);
}

/* 32 bytes, or null for none. */
static void digest_or_null(struct uj_writer *writer, const char *key, const uint8_t *bytes)
{
    if (bytes != NULL) {
        hex(writer, key, bytes, UJ_SHA256_BYTES);
    } else {
        null(writer, key);
    }
}

static void capabilities(struct uj_writer *writer, const struct uj_capabilities *values)
{
    uj_write_key(writer, "capabilities");
    uj_write_open(writer, '{');
    member(writer, "point_capacity", values->point_capacity);
    member(writer, "max_step_rate_hz", values->max_step_rate_hz);
    uj_write_key(writer, "sensors");
    uj_write_open(writer, '[');
    for (size_t i = 0; i < UJ_MAX_SENSORS && values->sensors[i] != NULL; i++) {
        uj_write_text(writer, values->sensors[i], SENSOR_CHARACTERS);
    }
    uj_write_close(writer, ']');
    member(writer, "inputs", values->inputs);
    member(writer, "outputs", values->outputs);
    flag(writer, "idle_current", values->idle_current);
    if (values->board != NULL) {
        text(writer, "board", values->board, BOARD_CHARACTERS);
    } else {
        null(writer, "board");
    }
    member(writer, "image_capacity", values->image_capacity);
    uj_write_close(writer, '}');
}

size_t uj_write_welcome(const struct uj_welcome *welcome, uint8_t *out, size_t space)
{
    struct uj_writer writer;
    begin(&writer, "welcome", out, space);
    hex(&writer, "id", welcome->id, UJ_JOINT_ID_BYTES);
    text(&writer, "firmware", welcome->firmware, 32);
    member(&writer, "boot", welcome->boot);
    hex(&writer, "nonce", welcome->nonce, UJ_NONCE_BYTES);
    hex(&writer, "proof", welcome->proof, UJ_PROOF_BYTES);
    member(&writer, "udp", welcome->udp);
    capabilities(&writer, &welcome->capabilities);
    digest_or_null(&writer, "configuration", welcome->configuration);
    digest_or_null(&writer, "keyed", welcome->keyed);
    member(&writer, "trajectory", welcome->trajectory);
    member(&writer, "next_index", welcome->next_index);
    digest_or_null(&writer, "image", welcome->image);
    flag(&writer, "on_trial", welcome->on_trial);
    return end(&writer);
}

size_t uj_write_ack(uint64_t ref, uint8_t *out, size_t space)
{
    struct uj_writer writer;
    begin(&writer, "ack", out, space);
    member(&writer, "ref", (int64_t)ref);
    return end(&writer);
}

size_t uj_write_reject(uint64_t ref, enum uj_reject reject, const char *message, uint8_t *out, size_t space)
{
    struct uj_writer writer;
    begin(&writer, "reject", out, space);
    member(&writer, "ref", (int64_t)ref);
    text(&writer, "code", uj_reject_name(reject), CODE_CHARACTERS);
    text(&writer, "message", message != NULL ? message : uj_reject_sentence(reject), SENTENCE_CHARACTERS);
    return end(&writer);
}

void uj_edge_list_add(struct uj_edge_list *list, int64_t position, bool rising, bool fast)
{
    if (list->count < UJ_MAX_EDGES) {
        list->position[list->count] = position;
        list->rising |= (uint32_t)rising << list->count;
        list->fast |= (uint32_t)fast << list->count;
        list->count++;
    }
}

void uj_edge_list_drop(struct uj_edge_list *list)
{
    list->count--;
    list->rising &= ~((uint32_t)1 << list->count);
    list->fast &= ~((uint32_t)1 << list->count);
}

static void edges(struct uj_writer *writer, const struct uj_edge_list *met)
{
    uj_write_key(writer, "edges");
    uj_write_open(writer, '[');
    for (unsigned i = 0; i < met->count && i < UJ_MAX_EDGES; i++) {
        uj_write_open(writer, '{');
        member(writer, "position", met->position[i]);
        flag(writer, "rising", (met->rising >> i & 1) != 0);
        flag(writer, "fast", (met->fast >> i & 1) != 0);
        uj_write_close(writer, '}');
    }
    uj_write_close(writer, ']');
}

/* A joint time or path time that passes 2^53 - 1 does not come up in a lifetime of 285 years. */
size_t uj_write_event(const struct uj_event *event, uint8_t *out, size_t space)
{
    static const char *const NAMES[] = {
        [UJ_EVENT_HOMED] = "homed",       [UJ_EVENT_HOMING_FAILED] = "homing-failed",
        [UJ_EVENT_STARTED] = "started",   [UJ_EVENT_FINISHED] = "finished",
        [UJ_EVENT_HELD] = "held",         [UJ_EVENT_STOPPED] = "stopped",
        [UJ_EVENT_FAULT] = "fault",       [UJ_EVENT_UPDATE] = "update",
    };
    struct uj_writer writer;
    begin(&writer, "event", out, space);
    text(&writer, "event", NAMES[event->type], CODE_CHARACTERS);
    switch (event->type) {
    case UJ_EVENT_HOMED:
        member(&writer, "at_us", event->of.homed.at_us);
        member(&writer, "homing_number", event->of.homed.homing_number);
        edges(&writer, event->of.homed.edges);
        member(&writer, "middle", event->of.homed.middle);
        member(&writer, "shift", event->of.homed.shift);
        if (event->of.homed.has_lost) {
            member(&writer, "lost", event->of.homed.lost);
        } else {
            null(&writer, "lost");
        }
        break;
    case UJ_EVENT_HOMING_FAILED:
        member(&writer, "at_us", event->of.homing_failed.at_us);
        member(&writer, "homing_number", event->of.homing_failed.homing_number);
        text(&writer, "message", event->of.homing_failed.message, UJ_SENTENCE_BYTES);
        edges(&writer, event->of.homing_failed.edges);
        break;
    case UJ_EVENT_STARTED:
        member(&writer, "trajectory", event->of.started.trajectory);
        member(&writer, "plan", event->of.started.plan);
        member(&writer, "path_us", event->of.started.path_us);
        member(&writer, "permission_us", event->of.started.permission_us);
        member(&writer, "start_us", event->of.started.start_us);
        break;
    case UJ_EVENT_FINISHED:
        member(&writer, "trajectory", event->of.finished.trajectory);
        member(&writer, "at_us", event->of.finished.at_us);
        member(&writer, "position", event->of.finished.position);
        break;
    case UJ_EVENT_HELD:
        member(&writer, "trajectory", event->of.held.trajectory);
        member(&writer, "at_us", event->of.held.at_us);
        member(&writer, "path_us", event->of.held.path_us);
        member(&writer, "ramp_began_us", event->of.held.ramp_began_us);
        text(&writer, "cause", event->of.held.cause, CODE_CHARACTERS);
        break;
    case UJ_EVENT_STOPPED:
        member(&writer, "at_us", event->of.stopped.at_us);
        member(&writer, "level", event->of.stopped.level);
        member(&writer, "position", event->of.stopped.position);
        break;
    case UJ_EVENT_FAULT:
        member(&writer, "at_us", event->of.fault.at_us);
        text(&writer, "fault", uj_fault_name(event->of.fault.fault), CODE_CHARACTERS);
        text(&writer, "message", event->of.fault.message, UJ_SENTENCE_BYTES);
        break;
    case UJ_EVENT_UPDATE:
        hex(&writer, "image", event->of.update.image, UJ_SHA256_BYTES);
        member(&writer, "received", event->of.update.received);
        break;
    }
    return end(&writer);
}
