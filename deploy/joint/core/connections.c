#include "connections.h"

#include <string.h>

#include "reports.h"
#include "websocket.h"

struct uj_connection *uj_connections_find(struct uj_endpoint *endpoint, uint32_t number)
{
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        struct uj_connection *connection = &endpoint->connections[i];
        if (connection->open && connection->number == number) {
            return connection;
        }
    }
    return NULL;
}

struct uj_connection *uj_connections_proven(struct uj_endpoint *endpoint)
{
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        struct uj_connection *connection = &endpoint->connections[i];
        if (connection->open && connection->stage == UJ_STAGE_PROVEN) {
            return connection;
        }
    }
    return NULL;
}

/* The oldest of those that have proved nothing, from that address or, where `any`, from whichever. */
static struct uj_connection *oldest(struct uj_endpoint *endpoint, uint32_t address, bool any, size_t *count)
{
    struct uj_connection *found = NULL;
    *count = 0;
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        struct uj_connection *connection = &endpoint->connections[i];
        if (!connection->open || connection->stage == UJ_STAGE_PROVEN) {
            continue;
        }
        ++*count;
        if ((any || connection->address == address) &&
            (found == NULL || connection->order < found->order)) {
            found = connection;
        }
    }
    return found;
}

void uj_connections_open(struct uj_endpoint *endpoint, double now_us, uint32_t number, uint32_t address)
{
    size_t unproven;
    struct uj_connection *own = oldest(endpoint, address, false, &unproven);
    if (unproven >= UJ_UNPROVEN_CONNECTIONS) {
        uj_connections_close(endpoint, own != NULL ? own : oldest(endpoint, address, true, &unproven),
                             UJ_CLOSE_NORMAL);
    }
    for (size_t i = 0; i < UJ_CONNECTIONS; i++) {
        struct uj_connection *connection = &endpoint->connections[i];
        if (!connection->open) {
            *connection = (struct uj_connection){
                .open = true, .number = number, .address = address, .opened_us = now_us, .order = endpoint->opened++};
            return;
        }
    }
}

void uj_connections_send(struct uj_endpoint *endpoint, struct uj_connection *connection, size_t body_length)
{
    connection->number_out++;
    uj_frame_seal(connection->key_out, UJ_TO_COORDINATOR, connection->number_out, endpoint->out, body_length);
    endpoint->shell.send(endpoint->shell.context, connection->number, false, endpoint->out,
                         UJ_FRAME_HEAD_BYTES + body_length);
}

void uj_connections_close(struct uj_endpoint *endpoint, struct uj_connection *connection, unsigned code)
{
    const uint32_t number = connection->number;
    memset(connection, 0, sizeof *connection);
    endpoint->shell.close(endpoint->shell.context, number, code);
}

void uj_connections_refuse(struct uj_endpoint *endpoint, struct uj_connection *connection, enum uj_reject reject)
{
    const size_t length = uj_write_reject(0, reject, NULL, endpoint->out, sizeof endpoint->out);
    endpoint->shell.send(endpoint->shell.context, connection->number, true, endpoint->out, length);
    uj_connections_close(endpoint, connection, UJ_CLOSE_NORMAL);
}
