/* The log of what truly happened, one JSON object a line, whatever the joint reports. */
#ifndef TRUTH_H
#define TRUTH_H

#include <stdbool.h>
#include <stdint.h>

struct truth_log {
    int file; /* -1: nobody asked for it */
    const char *joint;
};

struct truth_line {
    const char *event;
    double true_us;
    double position, output_position; /* true counts */
    int64_t path_us;
    uint32_t trajectory;
    uint8_t outputs, inputs;
};

/* Opens the log to append to it; `path` null: nothing is written. False, having told why, where it cannot be. */
bool truth_open(struct truth_log *log, const char *path, const char *joint);

/* Writes one whole line, so that others may write to the same file. */
void truth_write(const struct truth_log *log, const struct truth_line *line);

#endif
