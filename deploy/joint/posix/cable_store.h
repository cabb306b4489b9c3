/* What a board was told over its cable, in a folder of the owner's alone: one file, so that every change is there
 * whole or not at all. */
#ifndef CABLE_STORE_H
#define CABLE_STORE_H

#include <stdbool.h>
#include <stdint.h>

#include "cable_board.h"
#include "whole_file.h"

struct cable_store {
    struct whole_files files;
    struct cable_kept {
        bool has_key;
        uint8_t key[UJ_KEY_BYTES];
        uint8_t ssid[UJ_CABLE_SSID_MAX];
        uint8_t ssid_length;
        uint8_t password[UJ_CABLE_PASSWORD_MAX];
        uint8_t password_length;
        uint8_t name[UJ_CABLE_TEXT_MAX];
        uint8_t name_length;
        bool has_update_key;
        uint8_t update_key[UJ_KEY_BYTES]; /* that signs updates, the public half */
    } kept;
};

/* Makes the folder where there is none, and reads what is kept. False, having told why on standard error. */
bool cable_store_open(struct cable_store *store, const char *folder);

/* Stores other facts in place of those that are kept; false where that cannot be, with those untouched. */
bool cable_store_put(struct cable_store *store, const struct cable_kept *kept);

/* The key as a file arm.key, for the joint's program; its path, or null. */
const char *cable_store_key_file(struct cable_store *store);

#endif
