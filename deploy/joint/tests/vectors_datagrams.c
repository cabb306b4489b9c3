/* ntp.json, drive.json, status.json and points.json. */
#include <stdio.h>

#include "drive.h"
#include "points.h"
#include "status.h"
#include "vectors.h"

static uint8_t bytes[VECTORS_LINE_BYTES / 2];

static void ntp(struct uj_json question)
{
    struct uj_ntp_request request;
    uint8_t reply[UJ_PACKET_BYTES];
    vectors_exactly(question, "request", bytes, UJ_PACKET_BYTES);
    if (!uj_ntp_read(bytes, &request)) {
        vectors_tell_code(UJ_REJECT_NTP_MODE);
        return;
    }
    uj_ntp_reply(&request, vectors_integer(question, "receive_us"), vectors_integer(question, "transmit_us"),
                 reply);
    vectors_tell_hex("reply", reply, sizeof reply);
}

static void drive(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    struct uj_ntp_request request;
    struct uj_drive d;
    const size_t length = vectors_bytes(question, "bytes", bytes, sizeof bytes);
    vectors_exactly(question, "key", key, sizeof key);
    const enum uj_reject reject = uj_drive_open(key, bytes, length, &request, &d);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    printf(",\"transmit\":\"%016llx\"", (unsigned long long)request.transmit);
    printf(",\"fields\":{\"session\":\"%016llx\",\"sequence\":%lu", (unsigned long long)d.session,
           (unsigned long)d.sequence);
    vectors_tell_integer("mode", d.mode);
    vectors_tell_integer("flags", d.flags);
    vectors_tell_integer("stop", d.stop);
    vectors_tell_integer("condition", d.condition);
    vectors_tell_integer("output_mask", d.output_mask);
    vectors_tell_integer("output_values", d.output_values);
    vectors_tell_integer("full_current", d.full_current);
    vectors_tell_integer("map_number", d.map.number);
    vectors_tell_integer("map_arm_us", d.map.arm_us);
    vectors_tell_integer("map_joint_us", d.map.joint_us);
    vectors_tell_integer("map_rate_ppb", d.map.rate_ppb);
    vectors_tell_integer("plan_number", d.plan_number);
    vectors_tell_integer("trajectory", d.trajectory);
    vectors_tell_integer("stand_us", d.stand_us);
    vectors_tell_integer("change_at_us", d.change.at_us);
    vectors_tell_integer("change_path_us", d.change.path_us);
    vectors_tell_integer("change_before_ppm", d.change.before_ppm);
    vectors_tell_integer("change_after_ppm", d.change.after_ppm);
    vectors_tell_integer("permit_us", d.permit_us);
    vectors_tell_integer("expiry_us", d.expiry_us);
    vectors_tell_integer("jog_velocity", d.jog_velocity);
    vectors_tell_integer("homing_number", d.homing_number);
    vectors_tell_integer("jog_target", d.jog_target);
    putchar('}');
}

static struct uj_status status_of(struct uj_json fields)
{
    return (struct uj_status){
        .boot = (uint32_t)vectors_integer(fields, "boot"),
        .sequence = (uint32_t)vectors_integer(fields, "sequence"),
        .state = (uint8_t)vectors_integer(fields, "state"),
        .flags = (uint8_t)vectors_integer(fields, "flags"),
        .stop = (uint8_t)vectors_integer(fields, "stop"),
        .reason = (uint8_t)vectors_integer(fields, "reason"),
        .plan = (uint32_t)vectors_integer(fields, "plan"),
        .permit_us = vectors_integer(fields, "permit_us"),
        .map_number = (uint32_t)vectors_integer(fields, "map_number"),
        .remainder_us = (int32_t)vectors_integer(fields, "remainder_us"),
        .position = vectors_integer(fields, "position"),
        .velocity = (int32_t)vectors_integer(fields, "velocity"),
        .path_us = vectors_integer(fields, "path_us"),
        .trajectory = (uint32_t)vectors_integer(fields, "trajectory"),
        .next_index = (uint32_t)vectors_integer(fields, "next_index"),
        .buffered_us = vectors_integer(fields, "buffered_us"),
        .temperature_centi_c = (int16_t)vectors_integer(fields, "temperature_centi_c"),
        .supply_mv = (uint16_t)vectors_integer(fields, "supply_mv"),
        .fan_percent = (uint8_t)vectors_integer(fields, "fan_percent"),
        .rssi_dbm = (int8_t)vectors_integer(fields, "rssi_dbm"),
        .faults = (uint16_t)vectors_integer(fields, "faults"),
        .inputs = (uint8_t)vectors_integer(fields, "inputs"),
        .outputs = (uint8_t)vectors_integer(fields, "outputs"),
        .touch_turn = (int16_t)vectors_integer(fields, "touch_turn"),
        .touch_presses = (uint16_t)vectors_integer(fields, "touch_presses"),
        .touch_long_presses = (uint16_t)vectors_integer(fields, "touch_long_presses"),
        .homing_number = (uint32_t)vectors_integer(fields, "homing_number"),
    };
}

static void status(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    uint8_t datagram[UJ_STATUS_DATAGRAM_BYTES];
    const struct uj_ntp_request request = {4, vectors_u64(question, "origin")};
    const struct uj_status fields = status_of(vectors_member(question, "fields"));
    vectors_exactly(question, "key", key, sizeof key);
    uj_status_seal(key, &request, vectors_integer(question, "receive_us"), vectors_integer(question, "transmit_us"),
                   &fields, datagram);
    vectors_tell_hex("bytes", datagram, sizeof datagram);
}

static void points(struct uj_json question)
{
    struct uj_points frame;
    const size_t length = vectors_bytes(question, "body", bytes, sizeof bytes);
    const enum uj_reject reject = uj_points_open(bytes, length, &frame);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    vectors_tell_integer("trajectory", frame.trajectory);
    vectors_tell_integer("first_index", frame.first_index);
    printf(",\"points\":[");
    for (uint16_t i = 0; i < frame.count; i++) {
        const struct uj_point point = uj_points_at(&frame, i);
        printf("%s{\"time_us\":%lld", i == 0 ? "" : ",", (long long)point.time_us);
        vectors_tell_integer("position", point.position);
        vectors_tell_integer("velocity", point.velocity);
        vectors_tell_integer("flags", point.flags);
        vectors_tell_integer("output_mask", point.output_mask);
        vectors_tell_integer("output_values", point.output_values);
        putchar('}');
    }
    putchar(']');
}

bool vectors_datagrams(struct uj_json ask, struct uj_json question)
{
    if (uj_json_is(ask, "ntp")) {
        ntp(question);
    } else if (uj_json_is(ask, "drive")) {
        drive(question);
    } else if (uj_json_is(ask, "status")) {
        status(question);
    } else if (uj_json_is(ask, "points")) {
        points(question);
    } else {
        return false;
    }
    return true;
}
