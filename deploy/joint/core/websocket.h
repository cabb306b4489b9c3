/* The server's half of RFC 6455 as a machine of bytes: bytes go in, messages and bytes to send come out. It asks
 * no clock and no socket: pings and their time-outs are its owner's. What is refused and how is in
 * protocol/README.md, "The stream". */
#ifndef UJ_WEBSOCKET_H
#define UJ_WEBSOCKET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UJ_WEBSOCKET_CONTROL_BYTES 125 /* of payload in a ping, pong or close */
#define UJ_WEBSOCKET_ANSWER_BYTES 192

enum uj_opcode {
    UJ_OPCODE_CONTINUATION = 0x0,
    UJ_OPCODE_TEXT = 0x1,
    UJ_OPCODE_BINARY = 0x2,
    UJ_OPCODE_CLOSE = 0x8,
    UJ_OPCODE_PING = 0x9,
    UJ_OPCODE_PONG = 0xA
};

enum uj_close {
    UJ_CLOSE_NORMAL = 1000,
    UJ_CLOSE_GOING_AWAY = 1001,
    UJ_CLOSE_PROTOCOL = 1002,
    UJ_CLOSE_NOT_UTF8 = 1007,
    UJ_CLOSE_TOO_LARGE = 1009,
    UJ_CLOSE_NO_PONG = 1011
};

enum uj_websocket_what {
    UJ_WEBSOCKET_NOTHING, /* all bytes are taken and none is due */
    UJ_WEBSOCKET_OPENED,  /* send `bytes`: the stream is open */
    UJ_WEBSOCKET_TEXT,    /* `bytes` is a message, valid UTF-8 */
    UJ_WEBSOCKET_BINARY,  /* `bytes` is a message */
    UJ_WEBSOCKET_PING,    /* send `bytes`, a whole pong */
    UJ_WEBSOCKET_PONG,    /* `bytes` is what a ping had carried */
    UJ_WEBSOCKET_CLOSED   /* send `bytes` (a refusal or a close frame; maybe none), then end the connection */
};

struct uj_websocket_event {
    enum uj_websocket_what what;
    const uint8_t *bytes; /* good until the next call */
    size_t length;
};

/* One connection. Its fields are its own; look at it only through the functions. */
struct uj_websocket {
    const char *path;
    const char *subprotocol;
    uint8_t *buffer; /* the opening request, then the message under way */
    size_t space;    /* its size: the most that a message may have */
    size_t used;
    uint8_t state;
    uint8_t message_opcode; /* of the message under way, 0 for none */
    uint8_t head[14];
    uint8_t head_used;
    uint8_t head_length;
    uint64_t payload_left; /* of the frame under way */
    uint8_t mask_at;
    uint8_t control[UJ_WEBSOCKET_CONTROL_BYTES];
    uint8_t control_used;
    uint8_t answer[UJ_WEBSOCKET_ANSWER_BYTES];
};

/* A new connection. `path` and `subprotocol` (such as "/joint") end with 0 and are kept; `buffer` holds the
 * opening request and then each message: `space` is the limit of both. */
void uj_websocket_begin(struct uj_websocket *socket, const char *path, const char *subprotocol, uint8_t *buffer,
                        size_t space);

/* Another buffer, and with it another limit. Only right after uj_websocket_feed returned a message: then nothing
 * is under way that would be lost. */
void uj_websocket_use(struct uj_websocket *socket, uint8_t *buffer, size_t space);

/* Takes bytes up to the first event and returns how many. Call again with the rest, and once it has returned
 * UJ_WEBSOCKET_CLOSED no more: it takes everything then and says nothing. */
size_t uj_websocket_feed(struct uj_websocket *socket, const uint8_t *bytes, size_t length,
                         struct uj_websocket_event *event);

/* Writes the head of an unmasked frame with all of a message; returns its length, 2, 4 or 10. */
size_t uj_websocket_head(enum uj_opcode opcode, size_t length, uint8_t head[10]);

/* A whole close frame with a code and no words; returns its length, 4. */
size_t uj_websocket_close(enum uj_close code, uint8_t frame[4]);

#endif
