#include "truth.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

bool truth_open(struct truth_log *log, const char *path, const char *joint)
{
    *log = (struct truth_log){.file = -1, .joint = joint};
    if (path == NULL) {
        return true;
    }
    log->file = open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0666);
    if (log->file < 0) {
        fprintf(stderr, "joint: %s cannot be written: %s\n", path, strerror(errno));
    }
    return log->file >= 0;
}

void truth_write(const struct truth_log *log, const struct truth_line *line)
{
    char text[512];
    if (log->file < 0) {
        return;
    }
    const int length =
        snprintf(text, sizeof text,
                 "{\"joint\": \"%s\", \"event\": \"%s\", \"at_ns\": %.0f, \"position\": %.1f, "
                 "\"output_position\": %.1f, \"path_us\": %" PRId64 ", \"trajectory\": %" PRIu32
                 ", \"outputs\": %u, \"inputs\": %u}\n",
                 log->joint, line->event, line->true_us * 1e3, line->position, line->output_position, line->path_us,
                 line->trajectory, line->outputs, line->inputs);
    if (length > 0 && (size_t)length < sizeof text && write(log->file, text, (size_t)length) < length) {
        fprintf(stderr, "joint: the truth cannot be written: %s\n", strerror(errno));
    }
}
