#include "endpoint.h"

#include <math.h>
#include <string.h>

#include "connections.h"
#include "handshake.h"
#include "messages.h"
#include "points.h"
#include "reports.h"
#include "update.h"
#include "websocket.h"

void uj_endpoint_init(struct uj_endpoint *endpoint, const struct uj_settings *settings,
                      const uint8_t arm_key[UJ_KEY_BYTES], const struct uj_shell *shell, double now_us)
{
    memset(endpoint, 0, sizeof *endpoint);
    endpoint->shell = *shell;
    memcpy(endpoint->arm_key, arm_key, UJ_KEY_BYTES);
    uj_joint_init(&endpoint->joint, settings, now_us);
}

/* Sends the events that wait, where somebody is there to read them; else they are kept. */
static void send_events(struct uj_endpoint *endpoint)
{
    struct uj_connection *proven = uj_connections_proven(endpoint);
    struct uj_event event;
    while (proven != NULL && uj_joint_take_event(&endpoint->joint, &event)) {
        uj_connections_send(endpoint, proven,
                            uj_write_event(&event, endpoint->out + UJ_FRAME_HEAD_BYTES, UJ_MAX_BODY_BYTES));
    }
}

static void time_out(struct uj_endpoint *endpoint, double now_us)
{
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        struct uj_connection *connection = &endpoint->connections[i];
        if (connection->open && connection->stage != UJ_STAGE_PROVEN &&
            connection->opened_us + UJ_HANDSHAKE_TIMEOUT_US <= now_us) {
            uj_connections_refuse(endpoint, connection, UJ_REJECT_HANDSHAKE_TIMEOUT);
        }
    }
}

/* Null where the joint was built without what takes images. */
static struct uj_update *update_of(const struct uj_endpoint *endpoint)
{
    return endpoint->joint.settings.update;
}

/* Nothing counts any more that comes: it would be begun, and cut off. */
static bool restarts(const struct uj_endpoint *endpoint)
{
    const struct uj_update *update = update_of(endpoint);
    return update != NULL && update->restarts;
}

void uj_endpoint_poll(struct uj_endpoint *endpoint, double now_us)
{
    struct uj_update *update = update_of(endpoint);
    uj_joint_poll(&endpoint->joint, now_us);
    if (update != NULL) {
        update->poll(update, endpoint->joint.now_us);
    }
    send_events(endpoint);
    time_out(endpoint, now_us);
}

double uj_endpoint_next_deadline(const struct uj_endpoint *endpoint)
{
    const struct uj_update *update = update_of(endpoint);
    double next_us = uj_joint_next_deadline(&endpoint->joint);
    if (update != NULL) {
        next_us = fmin(next_us, update->due_us);
    }
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        const struct uj_connection *connection = &endpoint->connections[i];
        if (connection->open && connection->stage != UJ_STAGE_PROVEN) {
            next_us = fmin(next_us, connection->opened_us + UJ_HANDSHAKE_TIMEOUT_US);
        }
    }
    return next_us;
}

void uj_endpoint_opened(struct uj_endpoint *endpoint, double now_us, uint32_t connection, uint32_t address)
{
    uj_endpoint_poll(endpoint, now_us);
    uj_connections_open(endpoint, now_us, connection, address);
}

void uj_endpoint_closed(struct uj_endpoint *endpoint, double now_us, uint32_t connection)
{
    uj_endpoint_poll(endpoint, now_us);
    struct uj_connection *gone = uj_connections_find(endpoint, connection);
    if (gone != NULL) {
        memset(gone, 0, sizeof *gone);
    }
}

bool uj_endpoint_proven(const struct uj_endpoint *endpoint, uint32_t connection)
{
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        const struct uj_connection *candidate = &endpoint->connections[i];
        if (candidate->open && candidate->number == connection) {
            return candidate->stage == UJ_STAGE_PROVEN;
        }
    }
    return false;
}

static enum uj_reject take_body(struct uj_endpoint *endpoint, double now_us, const struct uj_frame *frame,
                                char sentence[UJ_SENTENCE_BYTES])
{
    sentence[0] = '\0';
    if (frame->body[0] == 1) {
        struct uj_points points;
        const enum uj_reject reject = uj_points_open(frame->body, frame->length, &points);
        return reject != UJ_ACCEPTED ? reject : uj_joint_points(&endpoint->joint, now_us, &points, sentence);
    }
    struct uj_update *update = update_of(endpoint);
    struct uj_request request;
    const enum uj_reject reject = uj_request_read(frame->body, frame->length, &request);
    /* Without a board it has no key that signs: it takes none either, but may be on trial. */
    if (update != NULL && endpoint->joint.settings.capabilities.board != NULL &&
        (reject == UJ_REJECT_MESSAGE_UNKNOWN || frame->body[0] == UJ_IMAGE_KIND)) {
        return update->take(update, &endpoint->joint, frame->body, frame->length);
    }
    return reject != UJ_ACCEPTED ? reject : uj_joint_request(&endpoint->joint, now_us, &request, sentence);
}

