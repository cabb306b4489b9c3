#include "streams.h"

#include <errno.h>
#include <math.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <string.h>
#include <sys/random.h>
#include <sys/socket.h>
#include <unistd.h>

#include "bytes.h"

#define PING_US 5e6
#define END_US 1e6 /* for a peer to take what is left and to end its side */
#define PATH "/joint"
#define SUBPROTOCOL "unisono.joint.v1"

static void free_stream(struct stream *stream)
{
    (void)close(stream->file);
    stream->file = -1;
}

/* Sends what waits. False where the connection is gone. */
static bool flush(struct stream *stream)
{
    while (stream->out_length > 0) {
        const ssize_t sent = send(stream->file, stream->out, stream->out_length, MSG_NOSIGNAL | MSG_DONTWAIT);
        if (sent < 0) {
            return errno == EAGAIN || errno == EINTR;
        }
        stream->out_length -= (size_t)sent;
        memmove(stream->out, stream->out + sent, stream->out_length);
    }
    if (stream->ends) {
        (void)shutdown(stream->file, SHUT_WR); /* the rest that comes is read away, or it would cut off what was sent */
    }
    return true;
}

/* False where a reader has taken nothing for too long: there is no room. */
static bool put(struct stream *stream, const uint8_t *bytes, size_t length)
{
    if (length > sizeof stream->out - stream->out_length) {
        return false;
    }
    memcpy(stream->out + stream->out_length, bytes, length);
    stream->out_length += length;
    return true;
}

static void put_close(struct stream *stream, enum uj_close code)
{
    if (stream->open) {
        uint8_t frame[4];
        const size_t length = uj_websocket_close(code, frame);
        (void)put(stream, frame, length);
    }
}

/* Nothing counts any more that comes on it; what waits is still sent. */
static void wind_up(struct stream *stream)
{
    stream->ends = true;
    stream->end_us = times_true_us() + END_US;
    if (!flush(stream)) {
        free_stream(stream);
    }
}

static struct stream *find(struct streams *streams, uint32_t number)
{
    for (size_t i = 0; i < STREAMS; i++) {
        if (streams->streams[i].file >= 0 && streams->streams[i].number == number) {
            return &streams->streams[i];
        }
    }
    return NULL;
}

static void on_send(void *context, uint32_t connection, bool text, const uint8_t *bytes, size_t length)
{
    struct stream *stream = find(context, connection);
    uint8_t head[10];
    if (stream == NULL || !stream->open || stream->ends) {
        return;
    }
    const size_t head_length = uj_websocket_head(text ? UJ_OPCODE_TEXT : UJ_OPCODE_BINARY, length, head);
    if (!put(stream, head, head_length) || !put(stream, bytes, length) || !flush(stream)) {
        /* Whoever reads it next finds it ended, and tells the endpoint. */
        stream->out_length = 0;
        (void)shutdown(stream->file, SHUT_RDWR);
    }
}

static void on_close(void *context, uint32_t connection, unsigned code)
{
    struct stream *stream = find(context, connection);
    if (stream != NULL && !stream->ends) {
        put_close(stream, (enum uj_close)code);
        wind_up(stream);
    }
}

struct uj_shell streams_shell(struct streams *streams)
{
    return (struct uj_shell){.context = streams, .send = on_send, .close = on_close};
}

uint16_t streams_begin(struct streams *streams, struct uj_machine *machine, const struct crystal *crystal,
                       uint32_t address, uint16_t port)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons(port), .sin_addr.s_addr = htonl(address)};
    socklen_t length = sizeof at;
    const int yes = 1;
    streams->machine = machine;
    streams->crystal = *crystal;
    streams->numbers = streams->pings = 0;
    for (size_t i = 0; i < STREAMS; i++) {
        streams->streams[i].file = -1;
    }
    streams->listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (streams->listener < 0) {
        return 0;
    }
    if (setsockopt(streams->listener, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) != 0 ||
        bind(streams->listener, (struct sockaddr *)&at, sizeof at) != 0 || listen(streams->listener, STREAMS) != 0 ||
        getsockname(streams->listener, (struct sockaddr *)&at, &length) != 0) {
        const int why = errno;
        (void)close(streams->listener);
        errno = why;
        return 0;
    }
    return ntohs(at.sin_port);
}

