#include "restart.h"

#include <limits.h>
#include <stdio.h>
#include <unistd.h>

#include "whole_file.h"

#define FILE_NAME "restart"
#define NEW_NAME "restart.new"

bool restart_read(const char *folder, struct restart *left)
{
    char path[PATH_MAX];
    const struct whole_files files = {.folder = folder};
    whole_file_path(&files, NEW_NAME, path); /* of a power cut */
    (void)unlink(path);
    whole_file_path(&files, FILE_NAME, path);
    FILE *const file = fopen(path, "re");
    if (file == NULL) {
        return false;
    }
    const int found =
        fscanf(file, "%lf %lf %lf %hu", &left->motor, &left->output, &left->warm_c, &left->stream_port);
    (void)fclose(file);
    return found == 4;
}

bool restart_keep(const char *folder, const struct restart *left)
{
    char text[128];
    struct whole_files files = {.folder = folder};
    const int length = snprintf(text, sizeof text, "%.17g %.17g %.17g %u\n", left->motor, left->output, left->warm_c,
                                (unsigned)left->stream_port);
    return whole_file_put(&files, FILE_NAME, NEW_NAME, text, (size_t)length);
}
