/* Questions of this project's own tests: a connection that is fed `bytes`, `step` of them at a time, by a joint
 * that announces /joint. `opened` true leaves the opening out; `space` is the limit of a message. The answer has
 * what came of it: `events`, each with its bytes. */
#include <stdio.h>
#include <string.h>

#include "numbers.h"
#include "vectors.h"
#include "websocket.h"

#define OPENING                                                                                                 \
    "GET /joint HTTP/1.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"       \
    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Protocol: unisono.joint.v1\r\n\r\n"

static const char *const WHATS[] = {
    [UJ_WEBSOCKET_NOTHING] = "nothing", [UJ_WEBSOCKET_OPENED] = "opened", [UJ_WEBSOCKET_TEXT] = "text",
    [UJ_WEBSOCKET_BINARY] = "binary",   [UJ_WEBSOCKET_PING] = "ping",     [UJ_WEBSOCKET_PONG] = "pong",
    [UJ_WEBSOCKET_CLOSED] = "closed",
};

bool vectors_websocket(struct uj_json ask, struct uj_json question)
{
    static uint8_t bytes[VECTORS_LINE_BYTES / 2];
    static uint8_t opening_buffer[UJ_MAX_OPENING_BYTES];
    static uint8_t buffer[UJ_MAX_FRAME_BYTES];
    struct uj_websocket socket;
    struct uj_websocket_event event;
    if (!uj_json_is(ask, "websocket")) {
        return false;
    }
    const size_t length = vectors_bytes(question, "bytes", bytes, sizeof bytes);
    const size_t step = (size_t)vectors_integer(question, "step");
    const size_t space = (size_t)vectors_integer(question, "space");
    if (step == 0 || space > sizeof buffer) {
        vectors_give_up("not allowed", "step or space");
    }
    uj_websocket_begin(&socket, "/joint", "unisono.joint.v1", opening_buffer, sizeof opening_buffer);
    if (vectors_member(question, "opened").text[0] == 't') {
        (void)uj_websocket_feed(&socket, (const uint8_t *)OPENING, sizeof OPENING - 1, &event);
        uj_websocket_use(&socket, buffer, space);
    }
    printf(",\"events\":[");
    const char *comma = "";
    for (size_t at = 0; at < length;) {
        const size_t some = length - at < step ? length - at : step;
        at += uj_websocket_feed(&socket, bytes + at, some, &event);
        if (event.what != UJ_WEBSOCKET_NOTHING) {
            printf("%s{\"what\":\"%s\"", comma, WHATS[event.what]);
            vectors_tell_hex("bytes", event.bytes, event.length);
            putchar('}');
            comma = ",";
        }
    }
    putchar(']');
    return true;
}
