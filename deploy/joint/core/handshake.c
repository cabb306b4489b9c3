#include "handshake.h"

#include <string.h>

#include "connections.h"
#include "messages.h"
#include "reports.h"
#include "update.h"
#include "websocket.h"

/* Whether the datagram keys in force are those of the session that the hello names. */
static bool keys_hold(const struct uj_endpoint *endpoint, const struct uj_connection *connection)
{
    return endpoint->keyed && uj_session_is(&endpoint->joint, connection->coordinator, connection->session);
}

/* Whether the welcome still says the truth of them: another handshake may have been finished since. */
static bool keys_as_told(const struct uj_endpoint *endpoint, const struct uj_connection *connection)
{
    const bool hold = keys_hold(endpoint, connection);
    return hold == connection->told_keyed &&
           (!hold || memcmp(endpoint->keyed_by, connection->keyed_by, UJ_NONCE_BYTES) == 0);
}

static void welcome(struct uj_endpoint *endpoint, struct uj_connection *connection)
{
    const struct uj_joint *joint = &endpoint->joint;
    const bool in_force = uj_session_is(joint, connection->coordinator, connection->session);
    struct uj_welcome message = {.firmware = joint->settings.firmware,
                                 .boot = joint->settings.boot,
                                 .udp = joint->settings.udp,
                                 .capabilities = joint->settings.capabilities,
                                 .configuration = joint->configured ? joint->digest : NULL,
                                 .keyed = connection->told_keyed ? connection->keyed_by : NULL,
                                 .trajectory = in_force ? joint->buffer.trajectory : 0,
                                 .next_index = in_force ? uj_buffer_next_index(&joint->buffer) : 0};
    memcpy(message.id, joint->settings.id, UJ_JOINT_ID_BYTES);
    memcpy(message.nonce, connection->nonce, UJ_NONCE_BYTES);
    if (joint->settings.update != NULL) {
        message.image = joint->settings.update->image;
        message.on_trial = joint->settings.update->on_trial;
    }
    uj_proof(endpoint->arm_key, UJ_TO_COORDINATOR, connection->transcript, message.proof);
    const size_t length = uj_write_welcome(&message, endpoint->out, sizeof endpoint->out);
    endpoint->shell.send(endpoint->shell.context, connection->number, true, endpoint->out, length);
}

static enum uj_reject take_hello(struct uj_endpoint *endpoint, struct uj_connection *connection,
                                 const struct uj_hello *hello, const uint8_t nonce[UJ_NONCE_BYTES])
{
    const struct uj_settings *settings = &endpoint->joint.settings;
    if (connection->stage != UJ_STAGE_HELLO) {
        return UJ_REJECT_HANDSHAKE_ORDER;
    }
    if (hello->protocol != UJ_PROTOCOL_VERSION) {
        return UJ_REJECT_PROTOCOL_VERSION;
    }
    struct uj_transcript transcript = {.boot = settings->boot, .session = hello->session};
    memcpy(transcript.coordinator_nonce, hello->nonce, UJ_NONCE_BYTES);
    memcpy(transcript.joint_nonce, nonce, UJ_NONCE_BYTES);
    memcpy(transcript.coordinator_id, hello->coordinator, UJ_COORDINATOR_ID_BYTES);
    memcpy(transcript.joint_id, settings->id, UJ_JOINT_ID_BYTES);
    uj_transcript_bytes(&transcript, connection->transcript);
    memcpy(connection->coordinator, hello->coordinator, UJ_COORDINATOR_ID_BYTES);
    memcpy(connection->nonce, nonce, UJ_NONCE_BYTES);
    connection->session = hello->session;
    connection->told_keyed = keys_hold(endpoint, connection);
    memcpy(connection->keyed_by, endpoint->keyed_by, UJ_NONCE_BYTES);
    connection->stage = UJ_STAGE_PROOF;
    welcome(endpoint, connection);
    return UJ_ACCEPTED;
}

