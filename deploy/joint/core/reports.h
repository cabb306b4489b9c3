/* Messages from the joint, written as JSON: protocol/README.md, "Messages".
 *
 * Every writer puts one message at `out` and returns its length in bytes, without a terminator; 0 where `space`
 * is too small (the largest needs less than UJ_MAX_BODY_BYTES, so never with that much). Texts are ASCII; a
 * character that is not is written as '?', and what passes a text's limit is cut off. */
#ifndef UJ_REPORTS_H
#define UJ_REPORTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "keys.h"
#include "rejects.h"

#define UJ_MAX_SENSORS 8
#define UJ_MAX_EDGES 32
#define UJ_SENTENCE_BYTES 160 /* with the 0 at its end; the wire has room for 200 characters */

struct uj_capabilities {
    uint32_t point_capacity;   /* 16 to 2^31 - 1 */
    uint32_t max_step_rate_hz; /* microsteps per second, 1 to 2^31 - 1 */
    const char *sensors[UJ_MAX_SENSORS]; /* such as "hall", 16 characters at most; the first null ends them */
    uint8_t inputs;            /* 0 to 8 */
    uint8_t outputs;           /* 0 to 8 */
    bool idle_current;
    const char *board;         /* that images for it are for, 16 characters at most; null where it takes none */
    uint32_t image_capacity;   /* bytes of the largest image; 0 where it takes none */
};

struct uj_welcome {
    uint8_t id[UJ_JOINT_ID_BYTES];
    const char *firmware; /* 32 characters at most */
    uint32_t boot;        /* never 0 */
    uint8_t nonce[UJ_NONCE_BYTES];
    uint8_t proof[UJ_PROOF_BYTES];
    uint16_t udp;
    struct uj_capabilities capabilities;
    const uint8_t *configuration; /* digest of the one in force, 32 bytes; null for none */
    const uint8_t *keyed; /* the joint's nonce of the handshake that the datagram keys come from, 32 bytes; or null */
    uint32_t trajectory;
    uint32_t next_index;
    const uint8_t *image; /* SHA-256 of the one that runs; null where it did not come by an update */
    bool on_trial;
};

/* The edges that a homing has met: the first UJ_MAX_EDGES of them, in their order. */
struct uj_edge_list {
    uint8_t count;
    uint32_t rising; /* one bit each, that of the first lowest */
    uint32_t fast;   /* the same */
    int64_t position[UJ_MAX_EDGES]; /* counts, before the shift */
};

enum uj_event_type {
    UJ_EVENT_HOMED,
    UJ_EVENT_HOMING_FAILED,
    UJ_EVENT_STARTED,
    UJ_EVENT_FINISHED,
    UJ_EVENT_HELD,
    UJ_EVENT_STOPPED,
    UJ_EVENT_FAULT,
    UJ_EVENT_UPDATE
};

/* One event. Times are µs: at_us, permission_us, start_us joint time, path_us and ramp_began_us path time. */
struct uj_event {
    enum uj_event_type type;
    union {
        struct {
            int64_t at_us;
            uint32_t homing_number;
            int64_t middle; /* counts, before the shift */
            int64_t shift;
            bool has_lost;
            int64_t lost;
            const struct uj_edge_list *edges; /* the joint's own: good until the homing after the next begins */
        } homed;
        struct {
            int64_t at_us;
            uint32_t homing_number;
            char message[UJ_SENTENCE_BYTES];
            const struct uj_edge_list *edges;
        } homing_failed;
        struct {
            uint32_t trajectory;
            uint32_t plan;
            int64_t path_us;
            int64_t permission_us;
            int64_t start_us;
        } started;
        struct {
            uint32_t trajectory;
            int64_t at_us;
            int64_t position;
        } finished;
        struct {
            uint32_t trajectory;
            int64_t at_us;
            int64_t path_us;
            int64_t ramp_began_us;
            const char *cause; /* "permit", "withdrawn", "late", "silence", "expiry" or "clock" */
        } held;
        struct {
            int64_t at_us;
            uint8_t level; /* enum uj_stop */
            int64_t position;
        } stopped;
        struct {
            int64_t at_us;
            uint8_t fault; /* one bit of UJ_FAULT_… */
            char message[UJ_SENTENCE_BYTES];
        } fault;
        struct {
            uint8_t image[UJ_SHA256_BYTES];
            uint32_t received; /* bytes of it that are kept */
        } update;
    } of;
};

/* The name of one bit of UJ_FAULT_… in `event-fault`; empty for anything else. */
const char *uj_fault_name(unsigned fault);

/* Adds an edge, unless the list is full. */
void uj_edge_list_add(struct uj_edge_list *list, int64_t position, bool rising, bool fast);

/* Takes the last one out again; there is one. */
void uj_edge_list_drop(struct uj_edge_list *list);

size_t uj_write_welcome(const struct uj_welcome *welcome, uint8_t *out, size_t space);

/* `ref` is the frame's number, 0 for the proof. */
size_t uj_write_ack(uint64_t ref, uint8_t *out, size_t space);

/* `message` null: the code's own sentence. */
size_t uj_write_reject(uint64_t ref, enum uj_reject reject, const char *message, uint8_t *out, size_t space);

size_t uj_write_event(const struct uj_event *event, uint8_t *out, size_t space);

#endif
