/* Two partitions for programs, of which one runs and one may come: the hooks of core/update.h by the SDK's partitions,
 * its loader with rollback and its store. Never run on a microcontroller: tests run it on a flash memory, a loader and a
 * store that are imitated by the SDK's documents and sources.
 *
 * What the loader is to start is the SDK's own record (otadata). What is in a partition is noted here, one entry of the
 * store each: whose image it is, how far it is on flash, and from when on it may be run. Bytes are on flash once they are
 * written; a note of them is made behind every 64 KiB, and whenever the image is announced. Only what is noted is kept
 * through a power cut. */
#ifndef SLOTS_H
#define SLOTS_H

#include "update.h"

/* Looks at what runs, once, before its joint begins; `start` lacks the key. */
void slots_begin(struct uj_update_start *start);

/* The largest image in bytes; 0 where there is no second partition. */
uint32_t slots_capacity(void);

#endif
