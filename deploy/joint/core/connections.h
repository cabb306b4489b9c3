/* The connections of an endpoint: which are open, who gives way, and what is sent on them. */
#ifndef UJ_CONNECTIONS_H
#define UJ_CONNECTIONS_H

#include <stddef.h>
#include <stdint.h>

#include "endpoint.h"

/* The open connection of that number; NULL for none. */
struct uj_connection *uj_connections_find(struct uj_endpoint *endpoint, uint32_t number);

/* The proven one; NULL for none. */
struct uj_connection *uj_connections_proven(struct uj_endpoint *endpoint);

/* A place for a new connection: where 2 that have proved nothing are open, the oldest of them from the same address
 * gives way, or where there is none, the oldest. */
void uj_connections_open(struct uj_endpoint *endpoint, double now_us, uint32_t number, uint32_t address);

/* Seals and sends the body of that many bytes that stands at endpoint->out + UJ_FRAME_HEAD_BYTES. */
void uj_connections_send(struct uj_endpoint *endpoint, struct uj_connection *connection, size_t body_length);

/* Closes it; its place is free then. */
void uj_connections_close(struct uj_endpoint *endpoint, struct uj_connection *connection, unsigned code);

/* Rejects its handshake and closes it. */
void uj_connections_refuse(struct uj_endpoint *endpoint, struct uj_connection *connection, enum uj_reject reject);

#endif
