/* Where the joint of sequence.c keeps images: memory that outlives its restarts, written in pages. */
#ifndef SEQUENCE_IMAGES_H
#define SEQUENCE_IMAGES_H

#include "update.h"

#define IMAGES_CAPACITY 20000 /* bytes */

/* For a boot with this key. */
struct uj_update_start images_start(const uint8_t key[UJ_SIGNATURE_KEY_BYTES]);

/* The version of the image that runs; null for what did not come by an update. */
const char *images_firmware(void);

/* Power goes, and comes back: what is behind the last page is lost, and another image may run. */
void images_restart(void);

/* Whether what is written is stored from now on. */
void images_can_be_stored(bool can);

#endif
