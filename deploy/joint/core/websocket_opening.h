/* The opening request of a WebSocket and the answer to it: RFC 6455, section 4.2. */
#ifndef UJ_WEBSOCKET_OPENING_H
#define UJ_WEBSOCKET_OPENING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Judges a request that ends with an empty line. Writes the whole HTTP answer and returns its length. `*open`
 * tells whether the stream is open; else the connection ends after the answer. `answer` has `space` bytes, 192
 * for a subprotocol of up to 30. Answered are: 400 what is no request for a WebSocket or does not offer the
 * subprotocol, 404 another path, 426 another version of RFC 6455's protocol than 13. */
size_t uj_websocket_answer(const char *request, size_t length, const char *path, const char *subprotocol,
                           uint8_t *answer, size_t space, bool *open);

#endif
