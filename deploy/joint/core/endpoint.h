/* A joint at the level of bytes: connections, handshake, frames and datagrams go in; what to send and to close
 * comes out. It asks no socket and no clock: the shell hands over whole WebSocket messages and datagrams with the
 * time at which they came, and random bytes where they are needed.
 *
 * Readings go to the joint itself, &endpoint->joint, by joint.h; call uj_endpoint_poll afterwards, which sends the
 * events that came of them. */
#ifndef UJ_ENDPOINT_H
#define UJ_ENDPOINT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "frames.h"
#include "joint.h"
#include "keys.h"
#include "ntp.h"

#define UJ_CONNECTIONS 3 /* the proven one, and 2 that have proved nothing */
#define UJ_UNPROVEN_CONNECTIONS 2

/* What the shell does for the endpoint, within its calls. It must not call the endpoint from here. */
struct uj_shell {
    void *context;
    /* Sends one WebSocket message, text or binary. Where the connection is not open yet, or is gone: nothing. */
    void (*send)(void *context, uint32_t connection, bool text, const uint8_t *bytes, size_t length);
    /* Ends a connection with a close frame of this code (enum uj_close), after what was sent. The endpoint knows it
     * no longer. */
    void (*close)(void *context, uint32_t connection, unsigned code);
};

enum uj_stage { UJ_STAGE_HELLO, UJ_STAGE_PROOF, UJ_STAGE_PROVEN };

struct uj_connection {
    bool open;
    uint32_t number;         /* the shell's name for it */
    uint32_t address;        /* the IPv4 address it comes from */
    double opened_us;        /* joint time of the TCP connection */
    uint64_t order;          /* which connection since boot it is */
    enum uj_stage stage;     /* what has been there, or is expected next */
    bool told_keyed;         /* its welcome told whose datagram keys are in force */
    uint8_t keyed_by[UJ_NONCE_BYTES]; /* what it told */
    uint64_t session;
    uint8_t coordinator[UJ_COORDINATOR_ID_BYTES];
    uint8_t nonce[UJ_NONCE_BYTES]; /* the joint's */
    uint8_t transcript[UJ_TRANSCRIPT_BYTES];
    uint8_t key_in[UJ_KEY_BYTES];  /* of the stream, once it is proven */
    uint8_t key_out[UJ_KEY_BYTES];
    uint64_t number_in;      /* of the last frame of each direction */
    uint64_t number_out;
};

struct uj_endpoint {
    struct uj_joint joint;
    struct uj_shell shell;
    uint8_t arm_key[UJ_KEY_BYTES];
    bool keyed;                     /* the datagram keys are there */
    uint8_t keyed_by[UJ_NONCE_BYTES]; /* the joint's nonce of the handshake that they come from */
    uint8_t datagram_key_in[UJ_KEY_BYTES];
    uint8_t datagram_key_out[UJ_KEY_BYTES];
    uint64_t opened;                /* connections since boot */
    struct uj_connection connections[UJ_CONNECTIONS];
    uint8_t out[UJ_MAX_FRAME_BYTES]; /* the message that is being written */
};

/* What is kept of a datagram until its answer goes out. */
struct uj_reply {
    size_t length; /* of the answer: 0 for none, 48 or 160 */
    int64_t received_us;
    struct uj_ntp_request request;
    struct uj_status status;
};

/* Begins at a boot. `shell` and `settings` are copied. The endpoint must stay where it is. */
void uj_endpoint_init(struct uj_endpoint *endpoint, const struct uj_settings *settings,
                      const uint8_t arm_key[UJ_KEY_BYTES], const struct uj_shell *shell, double now_us);

/* A TCP connection from an IPv4 address; `connection` is the shell's name for it, not that of another open one. Where
 * there are too many, one gives way and is closed first. */
void uj_endpoint_opened(struct uj_endpoint *endpoint, double now_us, uint32_t connection, uint32_t address);

/* A whole message. `nonce` is random and of this call alone; it is looked at for a hello. */
void uj_endpoint_frame(struct uj_endpoint *endpoint, double now_us, uint32_t connection, bool text,
                       const uint8_t *bytes, size_t length, const uint8_t nonce[UJ_NONCE_BYTES]);

/* The connection is gone. */
void uj_endpoint_closed(struct uj_endpoint *endpoint, double now_us, uint32_t connection);

/* Whether the connection has proved that it holds the key: then its messages may have UJ_MAX_FRAME_BYTES. */
bool uj_endpoint_proven(const struct uj_endpoint *endpoint, uint32_t connection);

/* A datagram, received at T2 (joint time, rounded up): obeyed where it is to be. reply->length is 0 where it gets no
 * answer. */
void uj_endpoint_datagram(struct uj_endpoint *endpoint, int64_t received_us, const uint8_t *bytes, size_t length,
                          struct uj_reply *reply);

/* Writes the answer with T3 (joint time, rounded down, as late as the shell can say). `out` has reply->length bytes. */
void uj_endpoint_seal(const struct uj_endpoint *endpoint, const struct uj_reply *reply, int64_t sent_us,
                      uint8_t out[UJ_STATUS_DATAGRAM_BYTES]);

/* Lets happen what was due by now, and sends the events that came of it. */
void uj_endpoint_poll(struct uj_endpoint *endpoint, double now_us);

/* Joint time of the next thing that happens by itself; INFINITY for none. */
double uj_endpoint_next_deadline(const struct uj_endpoint *endpoint);

/* The joint ends: closes all connections. */
void uj_endpoint_end(struct uj_endpoint *endpoint);

#endif
