#include "flash.h"

#include <string.h>

#include "sdk.h"

struct record { /* of otadata: which partition is started, and whether on trial */
    uint32_t sequence;
    uint32_t state;
    uint32_t check; /* over the sequence alone */
};

struct flash flash;
static uint8_t records[2][sizeof(struct record)];
static const esp_partition_t partitions[FLASH_SLOTS] = {
    {.size = FLASH_SLOT_BYTES, .erase_size = FLASH_SECTOR, .label = "ota_0"},
    {.size = FLASH_SLOT_BYTES, .erase_size = FLASH_SECTOR, .label = "ota_1"},
};

enum flash_power flash_step(void)
{
    flash.steps++;
    if (flash.steps == flash.pull_at) {
        longjmp(flash.off, 1);
    }
    return flash.steps == flash.cut_at ? FLASH_CUT : flash.steps == flash.fails_at ? FLASH_FAILS : FLASH_ON;
}

static bool write_bytes(uint8_t *at, const void *bytes, size_t count)
{
    const enum flash_power power = flash_step();
    const size_t done = power == FLASH_ON ? count : power == FLASH_CUT ? count / 2 : 0;
    for (size_t i = 0; i < done; i++) {
        at[i] &= ((const uint8_t *)bytes)[i];
    }
    if (power == FLASH_CUT) {
        longjmp(flash.off, 1);
    }
    return power == FLASH_ON;
}

static bool erase_bytes(uint8_t *at, size_t count)
{
    const enum flash_power power = flash_step();
    if (power == FLASH_ON) {
        memset(at, 0xff, count);
    } else if (power == FLASH_CUT) {
        memset(at, 0xff, count / 2);
        memset(at + count / 2, 0x5a, count - count / 2);
        longjmp(flash.off, 1);
    }
    return power == FLASH_ON;
}

/* ---- which partition is started ---- */

static uint32_t check_of(uint32_t sequence)
{
    return sequence * UINT32_C(2654435761) + 1;
}

static struct record record(size_t i)
{
    struct record found;
    memcpy(&found, records[i], sizeof found);
    return found;
}

static bool is_written(size_t i)
{
    return record(i).sequence != UINT32_MAX && record(i).check == check_of(record(i).sequence);
}

static bool counts(size_t i)
{
    return is_written(i) && record(i).state != ESP_OTA_IMG_INVALID && record(i).state != ESP_OTA_IMG_ABORTED;
}

static size_t slot_of(size_t i)
{
    return (record(i).sequence - 1) % FLASH_SLOTS;
}

static bool put_record(size_t i, uint32_t sequence, uint32_t state)
{
    const struct record made = {sequence, state, check_of(sequence)};
    return erase_bytes(records[i], sizeof records[i]) && write_bytes(records[i], &made, sizeof made);
}

/* −1 for none. */
static int active(void)
{
    if (counts(0) && counts(1)) {
        return record(0).sequence > record(1).sequence ? 0 : 1;
    }
    return counts(0) ? 0 : counts(1) ? 1 : -1;
}

void flash_start(void)
{
    for (size_t i = 0; i < 2; i++) {
        if (record(i).state == ESP_OTA_IMG_PENDING_VERIFY) {
            (void)put_record(i, record(i).sequence, ESP_OTA_IMG_ABORTED);
        }
    }
    const int found = active();
    const bool is_new = !is_written(0) && !is_written(1);
    flash.runs = found < 0 ? 0 : slot_of((size_t)found);
    if (found >= 0 && record((size_t)found).state == ESP_OTA_IMG_NEW) {
        (void)put_record((size_t)found, record((size_t)found).sequence, ESP_OTA_IMG_PENDING_VERIFY);
    }
    if (!flash.is_program(flash.slots[flash.runs])) {
        flash.runs = 1 - flash.runs;
    }
    if (is_new) {
        (void)put_record(0, (uint32_t)flash.runs + 1, ESP_OTA_IMG_VALID);
    }
}

