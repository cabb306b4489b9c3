/* Firmware over the air: protocol/README.md, "Update". The rules; where images are kept is the port's affair.
 *
 * A port that takes images gives its joint a struct uj_update in its settings, and restarts once that says so. Board
 * and image_capacity stand in its capabilities where it has the key that signs, and no board where it has not. A port
 * that gives none links nothing of update.c and image.c: the endpoint reaches it by what is in the struct alone. */
#ifndef UJ_UPDATE_H
#define UJ_UPDATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "crypto.h"
#include "image.h"
#include "rejects.h"
#include "reports.h"

struct uj_joint;

/* Where images are kept: that which runs, and one other. None of these may call the endpoint. */
struct uj_update_hooks {
    void *owner;
    /* An image of this header comes. Where what is kept came for the very same header, and was neither tried nor run,
     * `*kept` is how many of its bytes a power cut leaves, and no more of it is there from now on; else `*kept` is 0.
     * What is kept of any other is dropped. After false nobody counts on any of it: the next one says what there is. */
    bool (*begin)(void *owner, const uint8_t header[UJ_IMAGE_HEADER_BYTES], uint32_t *kept);
    /* The bytes from `offset` on, right behind those that are there. They may come again after false. */
    bool (*write)(void *owner, uint32_t offset, const uint8_t *bytes, size_t count);
    /* Reads what stands there. */
    bool (*read)(void *owner, uint32_t offset, uint8_t *bytes, size_t count);
    /* All of what came is wrong. */
    void (*drop)(void *owner);
    /* Notes that what came is to be tried at the next start, once, in a step that a power cut cannot halve. All of it
     * outlives a power cut then. */
    bool (*install)(void *owner);
    /* What runs on trial is to stay: true once a power cut cannot take that back. */
    bool (*confirm)(void *owner);
};

/* What runs, as the port's start found it. */
struct uj_update_start {
    struct uj_update_hooks hooks;
    uint8_t key[UJ_SIGNATURE_KEY_BYTES]; /* that signs, the public half; without one the joint has no board */
    bool has_image; /* what runs came by an update */
    uint8_t image[UJ_SHA256_BYTES];
    bool on_trial; /* it is the first time, and not confirmed */
};

struct uj_update {
    struct uj_update_start start;
    bool restarts; /* for the port: once what was sent is out it ends its endpoint, and restarts within 1 s */
    /* For the endpoint. */
    const uint8_t *image; /* of `start`, or null */
    bool on_trial;
    double due_us;   /* joint time of what is to be done next; INFINITY for nothing */
    enum uj_reject (*take)(struct uj_update *update, struct uj_joint *joint, const uint8_t *body, size_t length);
    bool (*confirm)(struct uj_update *update);
    void (*poll)(struct uj_update *update, double now_us);
    /* Of the image that comes. */
    bool announced;
    uint8_t header_bytes[UJ_IMAGE_HEADER_BYTES];
    struct uj_image_header header;
    uint32_t here;   /* bytes of it, from its first on */
    uint32_t hashed; /* how many of them */
    struct uj_sha256 hash;
};

/* Begins at a boot, which was at that joint time: 0 where joint time is counted from it. `start` is copied. */
void uj_update_init(struct uj_update *update, const struct uj_update_start *start, double boot_us);

enum uj_update_type { UJ_UPDATE_UPDATE, UJ_UPDATE_INSTALL };

/* A request of an update. */
struct uj_update_request {
    enum uj_update_type type;
    uint8_t header[UJ_IMAGE_HEADER_BYTES];
    uint8_t signature[UJ_SIGNATURE_BYTES];
};

/* UJ_ACCEPTED, UJ_REJECT_MESSAGE_INVALID or UJ_REJECT_MESSAGE_UNKNOWN. */
enum uj_reject uj_update_read(const uint8_t *body, size_t length, struct uj_update_request *request);

#endif
