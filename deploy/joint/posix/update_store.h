/* Two slots for firmware as files of a board's folder, `slot-a` and `slot-b`, and a record of which of them runs. What
 * came by the cable is in neither: it runs until the first update is confirmed. */
#ifndef UPDATE_STORE_H
#define UPDATE_STORE_H

#include <stdbool.h>
#include <stdint.h>

#include "image.h"
#include "update.h"
#include "whole_file.h"

#define UPDATE_SLOTS 2
#define UPDATE_RESTARTS 10 /* exit code of a joint that is to begin with the firmware to be tried, or the one before */

struct update_store {
    struct whole_files files;
    int incoming; /* the file that comes, -1 for none */
    struct update_kept {
        uint8_t runs;  /* the confirmed one: 0 what came by the cable, 1 slot-a, 2 slot-b */
        uint8_t trial; /* enum of update_store.c: what becomes of the slot that does not run */
        uint8_t has_header[UPDATE_SLOTS]; /* of what runs, and of what comes */
        uint8_t header[UPDATE_SLOTS][UJ_IMAGE_HEADER_BYTES];
    } kept;
};

/* Reads what is kept in the folder. False, having told why on standard error. */
bool update_store_open(struct update_store *store, const char *folder);

/* The boot's own step, before anything runs: an image that is to be tried is tried once; one that was, and did not
 * confirm itself, gives way. False where that cannot be noted: then what is confirmed runs, and nothing is tried. */
bool update_store_boot(struct update_store *store);

/* What runs since the boot: the path of its file, null for what came by the cable; `header` gets its header. */
const char *update_store_program(const struct update_store *store, struct uj_image_header *header);

/* Whether that is on trial, as far as is noted now by whichever program. */
bool update_store_on_trial(const struct update_store *store);

/* What update.h needs, but the key. The store must stay where it is. */
struct uj_update_start update_store_start(struct update_store *store);

#endif
