/* The joint's TCP connections, from the first byte on, each with its WebSocket. */
#ifndef STREAMS_H
#define STREAMS_H

#include <poll.h>
#include <stdbool.h>
#include <stdint.h>

#include "machine.h"
#include "times.h"
#include "websocket.h"

#define STREAMS 8               /* those that the endpoint knows, and others that only end */
#define STREAM_OUT_BYTES 131072 /* unsent: 32 frames of the largest size */

struct stream {
    int file; /* -1: free */
    uint32_t number;
    bool open;   /* it has become a WebSocket */
    bool ends;   /* nothing counts any more that comes: it ends when all is sent, and at end_us at the latest */
    bool is_large;
    double end_us; /* true time */
    double ping_us;
    uint32_t ping; /* number of the ping whose pong is awaited, 0 for none */
    struct uj_websocket socket;
    size_t out_length;
    uint8_t in[UJ_MAX_FRAME_BYTES];
    uint8_t out[STREAM_OUT_BYTES];
};

struct streams {
    struct uj_machine *machine;
    struct crystal crystal;
    int listener;
    uint32_t numbers, pings;
    struct stream streams[STREAMS];
};

/* Listens on a port of an address, 0 for a free one; returns it, 0 where it is not to be had. */
uint16_t streams_begin(struct streams *streams, struct uj_machine *machine, const struct crystal *crystal,
                       uint32_t address, uint16_t port);

/* What the endpoint is given; its context is the streams. */
struct uj_shell streams_shell(struct streams *streams);

/* Fills in what to wait for: 1 + STREAMS entries. */
void streams_watch(const struct streams *streams, struct pollfd *files);

/* Takes what has come. `files` as filled in by streams_watch, and polled. */
void streams_take(struct streams *streams, const struct pollfd *files);

/* Sends pings, and ends what has not answered one. */
void streams_poll(struct streams *streams, double true_us);

/* True time of the next thing that streams_poll has to do. */
double streams_next_us(const struct streams *streams);

/* Sends what can be sent at once, and closes all. After uj_endpoint_end. */
void streams_end(struct streams *streams);

#endif
