/* Where the record of what this board was told is kept: one entry of the SDK's store in flash. */
#ifndef STORE_H
#define STORE_H

#include "cable_memory.h"

/* Reads what is known; nothing where there is no record, or none that can be read. */
void store_begin(struct uj_memory *memory);

#endif
