#include "key_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define KEY_FILE_BYTES 1024 /* 64 digits, and white space around them */

static bool read_open(int file, const char *path, uint8_t key[UJ_KEY_BYTES])
{
    struct stat facts;
    char text[KEY_FILE_BYTES];
    if (fstat(file, &facts) != 0 || !S_ISREG(facts.st_mode)) {
        fprintf(stderr, "joint: %s is no regular file\n", path);
        return false;
    }
    if ((facts.st_mode & (S_IRWXG | S_IRWXO)) != 0) {
        fprintf(stderr, "joint: %s is open to other users (mode %04o), who could move the arm: run 'chmod 600 %s'\n",
                path, (unsigned)facts.st_mode & 07777u, path);
        return false;
    }
    const ssize_t length = read(file, text, sizeof text);
    const bool sound = length >= 0 && (size_t)length < sizeof text && uj_key_file(text, (size_t)length, key);
    explicit_bzero(text, sizeof text);
    if (!sound) {
        fprintf(stderr, "joint: %s holds no key of 64 hex digits\n", path);
    }
    return sound;
}

bool key_file_read(const char *path, uint8_t key[UJ_KEY_BYTES])
{
    /* A pipe would keep whoever opens it waiting. */
    const int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0) {
        fprintf(stderr, "joint: %s cannot be read: %s\n", path, strerror(errno));
        return false;
    }
    const bool sound = read_open(file, path, key);
    (void)close(file);
    return sound;
}
