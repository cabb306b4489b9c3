/* Any bytes as what a client sends, from the opening on and behind one that is right. The first byte says in
 * what steps they come. Memory of just the limit's size is given, so that a byte too many is found. */
#include <string.h>

#include "numbers.h"
#include "utf8.h"
#include "websocket.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char OPENING[] =
    "GET /joint HTTP/1.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Protocol: unisono.joint.v1\r\n\r\n";

static void run(struct uj_websocket *socket, const uint8_t *data, size_t size, size_t step)
{
    struct uj_websocket_event event;
    bool closed = false;
    for (size_t at = 0; at < size;) {
        const size_t some = size - at < step ? size - at : step;
        const size_t taken = uj_websocket_feed(socket, data + at, some, &event);
        volatile uint8_t sum = 0;
        for (size_t i = 0; i < event.length; i++) {
            sum = (uint8_t)(sum + event.bytes[i]); /* all of it can be read */
        }
        if (taken == 0 || taken > some || (closed && event.what != UJ_WEBSOCKET_NOTHING) ||
            (event.what == UJ_WEBSOCKET_TEXT && !uj_utf8(event.bytes, event.length))) {
            __builtin_trap();
        }
        closed |= event.what == UJ_WEBSOCKET_CLOSED;
        at += taken;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static uint8_t opening[UJ_MAX_OPENING_BYTES];
    static uint8_t message[600];
    struct uj_websocket socket;
    struct uj_websocket_event event;
    if (size < 1) {
        return 0;
    }
    const size_t step = data[0] == 0 ? size : data[0];
    uj_websocket_begin(&socket, "/joint", "unisono.joint.v1", opening, sizeof opening);
    run(&socket, data + 1, size - 1, step);
    uj_websocket_begin(&socket, "/joint", "unisono.joint.v1", opening, sizeof opening);
    (void)uj_websocket_feed(&socket, (const uint8_t *)OPENING, sizeof OPENING - 1, &event);
    if (event.what != UJ_WEBSOCKET_OPENED) {
        __builtin_trap();
    }
    uj_websocket_use(&socket, message, sizeof message);
    run(&socket, data + 1, size - 1, step);
    return 0;
}
