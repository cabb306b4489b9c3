/* A file in a folder that is there whole or not at all, whenever the power goes. */
#ifndef WHOLE_FILE_H
#define WHOLE_FILE_H

#include <stdbool.h>
#include <stddef.h>

#define WHOLE_FILE_POWER_LOST 9 /* exit code where a test has it go */

struct whole_files {
    const char *folder;
    int cut_before; /* this many steps on the disk from now the power goes; 0 never */
};

/* A step on the disk, at which the power may go. */
void whole_file_step(struct whole_files *files);

/* The path of a file of that name; `path` has PATH_MAX bytes. */
void whole_file_path(const struct whole_files *files, const char *name, char *path);

/* What was made or renamed in the folder outlives a power cut. */
bool whole_file_sync_folder(const struct whole_files *files);

/* Writes a new file, for its owner alone, in place of one of that name; false with none there. A power cut may leave a
 * part of it. */
bool whole_file_write(struct whole_files *files, const char *name, const void *bytes, size_t length);

/* The same by way of a file named `beside`, so that it is there whole, or what was there before. */
bool whole_file_put(struct whole_files *files, const char *name, const char *beside, const void *bytes, size_t length);

enum whole_file { WHOLE_FILE_READ, WHOLE_FILE_NONE, WHOLE_FILE_WRONG };

/* Reads a file of just that length. */
enum whole_file whole_file_read(const struct whole_files *files, const char *name, void *bytes, size_t length);

#endif
