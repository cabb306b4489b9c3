#include "cable_store.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILE_NAME "board"
#define NEW_NAME "board.new"
#define KEY_NAME "arm.key"
#define MAGIC "uj-board-1\n"
#define POWER_LOST 9

struct image {
    char magic[sizeof MAGIC];
    struct cable_kept kept;
};

/* Each step on the disk, at which the power may go. */
static void step(struct cable_store *store)
{
    if (store->cut_before > 0 && --store->cut_before == 0) {
        _exit(POWER_LOST);
    }
}

static void path_of(const struct cable_store *store, const char *name, char path[PATH_MAX])
{
    (void)snprintf(path, PATH_MAX, "%s/%s", store->folder, name);
}

static bool sync_folder(const struct cable_store *store)
{
    const int folder = open(store->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    const bool synced = folder >= 0 && fsync(folder) == 0;
    if (folder >= 0) {
        (void)close(folder);
    }
    return synced;
}

static bool write_new(struct cable_store *store, const char *path, const void *bytes, size_t length)
{
    (void)unlink(path);
    step(store);
    const int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR);
    if (file < 0) {
        return false;
    }
    step(store);
    /* In two, so that the power can go with a part of it written. */
    const size_t half = length / 2;
    bool sound = write(file, bytes, half) == (ssize_t)half;
    step(store);
    sound = sound && write(file, (const uint8_t *)bytes + half, length - half) == (ssize_t)(length - half);
    step(store);
    sound = sound && fsync(file) == 0;
    sound = close(file) == 0 && sound;
    if (!sound) {
        (void)unlink(path);
    }
    return sound;
}

bool cable_store_put(struct cable_store *store, const struct cable_kept *kept)
{
    char path[PATH_MAX], beside[PATH_MAX];
    struct image image = {.magic = MAGIC, .kept = *kept};
    path_of(store, FILE_NAME, path);
    path_of(store, NEW_NAME, beside);
    bool sound = write_new(store, beside, &image, sizeof image);
    explicit_bzero(&image, sizeof image);
    if (sound) {
        step(store);
        sound = rename(beside, path) == 0;
        step(store);
        sound = sound && sync_folder(store);
        step(store);
    }
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
    store->folder = folder;
    if (mkdir(folder, S_IRWXU) != 0 && errno != EEXIST) {
        fprintf(stderr, "bare_joint: %s cannot be made: %s\n", folder, strerror(errno));
        return false;
    }
    path_of(store, NEW_NAME, path); /* of a power cut */
    (void)unlink(path);
    path_of(store, KEY_NAME, path);
    (void)unlink(path);
    path_of(store, FILE_NAME, path);
    const int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0 && errno == ENOENT) {
        return true;
    }
    const ssize_t length = file < 0 ? -1 : read(file, &image, sizeof image);
    if (file >= 0) {
        (void)close(file);
    }
    if (length != (ssize_t)sizeof image || memcmp(image.magic, MAGIC, sizeof MAGIC) != 0 ||
        !lengths_hold(&image.kept)) {
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
    path_of(store, KEY_NAME, path);
    const bool sound = write_new(store, path, text, 2 * UJ_KEY_BYTES + 1);
    explicit_bzero(text, sizeof text);
    return sound ? path : NULL;
}
