/* What a board was told over its cable, in a folder of the owner's alone: one file, so that every change is there
 * whole or not at all. */
#ifndef CABLE_STORE_H
#define CABLE_STORE_H

#include <stdbool.h>

#include "cable_memory.h"
#include "whole_file.h"

struct cable_store {
    struct whole_files files;
    struct uj_memory memory;
};

/* Makes the folder where there is none, and reads what is kept. False, having told why on standard error. The store
 * must stay where it is. */
bool cable_store_open(struct cable_store *store, const char *folder);

/* The key as a file arm.key, for the joint's program; its path, or null. */
const char *cable_store_key_file(struct cable_store *store);

#endif
