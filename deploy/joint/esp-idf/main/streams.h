/* The WebSockets: bytes of a socket to messages for the joint, and back. All of it runs in the joint's task. */
#ifndef STREAMS_H
#define STREAMS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "sdk.h"

#define STREAMS_PATH "/joint"

/* Adds every open stream; returns the highest number, `highest` or above. */
int streams_watch(fd_set *readable, int highest);

/* Reads those that are in the set. */
void streams_read(const fd_set *readable);

void streams_accept(int listener);

/* For struct uj_shell: called by the joint. */
void streams_send(void *context, uint32_t connection, bool text, const uint8_t *bytes, size_t length);
void streams_close(void *context, uint32_t connection, unsigned code);

#endif
