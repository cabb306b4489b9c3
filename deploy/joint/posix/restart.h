/* What a restart of the board leaves as it is: its axis stands where it stood, and its port stays. Kept beside the
 * firmware, as the next process may be another program. A restart that nobody asked for finds what the one before kept:
 * firmware on trial moves nothing, as the first drive confirms it. */
#ifndef RESTART_H
#define RESTART_H

#include <stdbool.h>
#include <stdint.h>

struct restart {
    double motor, output; /* true counts */
    double warm_c;
    uint16_t stream_port;
};

/* False where none was kept. */
bool restart_read(const char *folder, struct restart *left);

/* False where it cannot be kept. */
bool restart_keep(const char *folder, const struct restart *left);

#endif
