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
#define MAGIC "uj-board-2\n"

struct image {
    char magic[sizeof MAGIC];
    struct cable_kept kept;
};

bool cable_store_put(struct cable_store *store, const struct cable_kept *kept)
{
    struct image image = {.magic = MAGIC, .kept = *kept};
    const bool sound = whole_file_put(&store->files, FILE_NAME, NEW_NAME, &image, sizeof image);
    explicit_bzero(&image, sizeof image);
    if (sound) {
        store->kept = *kept;
    }
    return sound;
}

static bool lengths_hold(const struct cable_kept *kept)
{
    return kept->ssid_length <= sizeof kept->ssid && kept->password_length <= sizeof kept->password &&
           kept->name_length <= sizeof kept->name;
}

bool cable_store_open(struct cable_store *store, const char *folder)
{
    char path[PATH_MAX];
    struct image image = {.magic = ""};
    store->files.folder = folder;
    if (mkdir(folder, S_IRWXU) != 0 && errno != EEXIST) {
        fprintf(stderr, "bare_joint: %s cannot be made: %s\n", folder, strerror(errno));
        return false;
    }
    whole_file_path(&store->files, NEW_NAME, path); /* of a power cut */
    (void)unlink(path);
    whole_file_path(&store->files, KEY_NAME, path);
    (void)unlink(path);
    const enum whole_file found = whole_file_read(&store->files, FILE_NAME, &image, sizeof image);
    if (found == WHOLE_FILE_NONE) {
        return true;
    }
    if (found != WHOLE_FILE_READ || memcmp(image.magic, MAGIC, sizeof MAGIC) != 0 || !lengths_hold(&image.kept)) {
        whole_file_path(&store->files, FILE_NAME, path);
        fprintf(stderr, "bare_joint: %s holds nothing that was stored here\n", path);
        return false;
    }
    store->kept = image.kept;
    explicit_bzero(&image, sizeof image);
    return true;
}

const char *cable_store_key_file(struct cable_store *store)
{
    static char path[PATH_MAX];
    char text[2 * UJ_KEY_BYTES + 2];
    for (size_t i = 0; i < UJ_KEY_BYTES; i++) {
        (void)snprintf(text + 2 * i, 3, "%02x", store->kept.key[i]);
    }
    text[2 * UJ_KEY_BYTES] = '\n';
    const bool sound = whole_file_write(&store->files, KEY_NAME, text, 2 * UJ_KEY_BYTES + 1);
    explicit_bzero(text, sizeof text);
    whole_file_path(&store->files, KEY_NAME, path);
    return sound ? path : NULL;
}
