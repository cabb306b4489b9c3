/* The handshake: hello, welcome, proof, and the session that follows. Nothing takes effect before the proof. */
#ifndef UJ_HANDSHAKE_H
#define UJ_HANDSHAKE_H

#include "endpoint.h"

/* A message of a connection that has proved nothing. */
void uj_handshake_take(struct uj_endpoint *endpoint, double now_us, struct uj_connection *connection, bool text,
                       const uint8_t *bytes, size_t length, const uint8_t nonce[UJ_NONCE_BYTES]);

#endif
