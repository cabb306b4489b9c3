#include "cable_memory.h"

#include <string.h>

#define VERSION 2

/* Where the fields are in a record. */
enum place {
    AT_VERSION = 0,
    AT_HAS_KEY = 1,
    AT_KEY = 2,
    AT_SSID = AT_KEY + UJ_KEY_BYTES, /* each text with its length before it */
    AT_PASSWORD = AT_SSID + 1 + UJ_CABLE_SSID_MAX,
    AT_NAME = AT_PASSWORD + 1 + UJ_CABLE_PASSWORD_MAX,
    AT_HAS_UPDATE_KEY = AT_NAME + 1 + UJ_CABLE_TEXT_MAX,
    AT_UPDATE_KEY,
    AT_END = AT_UPDATE_KEY + UJ_KEY_BYTES
};
_Static_assert((int)AT_END == UJ_MEMORY_BYTES, "a record has as many bytes as its fields");

/* A memset that the compiler keeps: nothing reads these bytes any more, and they were a key. */
static void wipe(void *bytes, size_t length)
{
    volatile uint8_t *at = bytes;
    while (length > 0) {
        at[--length] = 0;
    }
}

static void copy(uint8_t *to, uint8_t *to_length, size_t space, struct uj_cable_text text)
{
    memset(to, 0, space);
    memcpy(to, text.bytes, text.length);
    *to_length = (uint8_t)text.length;
}

static void write_text(uint8_t *record, const uint8_t *text, uint8_t length)
{
    record[0] = length;
    memcpy(record + 1, text, length);
}

static bool read_text(const uint8_t *record, uint8_t *text, uint8_t *length, size_t space)
{
    if (record[0] > space) {
        return false;
    }
    memcpy(text, record + 1, record[0]);
    *length = record[0];
    return true;
}

bool uj_memory_read(struct uj_memory *memory, const uint8_t *record, size_t length)
{
    struct uj_told told = {.has_key = false};
    const bool is_one = length == UJ_MEMORY_BYTES && record[AT_VERSION] == VERSION && record[AT_HAS_KEY] <= 1 &&
                        read_text(record + AT_SSID, told.ssid, &told.ssid_length, sizeof told.ssid) &&
                        read_text(record + AT_PASSWORD, told.password, &told.password_length, sizeof told.password) &&
                        read_text(record + AT_NAME, told.name, &told.name_length, sizeof told.name) &&
                        record[AT_HAS_UPDATE_KEY] <= 1;
    wipe(&memory->told, sizeof memory->told);
    if (is_one) {
        told.has_key = record[AT_HAS_KEY] == 1;
        memcpy(told.key, record + AT_KEY, sizeof told.key);
        told.has_update_key = record[AT_HAS_UPDATE_KEY] == 1;
        memcpy(told.update_key, record + AT_UPDATE_KEY, sizeof told.update_key);
        memory->told = told;
    }
    wipe(&told, sizeof told);
    return is_one;
}

/* Keeps `told` in place of what is known, and wipes it. */
static bool put(struct uj_memory *memory, struct uj_told *told)
{
    uint8_t record[UJ_MEMORY_BYTES] = {[AT_VERSION] = VERSION,
                                       [AT_HAS_KEY] = told->has_key ? 1 : 0,
                                       [AT_HAS_UPDATE_KEY] = told->has_update_key ? 1 : 0};
    memcpy(record + AT_KEY, told->key, sizeof told->key);
    write_text(record + AT_SSID, told->ssid, told->ssid_length);
    write_text(record + AT_PASSWORD, told->password, told->password_length);
    write_text(record + AT_NAME, told->name, told->name_length);
    memcpy(record + AT_UPDATE_KEY, told->update_key, sizeof told->update_key);
    const bool kept = memory->put(memory->owner, record);
    if (kept) {
        memory->told = *told;
    }
    wipe(record, sizeof record);
    wipe(told, sizeof *told);
    return kept;
}

static enum uj_cable_key compared(bool there, const uint8_t *kept, const uint8_t *key)
{
    if (!there) {
        return UJ_CABLE_NO_KEY;
    }
    return memcmp(kept, key, UJ_KEY_BYTES) == 0 ? UJ_CABLE_SAME_KEY : UJ_CABLE_OTHER_KEY;
}

enum uj_cable_key uj_memory_compare_key(void *owner, const uint8_t key[UJ_KEY_BYTES])
{
    const struct uj_memory *memory = owner;
    return compared(memory->told.has_key, memory->told.key, key);
}

enum uj_cable_key uj_memory_compare_update_key(void *owner, const uint8_t key[UJ_KEY_BYTES])
{
    const struct uj_memory *memory = owner;
    return compared(memory->told.has_update_key, memory->told.update_key, key);
}

bool uj_memory_set_wifi(void *owner, struct uj_cable_text ssid, struct uj_cable_text password)
{
    struct uj_memory *memory = owner;
    struct uj_told told = memory->told;
    copy(told.ssid, &told.ssid_length, sizeof told.ssid, ssid);
    copy(told.password, &told.password_length, sizeof told.password, password);
    return put(memory, &told);
}

bool uj_memory_set_key(void *owner, const uint8_t key[UJ_KEY_BYTES])
{
    struct uj_memory *memory = owner;
    struct uj_told told = memory->told;
    told.has_key = true;
    memcpy(told.key, key, sizeof told.key);
    return put(memory, &told);
}

bool uj_memory_set_update_key(void *owner, const uint8_t key[UJ_KEY_BYTES])
{
    struct uj_memory *memory = owner;
    struct uj_told told = memory->told;
    told.has_update_key = true;
    memcpy(told.update_key, key, sizeof told.update_key);
    return put(memory, &told);
}

bool uj_memory_set_name(void *owner, struct uj_cable_text name)
{
    struct uj_memory *memory = owner;
    struct uj_told told = memory->told;
    copy(told.name, &told.name_length, sizeof told.name, name);
    return put(memory, &told);
}

bool uj_memory_forget(void *owner)
{
    struct uj_told nothing = {.has_key = false};
    return put(owner, &nothing);
}

void uj_memory_tell(const struct uj_memory *memory, struct uj_cable_who *who)
{
    const struct uj_told *told = &memory->told;
    who->has_key = told->has_key;
    who->ssid = (struct uj_cable_text){told->ssid, told->ssid_length};
    who->name = (struct uj_cable_text){told->name, told->name_length};
    who->has_update_key = told->has_update_key;
}
