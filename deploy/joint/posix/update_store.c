#include "update_store.h"

#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILE_NAME "updates"
#define NEW_NAME "updates.new"
#define MAGIC "uj-updates-1\n"

enum { NO_TRIAL, TRIAL_ASKED, TRIAL_RUNS };

static const char *const NAMES[UPDATE_SLOTS] = {"slot-a", "slot-b"};

struct record {
    char magic[sizeof MAGIC];
    struct update_kept kept;
};

/* The slot beside the confirmed one, from 0. */
static size_t other(const struct update_kept *kept)
{
    return kept->runs == 1 ? 1 : 0;
}

static bool put(struct update_store *store, const struct update_kept *kept)
{
    const struct record record = {.magic = MAGIC, .kept = *kept};
    const bool sound = whole_file_put(&store->files, FILE_NAME, NEW_NAME, &record, sizeof record);
    if (sound) {
        store->kept = *kept;
    }
    return sound;
}

bool update_store_open(struct update_store *store, const char *folder)
{
    struct record record;
    store->files.folder = folder;
    store->incoming = -1;
    const enum whole_file found = whole_file_read(&store->files, FILE_NAME, &record, sizeof record);
    if (found == WHOLE_FILE_NONE) {
        store->kept = (struct update_kept){.trial = NO_TRIAL};
        return true;
    }
    if (found != WHOLE_FILE_READ || memcmp(record.magic, MAGIC, sizeof MAGIC) != 0 ||
        record.kept.runs > UPDATE_SLOTS || record.kept.trial > TRIAL_RUNS) {
        fprintf(stderr, "joint: %s/%s holds nothing that was stored here\n", folder, FILE_NAME);
        return false;
    }
    store->kept = record.kept;
    return true;
}

bool update_store_boot(struct update_store *store)
{
    struct update_kept kept = store->kept;
    if (kept.trial == NO_TRIAL) {
        return true;
    }
    if (kept.trial == TRIAL_ASKED) {
        kept.trial = TRIAL_RUNS;
    } else {
        kept.trial = NO_TRIAL;
        kept.has_header[other(&kept)] = 0;
    }
    const bool sound = put(store, &kept);
    if (!sound) {
        store->kept.trial = NO_TRIAL;
    }
    return sound;
}

/* The slot that runs, from 0; UPDATE_SLOTS for what came by the cable. */
static size_t running(const struct update_kept *kept)
{
    return kept->trial == TRIAL_RUNS ? other(kept) : kept->runs > 0 ? kept->runs - 1u : UPDATE_SLOTS;
}

const char *update_store_program(const struct update_store *store, struct uj_image_header *header)
{
    static char path[PATH_MAX];
    const size_t slot = running(&store->kept);
    if (slot == UPDATE_SLOTS || uj_image_header_read(store->kept.header[slot], header) != UJ_ACCEPTED) {
        return NULL;
    }
    whole_file_path(&store->files, NAMES[slot], path);
    return path;
}

bool update_store_on_trial(const struct update_store *store)
{
    struct record record;
    return whole_file_read(&store->files, FILE_NAME, &record, sizeof record) == WHOLE_FILE_READ &&
           record.kept.trial == TRIAL_RUNS;
}

/* ---- what update.c asks ---- */

/* What was there of the slot's file is kept, as far as it goes. */
static int open_slot(const struct update_store *store, size_t slot)
{
    char path[PATH_MAX];
    whole_file_path(&store->files, NAMES[slot], path);
    return open(path, O_RDWR | O_CREAT | O_CLOEXEC, S_IRWXU);
}

static void close_incoming(struct update_store *store)
{
    if (store->incoming >= 0) {
        (void)close(store->incoming);
        store->incoming = -1;
    }
}

/* Another image comes than the slot has: its file is emptied before the record says whose it is. */
static bool begin_anew(struct update_store *store, size_t slot, const uint8_t *header)
{
    struct update_kept kept = store->kept;
    whole_file_step(&store->files);
    if (ftruncate(store->incoming, 0) != 0) {
        return false;
    }
    whole_file_step(&store->files);
    if (fsync(store->incoming) != 0 || !whole_file_sync_folder(&store->files)) {
        return false;
    }
    kept.has_header[slot] = 1;
    memcpy(kept.header[slot], header, UJ_IMAGE_HEADER_BYTES);
    return put(store, &kept);
}

