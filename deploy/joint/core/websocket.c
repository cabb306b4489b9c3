#include "websocket.h"

#include <string.h>

#include "bytes.h"
#include "utf8.h"
#include "websocket_opening.h"

enum { OPENING, OPEN, CLOSED };

#define FIN 0x80
#define RESERVED 0x70
#define OPCODE 0x0f
#define CONTROL 0x08 /* the bit of an opcode that marks a control frame */
#define MASKED 0x80
#define LENGTH 0x7f
#define LENGTH_16 126
#define LENGTH_64 127
#define MASK_BYTES 4
#define EMPTY_LINE "\r\n\r\n"

void uj_websocket_begin(struct uj_websocket *socket, const char *path, const char *subprotocol, uint8_t *buffer,
                        size_t space)
{
    memset(socket, 0, sizeof *socket);
    socket->path = path;
    socket->subprotocol = subprotocol;
    socket->buffer = buffer;
    socket->space = space;
    socket->state = OPENING;
}

void uj_websocket_use(struct uj_websocket *socket, uint8_t *buffer, size_t space)
{
    socket->buffer = buffer;
    socket->space = space;
    socket->used = 0;
}

size_t uj_websocket_head(enum uj_opcode opcode, size_t length, uint8_t head[10])
{
    head[0] = (uint8_t)(FIN | opcode);
    if (length < LENGTH_16) {
        head[1] = (uint8_t)length;
        return 2;
    }
    if (length <= UINT16_MAX) {
        head[1] = LENGTH_16;
        uj_put_u16(head + 2, (uint16_t)length);
        return 4;
    }
    head[1] = LENGTH_64;
    uj_put_u64(head + 2, length);
    return 10;
}

size_t uj_websocket_close(enum uj_close code, uint8_t frame[4])
{
    frame[0] = FIN | UJ_OPCODE_CLOSE;
    frame[1] = 2;
    uj_put_u16(frame + 2, (uint16_t)code);
    return 4;
}

static void tell(struct uj_websocket_event *event, enum uj_websocket_what what, const uint8_t *bytes,
                 size_t length)
{
    *event = (struct uj_websocket_event){what, bytes, length};
}

static void end_with(struct uj_websocket *socket, enum uj_close code, struct uj_websocket_event *event)
{
    socket->state = CLOSED;
    tell(event, UJ_WEBSOCKET_CLOSED, socket->answer, uj_websocket_close(code, socket->answer));
}

/* Collects the opening request up to its empty line. */
static size_t take_opening(struct uj_websocket *socket, const uint8_t *bytes, size_t length,
                           struct uj_websocket_event *event)
{
    static const size_t MARK = sizeof EMPTY_LINE - 1;
    size_t taken = 0;
    bool whole = false;
    while (taken < length && !whole && socket->used < socket->space) {
        socket->buffer[socket->used++] = bytes[taken++];
        whole = socket->used >= MARK && memcmp(socket->buffer + socket->used - MARK, EMPTY_LINE, MARK) == 0;
    }
    if (!whole && socket->used < socket->space) {
        return taken;
    }
    bool open;
    /* One that is longer than the limit has no empty line yet, and is answered as a bad request. */
    const size_t answer = uj_websocket_answer((const char *)socket->buffer, socket->used, socket->path,
                                              socket->subprotocol, socket->answer, sizeof socket->answer, &open);
    socket->state = open ? OPEN : CLOSED;
    socket->used = 0;
    tell(event, open ? UJ_WEBSOCKET_OPENED : UJ_WEBSOCKET_CLOSED, socket->answer, answer);
    return taken;
}

/* The first two bytes of a frame. */
static bool start_holds(const struct uj_websocket *socket)
{
    const uint8_t opcode = socket->head[0] & OPCODE;
    const uint8_t length = socket->head[1] & LENGTH;
    if ((socket->head[0] & RESERVED) != 0 || (socket->head[1] & MASKED) == 0) {
        return false;
    }
    switch (opcode) {
    case UJ_OPCODE_CONTINUATION:
        return socket->message_opcode != 0;
    case UJ_OPCODE_TEXT:
    case UJ_OPCODE_BINARY:
        return socket->message_opcode == 0;
    case UJ_OPCODE_CLOSE:
    case UJ_OPCODE_PING:
    case UJ_OPCODE_PONG:
        return (socket->head[0] & FIN) != 0 && length <= UJ_WEBSOCKET_CONTROL_BYTES;
    default:
        return false;
    }
}

/* The length of the payload; false where it is not written as short as can be. */
static bool read_length(const uint8_t *head, uint64_t *length)
{
    switch (head[1] & LENGTH) {
    case LENGTH_16:
        *length = uj_get_u16(head + 2);
        return *length >= LENGTH_16;
    case LENGTH_64:
        *length = uj_get_u64(head + 2);
        return *length > UINT16_MAX && *length <= INT64_MAX;
    default:
        *length = head[1] & LENGTH;
        return true;
    }
}

