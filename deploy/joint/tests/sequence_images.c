#include "sequence_images.h"

#include <string.h>

#define PAGE_BYTES 4096 /* more than a frame, so that not all that was acknowledged is kept */

struct slot {
    bool comes; /* an image of this header is on its way */
    uint8_t header[UJ_IMAGE_HEADER_BYTES];
    struct uj_image_header read;
    uint8_t bytes[IMAGES_CAPACITY];
    uint32_t written;
};

static struct slot slots[2];
static struct slot *runs, *former, *noted; /* null for what did not come by an update */
static bool on_trial, fails;

/* The one that does not run. What an image on trial stands in for is in it until then, so nothing may come. */
static struct slot *other(void)
{
    return runs == &slots[0] ? &slots[1] : &slots[0];
}

static uint32_t kept_of(const struct slot *slot)
{
    return slot->written == slot->read.size ? slot->written : slot->written / PAGE_BYTES * PAGE_BYTES;
}

static bool begin(void *owner, const uint8_t header[UJ_IMAGE_HEADER_BYTES], uint32_t *kept)
{
    struct slot *slot = other();
    (void)owner;
    if (!slot->comes || memcmp(slot->header, header, sizeof slot->header) != 0) {
        *slot = (struct slot){.comes = !fails}; /* half-way, where it fails: what was there is erased */
        if (fails) {
            return false;
        }
        memcpy(slot->header, header, sizeof slot->header);
        (void)uj_image_header_read(header, &slot->read);
    }
    *kept = slot->written = kept_of(slot);
    return true;
}

static bool write_some(void *owner, uint32_t offset, const uint8_t *bytes, size_t count)
{
    struct slot *slot = other();
    (void)owner;
    if (fails || offset != slot->written || count > sizeof slot->bytes - offset) {
        return false;
    }
    memcpy(slot->bytes + offset, bytes, count);
    slot->written += (uint32_t)count;
    return true;
}

static bool read_some(void *owner, uint32_t offset, uint8_t *bytes, size_t count)
{
    (void)owner;
    if (offset + count > other()->written) {
        return false;
    }
    memcpy(bytes, other()->bytes + offset, count);
    return true;
}

static void drop(void *owner)
{
    (void)owner;
    other()->comes = false;
}

static bool install(void *owner)
{
    (void)owner;
    if (!fails) {
        noted = other();
        noted->comes = false;
    }
    return !fails;
}

static bool confirm(void *owner)
{
    (void)owner;
    if (!fails) {
        on_trial = false;
    }
    return !fails;
}

struct uj_update_start images_start(const uint8_t key[UJ_SIGNATURE_KEY_BYTES])
{
    struct uj_update_start start = {.hooks = {.begin = begin,
                                              .write = write_some,
                                              .read = read_some,
                                              .drop = drop,
                                              .install = install,
                                              .confirm = confirm},
                                    .has_image = runs != NULL,
                                    .on_trial = on_trial};
    memcpy(start.key, key, sizeof start.key);
    if (runs != NULL) {
        memcpy(start.image, runs->read.sha256, sizeof start.image);
    }
    return start;
}

const char *images_firmware(void)
{
    return runs != NULL ? runs->read.firmware : NULL;
}

void images_restart(void)
{
    if (on_trial) {
        runs = former;
        on_trial = false;
    } else if (noted != NULL) {
        former = runs;
        runs = noted;
        on_trial = true;
    }
    noted = NULL;
    other()->written = other()->comes ? kept_of(other()) : 0;
}

void images_can_be_stored(bool can)
{
    fails = !can;
}
