/* What this joint was given over its cable: the arm's key and the network. */
#ifndef STORE_H
#define STORE_H

#include <stdbool.h>

#include "keys.h"

struct store {
    uint8_t key[UJ_KEY_BYTES];
    char network[32];  /* ends with 0 where it is shorter */
    char password[64]; /* the same */
};

/* Reads all of it; false, having said what is missing, where something is. */
bool store_read(struct store *store);

#endif