/* The keys that the proven handshake gives. Those of datagrams belong to the session: only its first gives them. */
static void take_keys(struct uj_endpoint *endpoint, struct uj_connection *connection, bool fresh)
{
    const uint8_t *key = endpoint->arm_key;
    const uint8_t *transcript = connection->transcript;
    uj_session_key(key, UJ_CHANNEL_STREAM, UJ_TO_JOINT, transcript, connection->key_in);
    uj_session_key(key, UJ_CHANNEL_STREAM, UJ_TO_COORDINATOR, transcript, connection->key_out);
    if (fresh) {
        uj_session_key(key, UJ_CHANNEL_DATAGRAMS, UJ_TO_JOINT, transcript, endpoint->datagram_key_in);
        uj_session_key(key, UJ_CHANNEL_DATAGRAMS, UJ_TO_COORDINATOR, transcript, endpoint->datagram_key_out);
        memcpy(endpoint->keyed_by, connection->nonce, UJ_NONCE_BYTES);
        endpoint->keyed = true;
    }
}

static enum uj_reject take_proof(struct uj_endpoint *endpoint, double now_us, struct uj_connection *connection,
                                 const uint8_t proof[UJ_PROOF_BYTES])
{
    if (connection->stage != UJ_STAGE_PROOF) {
        return UJ_REJECT_HANDSHAKE_ORDER;
    }
    uint8_t wanted[UJ_PROOF_BYTES];
    uj_proof(endpoint->arm_key, UJ_TO_JOINT, connection->transcript, wanted);
    if (!uj_same(wanted, proof, UJ_PROOF_BYTES)) {
        return UJ_REJECT_PROOF_WRONG;
    }
    struct uj_joint *joint = &endpoint->joint;
    enum uj_reject reject = uj_session_judge(joint, connection->coordinator, connection->session);
    if (reject == UJ_ACCEPTED && !keys_as_told(endpoint, connection)) {
        reject = UJ_REJECT_HANDSHAKE_ORDER;
    }
    if (reject != UJ_ACCEPTED) {
        return reject;
    }
    const bool fresh = uj_joint_session(joint, now_us, connection->coordinator, connection->session);
    struct uj_connection *older = uj_connections_proven(endpoint);
    if (older != NULL) {
        uj_connections_close(endpoint, older, UJ_CLOSE_NORMAL);
    }
    connection->stage = UJ_STAGE_PROVEN;
    take_keys(endpoint, connection, fresh);
    uj_connections_send(endpoint, connection,
                        uj_write_ack(0, endpoint->out + UJ_FRAME_HEAD_BYTES, UJ_MAX_BODY_BYTES));
    return UJ_ACCEPTED;
}

static enum uj_reject take(struct uj_endpoint *endpoint, double now_us, struct uj_connection *connection, bool text,
                           const uint8_t *bytes, size_t length, const uint8_t nonce[UJ_NONCE_BYTES])
{
    struct uj_opening opening;
    if (!text) {
        return UJ_REJECT_HANDSHAKE_ORDER;
    }
    const enum uj_reject reject = uj_opening_read(bytes, length, &opening);
    if (reject != UJ_ACCEPTED) {
        return reject;
    }
    return opening.type == UJ_OPENING_HELLO
               ? take_hello(endpoint, connection, &opening.of.hello, nonce)
               : take_proof(endpoint, now_us, connection, opening.of.proof);
}

void uj_handshake_take(struct uj_endpoint *endpoint, double now_us, struct uj_connection *connection, bool text,
                       const uint8_t *bytes, size_t length, const uint8_t nonce[UJ_NONCE_BYTES])
{
    if (length > UJ_MAX_OPENING_BYTES) {
        uj_connections_close(endpoint, connection, UJ_CLOSE_TOO_LARGE);
        return;
    }
    const enum uj_reject reject = take(endpoint, now_us, connection, text, bytes, length, nonce);
    if (reject != UJ_ACCEPTED) {
        uj_connections_refuse(endpoint, connection, reject);
    }
}
