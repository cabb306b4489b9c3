/* The joint's task: sockets for stream and datagrams, and between them the turns of the joint. */
#ifndef NETWORK_H
#define NETWORK_H

#include "endpoint.h"

/* How the joint sends and closes. For runner_begin. */
extern const struct uj_shell network_shell;

/* Starts the task. The joint must be there, and the network's interface begun. */
void network_begin(void);

#endif
