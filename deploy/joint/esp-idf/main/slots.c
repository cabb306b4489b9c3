#include "slots.h"

#include <string.h>

#include "sdk.h"
#include "watchdog.h"

#define SPACE "update"
#define VERSION 1
#define NOTE_EVERY 65536 /* bytes */
#define REST_EVERY 65536
#define REST_MS 2
#define INSTALL_MS 20000 /* for the SDK to read and hash a whole image at once */

enum kind {
    NOTHING,
    COMES, /* it was never run, nor is it to be */
    WHOLE  /* it may be tried, runs, or was tried */
};

struct note {
    uint8_t version;
    uint8_t kind;
    uint8_t header[UJ_IMAGE_HEADER_BYTES];
    uint32_t here; /* bytes of it that are on flash, of one that comes */
};

static const esp_partition_t *runs;
static const esp_partition_t *other; /* null for none */
static struct note comes;            /* what is noted of that */
static uint32_t here;                /* bytes of it that are on flash */

static void read_note(const esp_partition_t *slot, struct note *note)
{
    nvs_handle_t handle;
    size_t length = sizeof *note;
    bool found = false;
    if (nvs_open(SPACE, NVS_READONLY, &handle) == ESP_OK) {
        found = nvs_get_blob(handle, slot->label, note, &length) == ESP_OK;
        nvs_close(handle);
    }
    if (!found || length != sizeof *note || note->version != VERSION) {
        *note = (struct note){.kind = NOTHING};
    }
}

/* Of the partition that does not run. The store has the note before or this one, wherever power goes. */
static bool put_note(const struct note *note)
{
    nvs_handle_t handle;
    if (nvs_open(SPACE, NVS_READWRITE, &handle) != ESP_OK) {
        return false;
    }
    const bool kept =
        nvs_set_blob(handle, other->label, note, sizeof *note) == ESP_OK && nvs_commit(handle) == ESP_OK;
    nvs_close(handle);
    if (kept) {
        comes = *note;
    }
    return kept;
}

static bool note_progress(uint32_t bytes)
{
    struct note note = comes;
    note.here = bytes;
    return note.here == comes.here || put_note(&note);
}

static esp_ota_img_states_t state_of_what_runs(void)
{
    esp_ota_img_states_t state;
    return esp_ota_get_state_partition(runs, &state) == ESP_OK ? state : ESP_OTA_IMG_UNDEFINED;
}

/* ---- what update.c asks ---- */

static bool begin(void *owner, const uint8_t header[UJ_IMAGE_HEADER_BYTES], uint32_t *kept)
{
    struct note note = {.version = VERSION, .kind = COMES};
    (void)owner;
    /* What the loader would start next must not be written over: it was checked as it stands. */
    if (other == NULL || esp_ota_get_boot_partition() != runs) {
        return false;
    }
    if (comes.kind == COMES && memcmp(comes.header, header, sizeof comes.header) == 0) {
        *kept = here;
        return note_progress(here);
    }
    *kept = 0;
    here = 0;
    memcpy(note.header, header, sizeof note.header);
    if (!put_note(&note)) {
        return false;
    }
    (void)esp_ota_invalidate_inactive_ota_data_slot(); /* not ESP_OK where the loader knows of none */
    return true;
}

/* A sector is erased when its first byte comes, and never more of them at once than that: an erase may last 0.4 s. */
static bool erase_sectors_begun(uint32_t offset, uint32_t end)
{
    const uint32_t sector = other->erase_size;
    for (uint32_t at = (offset + sector - 1) / sector * sector; at < end; at += sector) {
        if (esp_partition_erase_range(other, at, sector) != ESP_OK) {
            return false;
        }
    }
    return true;
}

static bool passes(uint32_t every, uint32_t offset, uint32_t end)
{
    return end / every > offset / every;
}

static bool write_some(void *owner, uint32_t offset, const uint8_t *bytes, size_t count)
{
    const uint32_t end = offset + (uint32_t)count;
    (void)owner;
    if (!erase_sectors_begun(offset, end) || esp_partition_write(other, offset, bytes, count) != ESP_OK ||
        (passes(NOTE_EVERY, offset, end) && !note_progress(end))) {
        return false;
    }
    here = end;
    return true;
}

/* All of an image may be read within one call of the endpoint. The watchdog waits for tasks that are less urgent too. */
static bool read_some(void *owner, uint32_t offset, uint8_t *bytes, size_t count)
{
    (void)owner;
    if (passes(REST_EVERY, offset, offset + (uint32_t)count)) {
        watchdog_feed();
        vTaskDelay(pdMS_TO_TICKS(REST_MS));
    }
    return esp_partition_read(other, offset, bytes, count) == ESP_OK;
}

static void drop(void *owner)
{
    const struct note note = {.version = VERSION, .kind = NOTHING};
    (void)owner;
    here = 0;
    if (!put_note(&note)) {
        comes.here = 0; /* as long as this lasts; later the image's SHA-256 finds it again */
    }
}

/* The note first: what was tried once must never be taken for what comes. */
static bool install(void *owner)
{
    struct note note = comes;
    (void)owner;
    note.kind = WHOLE;
    if (!put_note(&note)) {
        return false;
    }
    watchdog_allow(INSTALL_MS);
    const bool installed = esp_ota_set_boot_partition(other) == ESP_OK;
    watchdog_allow(WATCHDOG_MS);
    return installed;
}

/* Where the SDK's record was lost in a confirmation that failed, the next call would find the image before it confirmed,
 * and say so. */
static bool confirm(void *owner)
{
    (void)owner;
    return esp_ota_mark_app_valid_cancel_rollback() == ESP_OK && state_of_what_runs() == ESP_OTA_IMG_VALID;
}

void slots_begin(struct uj_update_start *start)
{
    struct uj_image_header header;
    struct note note;
    runs = esp_ota_get_running_partition();
    other = esp_ota_get_next_update_partition(NULL);
    if (other == runs) {
        other = NULL;
    }
    comes = (struct note){.kind = NOTHING};
    if (other != NULL) {
        read_note(other, &comes);
    }
    here = comes.here;
    read_note(runs, &note);
    *start = (struct uj_update_start){.hooks = {.begin = begin,
                                                .write = write_some,
                                                .read = read_some,
                                                .drop = drop,
                                                .install = install,
                                                .confirm = confirm},
                                      .on_trial = state_of_what_runs() == ESP_OTA_IMG_PENDING_VERIFY};
    if (note.kind == WHOLE && uj_image_header_read(note.header, &header) == UJ_ACCEPTED) {
        start->has_image = true;
        memcpy(start->image, header.sha256, sizeof start->image);
    }
}

uint32_t slots_capacity(void)
{
    return other == NULL ? 0 : other->size;
}
