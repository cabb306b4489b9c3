#include "streams.h"

#include <errno.h>
#include <unistd.h>

#include "feed.h"
#include "runner.h"
#include "websocket.h"

#define BYTES_AT_ONCE 1024
#define WORK_US_PER_BYTE 8 /* a frame of points takes most: some 670 instructions a byte */

_Static_assert((int64_t)CONFIG_UJ_MAX_STEP_RATE_HZ * (UJ_FEED_AHEAD_US + UJ_FEED_MARKS * UJ_FEED_MORE_US) <
                   1000000 * (int64_t)(UJ_PULSES_RING - UJ_PULSES_KEPT_FREE),
               "the steps of that time have room");
_Static_assert(WORK_US_PER_BYTE * UJ_MAX_FRAME_BYTES <= UJ_FEED_MARKS * UJ_FEED_MORE_US, "and it has marks");

struct stream {
    int socket; /* −1: free */
    uint32_t number;
    bool opened; /* the WebSocket is open */
    struct uj_websocket websocket;
    uint8_t small[UJ_MAX_OPENING_BYTES]; /* all that it may send before it is proven */
};

static struct stream streams[UJ_CONNECTIONS] = {{.socket = -1}, {.socket = -1}, {.socket = -1}};
static uint8_t large[UJ_MAX_FRAME_BYTES]; /* of the proven one */
static uint32_t connections;

static struct stream *find(uint32_t number)
{
    for (int i = 0; i < UJ_CONNECTIONS; i++) {
        if (streams[i].socket >= 0 && streams[i].number == number) {
            return &streams[i];
        }
    }
    return NULL;
}

/* Without a close frame, and the joint is not told: for where it knows, or is told next. */
static void cut(struct stream *stream)
{
    (void)close(stream->socket);
    stream->socket = -1;
}

/* All of it at once, or false: a reader that takes nothing is not waited for. */
static bool push(const struct stream *stream, const uint8_t *bytes, size_t length, int flags)
{
    return send(stream->socket, bytes, length, MSG_DONTWAIT | flags) == (ssize_t)length;
}

void streams_send(void *context, uint32_t connection, bool text, const uint8_t *bytes, size_t length)
{
    struct stream *stream = find(connection);
    uint8_t head[10];
    (void)context;
    if (stream == NULL || !stream->opened) {
        return;
    }
    const size_t head_length = uj_websocket_head(text ? UJ_OPCODE_TEXT : UJ_OPCODE_BINARY, length, head);
    if (!push(stream, head, head_length, MSG_MORE) || !push(stream, bytes, length, 0)) {
        /* The joint must not be called from here: the next read finds the end, and tells it. */
        (void)shutdown(stream->socket, SHUT_RDWR);
        stream->opened = false;
    }
}

void streams_close(void *context, uint32_t connection, unsigned code)
{
    struct stream *stream = find(connection);
    (void)context;
    if (stream == NULL) {
        return;
    }
    if (stream->opened) {
        uint8_t frame[4];
        (void)push(stream, frame, uj_websocket_close((enum uj_close)code, frame), 0);
    }
    (void)shutdown(stream->socket, SHUT_WR);
    cut(stream);
}

static void gone(struct stream *stream)
{
    const uint32_t number = stream->number;
    cut(stream);
    uj_endpoint_closed(runner_endpoint(), runner_run(0), number);
    runner_told();
}

static void message(struct stream *stream, const struct uj_websocket_event *event)
{
    uint8_t nonce[UJ_NONCE_BYTES];
    esp_fill_random(nonce, sizeof nonce);
    const double now_us = runner_run(WORK_US_PER_BYTE * (double)event->length);
    uj_endpoint_frame(runner_endpoint(), now_us, stream->number, event->what == UJ_WEBSOCKET_TEXT, event->bytes,
                      event->length, nonce);
    runner_told();
    const bool proven = uj_endpoint_proven(runner_endpoint(), stream->number);
    if (proven && stream->socket >= 0 && stream->websocket.buffer != large) {
        uj_websocket_use(&stream->websocket, large, sizeof large); /* a proven one before it is closed by now */
    }
}

static void take(struct stream *stream, const uint8_t *bytes, size_t length)
{
    while (length > 0 && stream->socket >= 0) {
        struct uj_websocket_event event;
        const size_t used = uj_websocket_feed(&stream->websocket, bytes, length, &event);
        bytes += used;
        length -= used;
        switch (event.what) {
        case UJ_WEBSOCKET_NOTHING:
        case UJ_WEBSOCKET_PONG: /* the joint sends no pings */
            break;
        case UJ_WEBSOCKET_OPENED:
            stream->opened = push(stream, event.bytes, event.length, 0);
            break;
        case UJ_WEBSOCKET_PING:
            (void)push(stream, event.bytes, event.length, 0);
            break;
        case UJ_WEBSOCKET_TEXT:
        case UJ_WEBSOCKET_BINARY:
            message(stream, &event);
            break;
        case UJ_WEBSOCKET_CLOSED:
            (void)push(stream, event.bytes, event.length, 0);
            (void)shutdown(stream->socket, SHUT_WR);
            gone(stream);
            break;
        }
    }
}

int streams_watch(fd_set *readable, int highest)
{
    for (int i = 0; i < UJ_CONNECTIONS; i++) {
        if (streams[i].socket >= 0) {
            FD_SET(streams[i].socket, readable);
            highest = streams[i].socket > highest ? streams[i].socket : highest;
        }
    }
    return highest;
}

void streams_read(const fd_set *readable)
{
    static uint8_t bytes[BYTES_AT_ONCE];
    for (int i = 0; i < UJ_CONNECTIONS; i++) {
        struct stream *stream = &streams[i];
        if (stream->socket < 0 || !FD_ISSET(stream->socket, readable)) {
            continue;
        }
        const ssize_t length = recv(stream->socket, bytes, sizeof bytes, MSG_DONTWAIT);
        if (length > 0) {
            take(stream, bytes, (size_t)length);
        } else if (length == 0 || (errno != EAGAIN && errno != EWOULDBLOCK)) {
            gone(stream);
        }
    }
}

void streams_accept(int listener)
{
    struct sockaddr_in peer;
    socklen_t peer_size = sizeof peer;
    const int one = 1;
    const int s = accept(listener, (struct sockaddr *)&peer, &peer_size);
    if (s < 0) {
        return;
    }
    (void)setsockopt(s, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    connections++;
    /* Where there are too many the joint closes one now, and so makes room here. */
    uj_endpoint_opened(runner_endpoint(), runner_run(0), connections, ntohl(peer.sin_addr.s_addr));
    runner_told();
    for (int i = 0; i < UJ_CONNECTIONS; i++) {
        if (streams[i].socket < 0) {
            streams[i] = (struct stream){.socket = s, .number = connections};
            uj_websocket_begin(&streams[i].websocket, STREAMS_PATH, "unisono.joint.v1", streams[i].small,
                               sizeof streams[i].small);
            return;
        }
    }
    (void)close(s);
    uj_endpoint_closed(runner_endpoint(), runner_run(0), connections);
    runner_told();
}
