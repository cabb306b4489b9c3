/* What a board was told over its cable, as one record: so a change is there whole or not at all, and what is forgotten
 * is forgotten at once. Where the record is kept is its owner's. */
#ifndef UJ_CABLE_MEMORY_H
#define UJ_CABLE_MEMORY_H

#include "cable_board.h"

#define UJ_MEMORY_BYTES                                                                                                \
    (2 + UJ_KEY_BYTES + 1 + UJ_CABLE_SSID_MAX + 1 + UJ_CABLE_PASSWORD_MAX + 1 + UJ_CABLE_TEXT_MAX + 1 + UJ_KEY_BYTES)

struct uj_told {
    bool has_key;
    uint8_t key[UJ_KEY_BYTES];
    uint8_t ssid[UJ_CABLE_SSID_MAX];
    uint8_t ssid_length; /* 0: no network */
    uint8_t password[UJ_CABLE_PASSWORD_MAX];
    uint8_t password_length;
    uint8_t name[UJ_CABLE_TEXT_MAX];
    uint8_t name_length; /* 0: no name */
    bool has_update_key;
    uint8_t update_key[UJ_KEY_BYTES]; /* that signs updates, the public half */
};

struct uj_memory {
    struct uj_told told;
    /* Keeps the record for good in place of the one before; false with that one untouched. */
    bool (*put)(void *owner, const uint8_t record[UJ_MEMORY_BYTES]);
    void *owner;
};

/* Takes what is known from a record; false, and nothing is known, where it is none. */
bool uj_memory_read(struct uj_memory *memory, const uint8_t *record, size_t length);

/* For struct uj_cable_hooks, with a struct uj_memory as owner; those of the update key where it takes updates. */
enum uj_cable_key uj_memory_compare_key(void *owner, const uint8_t key[UJ_KEY_BYTES]);
enum uj_cable_key uj_memory_compare_update_key(void *owner, const uint8_t key[UJ_KEY_BYTES]);
bool uj_memory_set_wifi(void *owner, struct uj_cable_text ssid, struct uj_cable_text password);
bool uj_memory_set_key(void *owner, const uint8_t key[UJ_KEY_BYTES]);
bool uj_memory_set_update_key(void *owner, const uint8_t key[UJ_KEY_BYTES]);
bool uj_memory_set_name(void *owner, struct uj_cable_text name);
bool uj_memory_forget(void *owner);

/* What `who` tells of it: has_key, ssid, name, has_update_key. */
void uj_memory_tell(const struct uj_memory *memory, struct uj_cable_who *who);

#endif
