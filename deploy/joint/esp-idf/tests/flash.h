/* A controller's flash memory for tests: two partitions for programs, the loader and its record of which is started, and
 * the store. Power goes, or a write fails, at the step that is asked for.
 *
 * Written by the SDK's documents and sources (6.0.1: esp_ota_ops.h, bootloader_utility.c). A write only clears bits, an
 * erase sets them; one that is cut off leaves half of it, and behind that, of an erase, what is neither. The store is as
 * its document promises: the entry before or the new one. */
#ifndef FLASH_H
#define FLASH_H

#include <setjmp.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FLASH_SLOTS 2
#define FLASH_SECTOR 4096
#define FLASH_SLOT_BYTES (48 * FLASH_SECTOR)

struct flash {
    jmp_buf off;       /* where the power goes to */
    unsigned steps;    /* writes and erases since `cut_at` was set */
    unsigned cut_at;   /* power goes in the midst of this one; 0: of none */
    unsigned pull_at;  /* power goes right before this one */
    unsigned fails_at; /* this one is not done */
    unsigned erases;   /* of partitions for programs, since it was set to 0 */
    size_t runs;       /* the partition that was started */
    uint8_t slots[FLASH_SLOTS][FLASH_SLOT_BYTES];
    /* Whether a partition holds a program that can be started. */
    bool (*is_program)(const uint8_t *slot);
};

extern struct flash flash;

/* What becomes of a write that is about to be done. Does not return where the power goes right before it. */
enum flash_power { FLASH_ON, FLASH_FAILS, FLASH_CUT };
enum flash_power flash_step(void);

/* As it leaves the cable: this program in the first partition, nothing anywhere else. */
void flash_blank(const uint8_t *program, size_t length);

void flash_blank_store(void);

/* The loader's turn. */
void flash_start(void);

#endif
