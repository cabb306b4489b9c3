#include "whole_file.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/stat.h>
#include <unistd.h>

void whole_file_step(struct whole_files *files)
{
    if (files->cut_before > 0 && --files->cut_before == 0) {
        _exit(WHOLE_FILE_POWER_LOST);
    }
}

void whole_file_path(const struct whole_files *files, const char *name, char *path)
{
    (void)snprintf(path, PATH_MAX, "%s/%s", files->folder, name);
}

bool whole_file_sync_folder(const struct whole_files *files)
{
    const int folder = open(files->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    const bool synced = folder >= 0 && fsync(folder) == 0;
    if (folder >= 0) {
        (void)close(folder);
    }
    return synced;
}

bool whole_file_write(struct whole_files *files, const char *name, const void *bytes, size_t length)
{
    char path[PATH_MAX];
    whole_file_path(files, name, path);
    (void)unlink(path);
    whole_file_step(files);
    const int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR);
    if (file < 0) {
        return false;
    }
    whole_file_step(files);
    /* In two, so that the power can go with a part of it written. */
    const size_t half = length / 2;
    bool sound = write(file, bytes, half) == (ssize_t)half;
    whole_file_step(files);
    sound = sound && write(file, (const uint8_t *)bytes + half, length - half) == (ssize_t)(length - half);
    whole_file_step(files);
    sound = sound && fsync(file) == 0;
    sound = close(file) == 0 && sound;
    if (!sound) {
        (void)unlink(path);
    }
    return sound;
}

bool whole_file_put(struct whole_files *files, const char *name, const char *beside, const void *bytes, size_t length)
{
    char path[PATH_MAX], new_path[PATH_MAX];
    whole_file_path(files, name, path);
    whole_file_path(files, beside, new_path);
    if (!whole_file_write(files, beside, bytes, length)) {
        return false;
    }
    whole_file_step(files);
    bool sound = rename(new_path, path) == 0;
    whole_file_step(files);
    sound = sound && whole_file_sync_folder(files);
    whole_file_step(files);
    return sound;
}

enum whole_file whole_file_read(const struct whole_files *files, const char *name, void *bytes, size_t length)
{
    char path[PATH_MAX];
    uint8_t more;
    whole_file_path(files, name, path);
    const int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0) {
        return errno == ENOENT ? WHOLE_FILE_NONE : WHOLE_FILE_WRONG;
    }
    const bool sound = read(file, bytes, length) == (ssize_t)length && read(file, &more, 1) == 0;
    (void)close(file);
    return sound ? WHOLE_FILE_READ : WHOLE_FILE_WRONG;
}
