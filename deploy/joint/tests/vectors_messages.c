/* stream.json and the openings of handshake.json: what is read is told with every field. */
#include <stdio.h>

#include "messages.h"
#include "update.h"
#include "vectors.h"

static uint8_t bytes[VECTORS_LINE_BYTES / 2];

static void opening(struct uj_json question)
{
    struct uj_opening read;
    const size_t length = vectors_bytes(question, "body", bytes, sizeof bytes);
    const enum uj_reject reject = uj_opening_read(bytes, length, &read);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
    } else if (read.type == UJ_OPENING_HELLO) {
        printf(",\"message\":{\"type\":\"hello\",\"protocol\":%lu", (unsigned long)read.of.hello.protocol);
        vectors_tell_hex("coordinator", read.of.hello.coordinator, UJ_COORDINATOR_ID_BYTES);
        printf(",\"session\":\"%016llx\"", (unsigned long long)read.of.hello.session);
        vectors_tell_hex("nonce", read.of.hello.nonce, UJ_NONCE_BYTES);
        putchar('}');
    } else {
        printf(",\"message\":{\"type\":\"proof\"");
        vectors_tell_hex("proof", read.of.proof, UJ_PROOF_BYTES);
        putchar('}');
    }
}

static void range_end(const char *name, bool there, int64_t value)
{
    if (there) {
        vectors_tell_integer(name, value);
    } else {
        printf(",\"%s\":null", name);
    }
}

static void configuration(const struct uj_configuration *c)
{
    printf(",\"configuration\":{\"name\":\"%s\"", c->name);
    vectors_tell_integer("counts_per_turn", c->counts_per_turn);
    vectors_tell_integer("full_step", c->full_step);
    range_end("range_low", c->has_range, c->range_low);
    range_end("range_high", c->has_range, c->range_high);
    vectors_tell_integer("velocity", c->velocity);
    vectors_tell_integer("acceleration", c->acceleration);
    vectors_tell_integer("jog_unhomed", c->jog_unhomed);
    printf(",\"homing\":{\"direction\":%lld", (long long)c->homing.direction);
    vectors_tell_integer("travel", c->homing.travel);
    vectors_tell_integer("backoff", c->homing.backoff);
    vectors_tell_integer("fast", c->homing.fast);
    vectors_tell_integer("slow", c->homing.slow);
    vectors_tell_integer("home", c->homing.home);
    printf("},\"ramp\":[");
    for (uint32_t i = 0; i < c->ramp_rows; i++) {
        printf("%s[%lld,%lld]", i == 0 ? "" : ",", (long long)c->ramp[i].time_us, (long long)c->ramp[i].rate_ppm);
    }
    putchar(']');
    vectors_tell_integer("temperature_limit_centi_c", c->temperature_limit_centi_c);
    vectors_tell_integer("supply_limit_mv", c->supply_limit_mv);
    vectors_tell_integer("run_current_ma", c->run_current_ma);
    vectors_tell_integer("hold_current_ma", c->hold_current_ma);
    if (c->has_outputs_off) {
        printf(",\"outputs_off\":{\"on_hold\":%lld", (long long)c->outputs_off.on_hold);
        vectors_tell_integer("on_stop", c->outputs_off.on_stop);
        vectors_tell_integer("on_lost", c->outputs_off.on_lost);
        putchar('}');
    } else {
        printf(",\"outputs_off\":null");
    }
    if (c->has_idle_current) {
        printf(",\"idle_current\":{\"after_ms\":%lld", (long long)c->idle_current.after_ms);
        vectors_tell_integer("current_ma", c->idle_current.current_ma);
        putchar('}');
    } else {
        printf(",\"idle_current\":null");
    }
    putchar('}');
}

/* Of a joint that takes images. */
static void update_request(size_t length)
{
    struct uj_update_request read;
    const enum uj_reject reject = uj_update_read(bytes, length, &read);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
    } else if (read.type == UJ_UPDATE_INSTALL) {
        printf(",\"message\":{\"type\":\"install\"}");
    } else {
        printf(",\"message\":{\"type\":\"update\"");
        vectors_tell_hex("header", read.header, sizeof read.header);
        vectors_tell_hex("signature", read.signature, sizeof read.signature);
        putchar('}');
    }
}

static void request(struct uj_json question)
{
    static const char *const TYPES[] = {
        [UJ_REQUEST_CONFIGURE] = "configure", [UJ_REQUEST_PREPARE] = "prepare",
        [UJ_REQUEST_DISCARD] = "discard",     [UJ_REQUEST_CLEAR] = "clear",
        [UJ_REQUEST_BLINK] = "blink",
    };
    static struct uj_request read;
    const size_t length = vectors_bytes(question, "body", bytes, sizeof bytes);
    const enum uj_reject reject = uj_request_read(bytes, length, &read);
    if (reject == UJ_REJECT_MESSAGE_UNKNOWN) {
        update_request(length);
        return;
    }
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    printf(",\"message\":{\"type\":\"%s\"", TYPES[read.type]);
    if (read.type == UJ_REQUEST_CONFIGURE) {
        configuration(&read.of.configuration);
    } else if (read.type == UJ_REQUEST_PREPARE) {
        vectors_tell_integer("trajectory", read.of.trajectory);
    } else if (read.type == UJ_REQUEST_BLINK) {
        vectors_tell_integer("seconds", read.of.seconds);
    }
    putchar('}');
}

static void digest(struct uj_json question)
{
    static struct uj_request read;
    const size_t length = vectors_bytes(question, "body", bytes, sizeof bytes);
    const enum uj_reject reject = uj_request_read(bytes, length, &read);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    vectors_tell_hex("digest", read.digest, sizeof read.digest);
}

bool vectors_messages(struct uj_json ask, struct uj_json question)
{
    if (uj_json_is(ask, "opening")) {
        opening(question);
    } else if (uj_json_is(ask, "request")) {
        request(question);
    } else if (uj_json_is(ask, "digest")) {
        digest(question);
    } else {
        return false;
    }
    return true;
}
