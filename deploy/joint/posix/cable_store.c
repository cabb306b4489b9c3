#include "cable_store.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILE_NAME "board"
#define NEW_NAME "board.new"
#define KEY_NAME "arm.key"

static bool put(void *owner, const uint8_t record[UJ_MEMORY_BYTES])
{
    struct cable_store *store = owner;
    return whole_file_put(&store->files, FILE_NAME, NEW_NAME, record, UJ_MEMORY_BYTES);
}

bool cable_store_open(struct cable_store *store, const char *folder)
{
    char path[PATH_MAX];
    uint8_t record[UJ_MEMORY_BYTES] = {0};
    store->files.folder = folder;
    store->memory = (struct uj_memory){.put = put, .owner = store};
    if (mkdir(folder, S_IRWXU) != 0 && errno != EEXIST) {
        fprintf(stderr, "bare_joint: %s cannot be made: %s\n", folder, strerror(errno));
        return false;
    }
    whole_file_path(&store->files, NEW_NAME, path); /* of a power cut */
    (void)unlink(path);
    whole_file_path(&store->files, KEY_NAME, path);
    (void)unlink(path);
    const enum whole_file found = whole_file_read(&store->files, FILE_NAME, record, sizeof record);
    const bool sound = found == WHOLE_FILE_READ && uj_memory_read(&store->memory, record, sizeof record);
    explicit_bzero(record, sizeof record);
    if (found != WHOLE_FILE_NONE && !sound) {
        whole_file_path(&store->files, FILE_NAME, path);
        fprintf(stderr, "bare_joint: %s holds nothing that was stored here\n", path);
        return false;
    }
    return true;
}

const char *cable_store_key_file(struct cable_store *store)
{
    static char path[PATH_MAX];
    char text[2 * UJ_KEY_BYTES + 2];
    for (size_t i = 0; i < UJ_KEY_BYTES; i++) {
        (void)snprintf(text + 2 * i, 3, "%02x", store->memory.told.key[i]);
    }
    text[2 * UJ_KEY_BYTES] = '\n';
    const bool sound = whole_file_write(&store->files, KEY_NAME, text, 2 * UJ_KEY_BYTES + 1);
    explicit_bzero(text, sizeof text);
    whole_file_path(&store->files, KEY_NAME, path);
    return sound ? path : NULL;
}