static double joint_now_us(const struct streams *streams)
{
    return times_joint_us(&streams->crystal, times_true_us());
}

static void told(struct streams *streams)
{
    uj_machine_told(streams->machine);
}

/* It is gone, or what it sent ends it. */
static void gone(struct streams *streams, struct stream *stream)
{
    const double now_us = joint_now_us(streams);
    uj_machine_run(streams->machine, now_us);
    uj_endpoint_closed(&streams->machine->endpoint, now_us, stream->number);
    told(streams);
}

static void accept_one(struct streams *streams)
{
    struct sockaddr_in peer = {0};
    socklen_t length = sizeof peer;
    const int file = accept4(streams->listener, (struct sockaddr *)&peer, &length, SOCK_CLOEXEC | SOCK_NONBLOCK);
    struct stream *place = NULL;
    if (file < 0) {
        return;
    }
    for (size_t i = 0; i < STREAMS; i++) {
        struct stream *stream = &streams->streams[i];
        if (stream->file < 0) {
            place = stream;
            break;
        }
        /* The endpoint knows three: others are there that end, and one of them does so at once. */
        if (stream->ends && (place == NULL || stream->end_us < place->end_us)) {
            place = stream;
        }
    }
    if (place == NULL) {
        (void)close(file);
        return;
    }
    if (place->file >= 0) {
        free_stream(place);
    }
    const int yes = 1;
    (void)setsockopt(file, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
    place->file = file;
    place->number = ++streams->numbers;
    place->open = place->ends = place->is_large = false;
    place->end_us = place->ping_us = INFINITY;
    place->ping = 0;
    place->out_length = 0;
    uj_websocket_begin(&place->socket, PATH, SUBPROTOCOL, place->in, UJ_MAX_OPENING_BYTES);
    const double now_us = joint_now_us(streams);
    uj_machine_run(streams->machine, now_us);
    uj_endpoint_opened(&streams->machine->endpoint, now_us, place->number, ntohl(peer.sin_addr.s_addr));
    told(streams);
}

static void take_message(struct streams *streams, struct stream *stream, const struct uj_websocket_event *event)
{
    uint8_t nonce[UJ_NONCE_BYTES];
    if (getrandom(nonce, sizeof nonce, 0) != (ssize_t)sizeof nonce) {
        gone(streams, stream);
        wind_up(stream);
        return;
    }
    const double now_us = joint_now_us(streams);
    uj_machine_run(streams->machine, now_us);
    uj_endpoint_frame(&streams->machine->endpoint, now_us, stream->number, event->what == UJ_WEBSOCKET_TEXT,
                      event->bytes, event->length, nonce);
    told(streams);
    if (!stream->is_large && uj_endpoint_proven(&streams->machine->endpoint, stream->number)) {
        stream->is_large = true;
        uj_websocket_use(&stream->socket, stream->in, UJ_MAX_FRAME_BYTES);
    }
}

static void take_event(struct streams *streams, struct stream *stream, const struct uj_websocket_event *event)
{
    bool sound = true;
    switch (event->what) {
    case UJ_WEBSOCKET_OPENED:
        stream->open = true;
        stream->ping_us = times_true_us() + PING_US;
        sound = put(stream, event->bytes, event->length) && flush(stream);
        break;
    case UJ_WEBSOCKET_PING:
        sound = put(stream, event->bytes, event->length) && flush(stream);
        break;
    case UJ_WEBSOCKET_TEXT:
    case UJ_WEBSOCKET_BINARY:
        take_message(streams, stream, event);
        break;
    case UJ_WEBSOCKET_PONG:
        if (event->length == 4 && uj_get_u32(event->bytes) == stream->ping) {
            stream->ping = 0;
        }
        break;
    case UJ_WEBSOCKET_CLOSED:
        gone(streams, stream);
        if (!stream->ends) {
            (void)put(stream, event->bytes, event->length);
            wind_up(stream);
        }
        break;
    case UJ_WEBSOCKET_NOTHING:
        break;
    }
    if (!sound) {
        gone(streams, stream);
        free_stream(stream);
    }
}

static void receive(struct streams *streams, struct stream *stream)
{
    uint8_t bytes[4096];
    const ssize_t length = recv(stream->file, bytes, sizeof bytes, MSG_DONTWAIT);
    if (length < 0 && (errno == EAGAIN || errno == EINTR)) {
        return;
    }
    if (length <= 0) {
        if (!stream->ends) {
            gone(streams, stream);
        }
        if (stream->file >= 0) {
            free_stream(stream);
        }
        return;
    }
    size_t at = 0;
    while (at < (size_t)length && stream->file >= 0 && !stream->ends) {
        struct uj_websocket_event event;
        at += uj_websocket_feed(&stream->socket, bytes + at, (size_t)length - at, &event);
        take_event(streams, stream, &event);
    }
}

void streams_watch(const struct streams *streams, struct pollfd *files)
{
    files[0] = (struct pollfd){.fd = streams->listener, .events = POLLIN};
    for (size_t i = 0; i < STREAMS; i++) {
        const struct stream *stream = &streams->streams[i];
        files[i + 1] = (struct pollfd){.fd = stream->file,
                                       .events = (short)(POLLIN | (stream->out_length > 0 ? POLLOUT : 0))};
    }
}

void streams_take(struct streams *streams, const struct pollfd *files)
{
    for (size_t i = 0; i < STREAMS; i++) {
        struct stream *stream = &streams->streams[i];
        const short happened = files[i + 1].revents;
        /* It may have been closed meanwhile for another's sake, and its number given to a new one. */
        if (happened == 0 || stream->file < 0 || stream->file != files[i + 1].fd) {
            continue;
        }
        if ((happened & POLLOUT) != 0 && !flush(stream)) {
            (void)shutdown(stream->file, SHUT_RDWR);
        }
        if ((happened & (POLLIN | POLLHUP | POLLERR)) != 0) {
            receive(streams, stream);
        }
    }
    if ((files[0].revents & POLLIN) != 0) {
        accept_one(streams);
    }
}

void streams_poll(struct streams *streams, double true_us)
{
    for (size_t i = 0; i < STREAMS; i++) {
        struct stream *stream = &streams->streams[i];
        if (stream->file < 0) {
            continue;
        }
        if (stream->ends) {
            if (stream->end_us <= true_us) {
                free_stream(stream);
            }
            continue;
        }
        if (stream->ping_us > true_us) {
            continue;
        }
        uint8_t frame[16];
        if (stream->ping != 0) {
            gone(streams, stream);
            put_close(stream, UJ_CLOSE_NO_PONG);
            wind_up(stream);
            continue;
        }
        stream->ping = ++streams->pings;
        stream->ping_us = true_us + PING_US;
        const size_t head = uj_websocket_head(UJ_OPCODE_PING, 4, frame);
        uj_put_u32(frame + head, stream->ping);
        if (!put(stream, frame, head + 4) || !flush(stream)) {
            (void)shutdown(stream->file, SHUT_RDWR);
        }
    }
}

double streams_next_us(const struct streams *streams)
{
    double next_us = INFINITY;
    for (size_t i = 0; i < STREAMS; i++) {
        const struct stream *stream = &streams->streams[i];
        if (stream->file >= 0) {
            next_us = fmin(next_us, stream->ends ? stream->end_us : stream->ping_us);
        }
    }
    return next_us;
}

void streams_end(struct streams *streams)
{
    for (size_t i = 0; i < STREAMS; i++) {
        if (streams->streams[i].file >= 0) {
            free_stream(&streams->streams[i]);
        }
    }
    (void)close(streams->listener);
}