/* Collects a frame's head; with its last byte the payload begins. */
static size_t take_head(struct uj_websocket *socket, const uint8_t *bytes, size_t length,
                        struct uj_websocket_event *event)
{
    size_t taken = 0;
    while (taken < length && (socket->head_used < 2 || socket->head_used < socket->head_length)) {
        socket->head[socket->head_used++] = bytes[taken++];
        if (socket->head_used == 2) {
            const uint8_t shown = socket->head[1] & LENGTH;
            if (!start_holds(socket)) {
                end_with(socket, UJ_CLOSE_PROTOCOL, event);
                return taken;
            }
            socket->head_length = (uint8_t)(2 + (shown == LENGTH_16 ? 2 : shown == LENGTH_64 ? 8 : 0) + MASK_BYTES);
        }
    }
    if (socket->head_used < 2 || socket->head_used < socket->head_length) {
        return taken;
    }
    const uint8_t opcode = socket->head[0] & OPCODE;
    if (!read_length(socket->head, &socket->payload_left)) {
        end_with(socket, UJ_CLOSE_PROTOCOL, event);
    } else if ((opcode & CONTROL) == 0 && socket->payload_left > socket->space - socket->used) {
        end_with(socket, UJ_CLOSE_TOO_LARGE, event);
    } else if (opcode == UJ_OPCODE_TEXT || opcode == UJ_OPCODE_BINARY) {
        socket->message_opcode = opcode;
    }
    socket->mask_at = 0;
    socket->control_used = 0;
    return taken;
}

static size_t take_payload(struct uj_websocket *socket, const uint8_t *bytes, size_t length)
{
    const uint8_t *mask = socket->head + socket->head_length - MASK_BYTES;
    const bool control = (socket->head[0] & CONTROL) != 0;
    const size_t some = length < socket->payload_left ? length : (size_t)socket->payload_left;
    for (size_t i = 0; i < some; i++) {
        const uint8_t byte = bytes[i] ^ mask[socket->mask_at];
        socket->mask_at = (uint8_t)((socket->mask_at + 1) % MASK_BYTES);
        if (control) {
            socket->control[socket->control_used++] = byte;
        } else {
            socket->buffer[socket->used++] = byte;
        }
    }
    socket->payload_left -= some;
    return some;
}

/* Codes that may stand in a close frame: RFC 6455, section 7.4, and what IANA has registered since. */
static bool close_code_holds(uint16_t code)
{
    return (code >= 1000 && code <= 1003) || (code >= 1007 && code <= 1014) || (code >= 3000 && code <= 4999);
}

static void take_close(struct uj_websocket *socket, struct uj_websocket_event *event)
{
    if (socket->control_used == 0) { /* answered as it came */
        socket->state = CLOSED;
        socket->answer[0] = FIN | UJ_OPCODE_CLOSE;
        socket->answer[1] = 0;
        tell(event, UJ_WEBSOCKET_CLOSED, socket->answer, 2);
        return;
    }
    const uint16_t code = socket->control_used < 2 ? 0 : uj_get_u16(socket->control);
    if (!close_code_holds(code)) {
        end_with(socket, UJ_CLOSE_PROTOCOL, event);
    } else if (!uj_utf8(socket->control + 2, socket->control_used - 2u)) {
        end_with(socket, UJ_CLOSE_NOT_UTF8, event);
    } else {
        end_with(socket, (enum uj_close)code, event);
    }
}

static void finish_message(struct uj_websocket *socket, struct uj_websocket_event *event)
{
    const bool text = socket->message_opcode == UJ_OPCODE_TEXT;
    const size_t length = socket->used;
    socket->message_opcode = 0;
    socket->used = 0;
    if (text && !uj_utf8(socket->buffer, length)) {
        end_with(socket, UJ_CLOSE_NOT_UTF8, event);
        return;
    }
    tell(event, text ? UJ_WEBSOCKET_TEXT : UJ_WEBSOCKET_BINARY, socket->buffer, length);
}

static void finish_frame(struct uj_websocket *socket, struct uj_websocket_event *event)
{
    const uint8_t opcode = socket->head[0] & OPCODE;
    const bool last = (socket->head[0] & FIN) != 0;
    socket->head_used = 0;
    socket->head_length = 0;
    if (opcode == UJ_OPCODE_PING) {
        const size_t head = uj_websocket_head(UJ_OPCODE_PONG, socket->control_used, socket->answer);
        memcpy(socket->answer + head, socket->control, socket->control_used);
        tell(event, UJ_WEBSOCKET_PING, socket->answer, head + socket->control_used);
    } else if (opcode == UJ_OPCODE_PONG) {
        tell(event, UJ_WEBSOCKET_PONG, socket->control, socket->control_used);
    } else if (opcode == UJ_OPCODE_CLOSE) {
        take_close(socket, event);
    } else if (last) {
        finish_message(socket, event);
    }
}

size_t uj_websocket_feed(struct uj_websocket *socket, const uint8_t *bytes, size_t length,
                         struct uj_websocket_event *event)
{
    size_t taken = 0;
    tell(event, UJ_WEBSOCKET_NOTHING, NULL, 0);
    while (taken < length && event->what == UJ_WEBSOCKET_NOTHING) {
        if (socket->state == CLOSED) {
            return length;
        }
        if (socket->state == OPENING) {
            taken += take_opening(socket, bytes + taken, length - taken, event);
            continue;
        }
        if (socket->head_used < 2 || socket->head_used < socket->head_length) {
            taken += take_head(socket, bytes + taken, length - taken, event);
        } else {
            taken += take_payload(socket, bytes + taken, length - taken);
        }
        const bool head_whole = socket->head_used >= 2 && socket->head_used == socket->head_length;
        if (socket->state == OPEN && head_whole && socket->payload_left == 0) {
            finish_frame(socket, event);
        }
    }
    return taken;
}
