/* The cable's task: over it this board is told key, network and name (protocol/CABLE.md). */
#ifndef TOLD_H
#define TOLD_H

#include "body.h"
#include "cable_memory.h"

/* Serves the cable. `memory` is the task's from now on, and must stay. `is_joint`: a joint runs, which restarts by
 * itself when asked. */
void told_begin(struct uj_memory *memory, const struct uj_settings *settings, bool is_joint);

#endif