void flash_blank(const uint8_t *program, size_t length)
{
    memset(flash.slots, 0xff, sizeof flash.slots);
    memset(records, 0xff, sizeof records);
    flash_blank_store();
    memcpy(flash.slots[0], program, length);
    flash.steps = flash.cut_at = flash.pull_at = flash.fails_at = 0;
}

const esp_partition_t *esp_ota_get_running_partition(void)
{
    return &partitions[flash.runs];
}

const esp_partition_t *esp_ota_get_boot_partition(void)
{
    return &partitions[active() < 0 ? 0 : slot_of((size_t)active())];
}

const esp_partition_t *esp_ota_get_next_update_partition(const esp_partition_t *from)
{
    (void)from;
    return &partitions[1 - flash.runs];
}

esp_err_t esp_ota_get_state_partition(const esp_partition_t *partition, esp_ota_img_states_t *state)
{
    for (size_t i = 0; i < 2; i++) {
        if (is_written(i) && &partitions[slot_of(i)] == partition) {
            *state = (esp_ota_img_states_t)record(i).state;
            return ESP_OK;
        }
    }
    return ESP_FAIL;
}

esp_err_t esp_ota_set_boot_partition(const esp_partition_t *partition)
{
    const size_t slot = (size_t)(partition - partitions);
    const int now = active();
    if (!flash.is_program(flash.slots[slot])) {
        return ESP_FAIL;
    }
    if (now < 0) {
        return put_record(0, (uint32_t)slot + 1, ESP_OTA_IMG_NEW) ? ESP_OK : ESP_FAIL;
    }
    const bool is_it = slot_of((size_t)now) == slot;
    const uint32_t sequence = record((size_t)now).sequence + (is_it ? 0 : 1);
    return put_record((size_t)(is_it ? now : 1 - now), sequence, ESP_OTA_IMG_NEW) ? ESP_OK : ESP_FAIL;
}

esp_err_t esp_ota_mark_app_valid_cancel_rollback(void)
{
    const int now = active();
    if (now < 0) {
        return ESP_FAIL;
    }
    const struct record known = record((size_t)now);
    return known.state == ESP_OTA_IMG_VALID || put_record((size_t)now, known.sequence, ESP_OTA_IMG_VALID) ? ESP_OK
                                                                                                         : ESP_FAIL;
}

esp_err_t esp_ota_invalidate_inactive_ota_data_slot(void)
{
    const int now = active();
    if (now < 0 || !is_written((size_t)(1 - now)) || slot_of((size_t)(1 - now)) == flash.runs) {
        return ESP_FAIL;
    }
    return erase_bytes(records[1 - now], sizeof records[0]) ? ESP_OK : ESP_FAIL;
}

/* ---- partitions ---- */

static uint8_t *bytes_of(const esp_partition_t *partition, size_t offset)
{
    return flash.slots[partition - partitions] + offset;
}

static bool is_within(size_t offset, size_t count)
{
    return offset <= FLASH_SLOT_BYTES && count <= FLASH_SLOT_BYTES - offset;
}

esp_err_t esp_partition_read(const esp_partition_t *partition, size_t offset, void *bytes, size_t count)
{
    if (!is_within(offset, count)) {
        return ESP_FAIL;
    }
    memcpy(bytes, bytes_of(partition, offset), count);
    return ESP_OK;
}

esp_err_t esp_partition_write(const esp_partition_t *partition, size_t offset, const void *bytes, size_t count)
{
    return is_within(offset, count) && write_bytes(bytes_of(partition, offset), bytes, count) ? ESP_OK : ESP_FAIL;
}

esp_err_t esp_partition_erase_range(const esp_partition_t *partition, size_t offset, size_t count)
{
    flash.erases += (unsigned)(count / FLASH_SECTOR);
    return offset % FLASH_SECTOR == 0 && count % FLASH_SECTOR == 0 && is_within(offset, count) &&
                   erase_bytes(bytes_of(partition, offset), count)
               ? ESP_OK
               : ESP_FAIL;
}