/* A frame of the proven stream. */
static void take_frame(struct uj_endpoint *endpoint, double now_us, struct uj_connection *connection, bool text,
                       const uint8_t *bytes, size_t length)
{
    struct uj_frame frame;
    if (text || uj_frame_open(connection->key_in, UJ_TO_JOINT, bytes, length, connection->number_in, &frame) !=
                    UJ_ACCEPTED) {
        uj_connections_close(endpoint, connection, UJ_CLOSE_NORMAL);
        return;
    }
    connection->number_in = frame.number;
    uj_joint_heard(&endpoint->joint, now_us);
    char sentence[UJ_SENTENCE_BYTES];
    const enum uj_reject reject = take_body(endpoint, now_us, &frame, sentence);
    uint8_t *body = endpoint->out + UJ_FRAME_HEAD_BYTES;
    uj_connections_send(endpoint, connection,
                        reject == UJ_ACCEPTED
                            ? uj_write_ack(frame.number, body, UJ_MAX_BODY_BYTES)
                            : uj_write_reject(frame.number, reject, sentence[0] != '\0' ? sentence : NULL, body,
                                              UJ_MAX_BODY_BYTES));
}

void uj_endpoint_frame(struct uj_endpoint *endpoint, double now_us, uint32_t number, bool text, const uint8_t *bytes,
                       size_t length, const uint8_t nonce[UJ_NONCE_BYTES])
{
    uj_endpoint_poll(endpoint, now_us);
    struct uj_connection *connection = uj_connections_find(endpoint, number);
    if (connection == NULL || restarts(endpoint)) {
        return;
    }
    if (connection->stage == UJ_STAGE_PROVEN) {
        take_frame(endpoint, now_us, connection, text, bytes, length);
    } else {
        uj_handshake_take(endpoint, now_us, connection, text, bytes, length, nonce);
    }
    send_events(endpoint);
}

void uj_endpoint_datagram(struct uj_endpoint *endpoint, int64_t received_us, const uint8_t *bytes, size_t length,
                          struct uj_reply *reply)
{
    uj_endpoint_poll(endpoint, (double)received_us);
    reply->length = 0;
    reply->received_us = received_us;
    if (length == UJ_PACKET_BYTES) {
        reply->length = uj_ntp_read(bytes, &reply->request) ? UJ_PACKET_BYTES : 0;
        return;
    }
    struct uj_update *update = update_of(endpoint);
    struct uj_drive drive;
    if (restarts(endpoint) || !endpoint->keyed || length != UJ_DRIVE_DATAGRAM_BYTES ||
        uj_drive_open(endpoint->datagram_key_in, bytes, length, &reply->request, &drive) != UJ_ACCEPTED ||
        !uj_session_drives(&endpoint->joint, &drive)) {
        return;
    }
    if (update != NULL && update->on_trial && !update->confirm(update)) {
        return; /* its answer would be the proof that what runs is to stay */
    }
    (void)uj_joint_drive(&endpoint->joint, (double)received_us, &drive);
    uj_joint_status(&endpoint->joint, &reply->status);
    reply->length = UJ_STATUS_DATAGRAM_BYTES;
    send_events(endpoint);
}

void uj_endpoint_seal(const struct uj_endpoint *endpoint, const struct uj_reply *reply, int64_t sent_us,
                      uint8_t out[UJ_STATUS_DATAGRAM_BYTES])
{
    if (reply->length == UJ_STATUS_DATAGRAM_BYTES) {
        uj_status_seal(endpoint->datagram_key_out, &reply->request, reply->received_us, sent_us, &reply->status, out);
    } else if (reply->length == UJ_PACKET_BYTES) {
        uj_ntp_reply(&reply->request, reply->received_us, sent_us, out);
    }
}

void uj_endpoint_end(struct uj_endpoint *endpoint)
{
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        if (endpoint->connections[i].open) {
            uj_connections_close(endpoint, &endpoint->connections[i], UJ_CLOSE_GOING_AWAY);
        }
    }
}