/* A power cut may take what was written since: what is told is on the disk. A file system that lost bytes within it
 * would be found by the image's SHA-256. */
static bool begin_where_it_was(struct update_store *store, size_t slot, uint32_t *received)
{
    struct uj_image_header known;
    struct stat facts;
    if (uj_image_header_read(store->kept.header[slot], &known) != UJ_ACCEPTED ||
        fstat(store->incoming, &facts) != 0) {
        return false;
    }
    const off_t length = facts.st_size < (off_t)known.size ? facts.st_size : (off_t)known.size;
    *received = (uint32_t)length;
    whole_file_step(&store->files);
    return ftruncate(store->incoming, length) == 0 && fsync(store->incoming) == 0 &&
           whole_file_sync_folder(&store->files);
}

static bool begin(void *owner, const uint8_t header[UJ_IMAGE_HEADER_BYTES], uint32_t *received)
{
    struct update_store *store = owner;
    const size_t slot = other(&store->kept);
    if (store->kept.trial != NO_TRIAL) {
        return false;
    }
    close_incoming(store);
    store->incoming = open_slot(store, slot);
    if (store->incoming < 0) {
        return false;
    }
    *received = 0;
    if (store->kept.has_header[slot] != 0 &&
        memcmp(store->kept.header[slot], header, UJ_IMAGE_HEADER_BYTES) == 0) {
        return begin_where_it_was(store, slot, received);
    }
    return begin_anew(store, slot, header);
}

static bool write_at(int file, uint32_t offset, const uint8_t *bytes, size_t count)
{
    return pwrite(file, bytes, count, (off_t)offset) == (ssize_t)count;
}

static bool write_some(void *owner, uint32_t offset, const uint8_t *bytes, size_t count)
{
    struct update_store *store = owner;
    /* In two, so that the power can go with a part of it written. */
    const size_t half = count / 2;
    whole_file_step(&store->files);
    if (!write_at(store->incoming, offset, bytes, half)) {
        return false;
    }
    whole_file_step(&store->files);
    return write_at(store->incoming, offset + (uint32_t)half, bytes + half, count - half);
}

static bool read_some(void *owner, uint32_t offset, uint8_t *bytes, size_t count)
{
    const struct update_store *store = owner;
    return pread(store->incoming, bytes, count, (off_t)offset) == (ssize_t)count;
}

static void drop(void *owner)
{
    struct update_store *store = owner;
    whole_file_step(&store->files);
    (void)ftruncate(store->incoming, 0); /* of the same image nothing is kept then */
    (void)fsync(store->incoming);
    close_incoming(store);
}

static bool install(void *owner)
{
    struct update_store *store = owner;
    struct update_kept kept = store->kept;
    kept.trial = TRIAL_ASKED;
    whole_file_step(&store->files);
    return fchmod(store->incoming, S_IRWXU) == 0 && fsync(store->incoming) == 0 && put(store, &kept);
}

static bool confirm(void *owner)
{
    struct update_store *store = owner;
    struct update_kept kept = store->kept;
    kept.runs = (uint8_t)(other(&kept) + 1);
    kept.trial = NO_TRIAL;
    kept.has_header[other(&kept)] = 0;
    return put(store, &kept);
}

struct uj_update_start update_store_start(struct update_store *store)
{
    const size_t slot = running(&store->kept);
    struct uj_image_header header;
    struct uj_update_start start = {.hooks = {.owner = store,
                                              .begin = begin,
                                              .write = write_some,
                                              .read = read_some,
                                              .drop = drop,
                                              .install = install,
                                              .confirm = confirm},
                                    .on_trial = store->kept.trial == TRIAL_RUNS};
    if (slot < UPDATE_SLOTS && uj_image_header_read(store->kept.header[slot], &header) == UJ_ACCEPTED) {
        start.has_image = true;
        memcpy(start.image, header.sha256, sizeof start.image);
    }
    return start;
}
