/* keys.json, handshake.json, and frames as such. */
#include <stdio.h>

#include "frames.h"
#include "keys.h"
#include "vectors.h"

static uint8_t bytes[VECTORS_LINE_BYTES / 2];

static enum uj_direction direction_of(struct uj_json question)
{
    return vectors_integer(question, "direction") == 0 ? UJ_TO_JOINT : UJ_TO_COORDINATOR;
}

static void key_file(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    const size_t length = vectors_bytes(question, "text", bytes, sizeof bytes);
    if (!uj_key_file((const char *)bytes, length, key)) {
        vectors_give_up("no key file", "text");
    }
    vectors_tell_hex("key", key, sizeof key);
}

static void tag(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    uint8_t made[UJ_TAG_BYTES];
    const struct uj_piece message = {bytes, vectors_bytes(question, "message", bytes, sizeof bytes)};
    vectors_exactly(question, "key", key, sizeof key);
    uj_tag(key, direction_of(question), (enum uj_channel)vectors_integer(question, "channel"), &message, 1, made);
    vectors_tell_hex("tag", made, sizeof made);
}

static void hkdf(struct uj_json question)
{
    static uint8_t key[1024];
    static uint8_t salt[1024];
    static uint8_t output[1024];
    const size_t salt_length = vectors_bytes(question, "salt", salt, sizeof salt);
    const struct uj_piece info = {bytes, vectors_bytes(question, "info", bytes, sizeof bytes)};
    const int64_t length = vectors_integer(question, "length");
    if (length < 0 || length > (int64_t)sizeof output) {
        vectors_give_up("more than this program has memory for", "length");
    }
    const size_t key_length = vectors_bytes(question, "key", key, sizeof key);
    uj_crypto_hkdf(key, key_length, salt, salt_length, &info, 1, output, (size_t)length);
    vectors_tell_hex("output", output, (size_t)length);
}

static void transcript(struct uj_json question)
{
    struct uj_transcript fields;
    uint8_t made[UJ_TRANSCRIPT_BYTES];
    vectors_exactly(question, "coordinator_nonce", fields.coordinator_nonce, sizeof fields.coordinator_nonce);
    vectors_exactly(question, "joint_nonce", fields.joint_nonce, sizeof fields.joint_nonce);
    vectors_exactly(question, "coordinator_id", fields.coordinator_id, sizeof fields.coordinator_id);
    vectors_exactly(question, "joint_id", fields.joint_id, sizeof fields.joint_id);
    fields.boot = (uint32_t)vectors_integer(question, "boot");
    fields.session = vectors_u64(question, "session");
    uj_transcript_bytes(&fields, made);
    vectors_tell_hex("transcript", made, sizeof made);
}

static void proof(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    uint8_t made[UJ_PROOF_BYTES];
    vectors_exactly(question, "arm_key", key, sizeof key);
    vectors_exactly(question, "transcript", bytes, UJ_TRANSCRIPT_BYTES);
    uj_proof(key, direction_of(question), bytes, made);
    vectors_tell_hex("proof", made, sizeof made);
}

static void session_key(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    uint8_t made[UJ_KEY_BYTES];
    vectors_exactly(question, "arm_key", key, sizeof key);
    vectors_exactly(question, "transcript", bytes, UJ_TRANSCRIPT_BYTES);
    uj_session_key(key, (enum uj_channel)vectors_integer(question, "channel"), direction_of(question), bytes, made);
    vectors_tell_hex("key", made, sizeof made);
}

static void frame_open(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    struct uj_frame frame;
    const size_t length = vectors_bytes(question, "frame", bytes, sizeof bytes);
    vectors_exactly(question, "key", key, sizeof key);
    const enum uj_reject reject = uj_frame_open(key, direction_of(question), bytes, length, 0, &frame);
    if (reject != UJ_ACCEPTED) {
        vectors_tell_code(reject);
        return;
    }
    vectors_tell_integer("number", (int64_t)frame.number);
    vectors_tell_hex("body", frame.body, frame.length);
}

static void frame_seal(struct uj_json question)
{
    uint8_t key[UJ_KEY_BYTES];
    const size_t length = vectors_bytes(question, "body", bytes + UJ_FRAME_HEAD_BYTES, UJ_MAX_BODY_BYTES);
    vectors_exactly(question, "key", key, sizeof key);
    uj_frame_seal(key, direction_of(question), (uint64_t)vectors_integer(question, "number"), bytes, length);
    vectors_tell_hex("frame", bytes, UJ_FRAME_HEAD_BYTES + length);
}

bool vectors_keys(struct uj_json ask, struct uj_json question)
{
    static const struct {
        const char *ask;
        void (*answer)(struct uj_json question);
    } KNOWN[] = {
        {"key-file", key_file},   {"tag", tag},
        {"hkdf", hkdf},           {"transcript", transcript},
        {"proof", proof},         {"session-key", session_key},
        {"frame-open", frame_open}, {"frame-seal", frame_seal},
    };
    for (size_t i = 0; i < sizeof KNOWN / sizeof KNOWN[0]; i++) {
        if (uj_json_is(ask, KNOWN[i].ask)) {
            KNOWN[i].answer(question);
            return true;
        }
    }
    return false;
}
