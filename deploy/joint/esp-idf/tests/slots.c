/* A board's two partitions for programs, asked on standard input; each line a word and a number, each answer a line.
 *
 *   blank         as it leaves the cable, with program 0; it is told both keys
 *   on            power comes: number of the program that runs, 1 where on trial, that of the image that it says (-1 for
 *                 none), 1 where both keys are there
 *   cut N, pull N power goes in the midst of the Nth write from now on, or right before it; 0: at none. Answers how many
 *                 there were
 *   fail N        the Nth write from now on fails
 *   begin N       program N comes: how much of it is kept, or no
 *   write N       its bytes up to the Nth, in frames: 1 or 0; and the most sectors that were erased for one frame
 *   read          1 where what is there is what came; and how often others could run meanwhile
 *   drop; install; confirm    as the hooks of update.h
 *
 * An answer of `off` says that the power went; `on` is the only word then. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "flash.h"
#include "memory.h"
#include "sdk.h"
#include "slots.h"
#include "store.h"

#define PROGRAMS 4
#define BYTES 150001
#define FRAME 2048
#define PIECE 256 /* as update.c reads */

static uint8_t programs[PROGRAMS][BYTES];
static uint8_t headers[PROGRAMS][UJ_IMAGE_HEADER_BYTES];
static struct uj_memory memory;
static struct uj_update_start start;
static int coming;
static uint32_t here;
static unsigned pauses;

/* ---- what the port calls besides ---- */

const char *esp_err_to_name(esp_err_t error)
{
    (void)error;
    return "";
}

void stub_log(const char *tag, const char *format, ...)
{
    (void)tag;
    (void)format;
}

void stub_check(esp_err_t error)
{
    if (error != ESP_OK) {
        abort();
    }
}

esp_err_t esp_task_wdt_reconfigure(const esp_task_wdt_config_t *configuration)
{
    (void)configuration;
    return ESP_OK;
}

esp_err_t esp_task_wdt_reset(void)
{
    return ESP_OK;
}

void vTaskDelay(TickType_t ticks)
{
    (void)ticks;
    pauses++;
}

/* ---- programs ---- */

/* Program 3 is none for this chip: its first byte is not what a loader looks for. */
static void make_programs(void)
{
    uint32_t draw = 1;
    for (int i = 0; i < PROGRAMS; i++) {
        uint8_t *header = headers[i];
        for (size_t k = 0; k < BYTES; k++) {
            draw = draw * UINT32_C(1664525) + UINT32_C(1013904223);
            programs[i][k] = (uint8_t)(draw >> 24);
        }
        programs[i][0] = i == 3 ? 0 : 0xe9;
        memcpy(header, "unisono.image.v1bench", 21);
        (void)snprintf((char *)header + 32, 32, "%d", i);
        header[64 + 1] = BYTES >> 16;
        header[64 + 2] = (uint8_t)(BYTES >> 8);
        header[64 + 3] = (uint8_t)BYTES;
        const struct uj_piece piece = {programs[i], BYTES};
        uj_crypto_sha256(&piece, 1, header + 68);
    }
}

static int program_in(const uint8_t *slot)
{
    for (int i = 0; i < PROGRAMS; i++) {
        if (slot[0] == 0xe9 && memcmp(slot, programs[i], BYTES) == 0) {
            return i;
        }
    }
    return -1;
}

static bool is_program(const uint8_t *slot)
{
    return program_in(slot) >= 0;
}

static int image_said(void)
{
    for (int i = 0; i < PROGRAMS && start.has_image; i++) {
        if (memcmp(start.image, headers[i] + 68, UJ_SHA256_BYTES) == 0) {
            return i;
        }
    }
    return -1;
}

/* ---- the words ---- */

static void blank(void)
{
    uint8_t key[UJ_KEY_BYTES];
    flash_blank(programs[0], BYTES);
    store_begin(&memory);
    memset(key, 1, sizeof key);
    const bool told = uj_memory_set_key(&memory, key);
    memset(key, 2, sizeof key);
    printf("%d\n", told && uj_memory_set_update_key(&memory, key));
}

static void power_on(void)
{
    flash_start();
    store_begin(&memory);
    slots_begin(&start);
    const bool keys = memory.told.has_key && memory.told.key[31] == 1 && memory.told.has_update_key &&
                      memory.told.update_key[31] == 2;
    printf("%d %d %d %d\n", program_in(flash.slots[flash.runs]), start.on_trial, image_said(), keys);
}

static void begin(int program)
{
    coming = program;
    if (start.hooks.begin(start.hooks.owner, headers[program], &here)) {
        printf("%u\n", here);
    } else {
        printf("no\n");
    }
}

static void write_to(uint32_t end)
{
    unsigned most = 0;
    bool sound = true;
    while (sound && here < end) {
        const uint32_t count = end - here < FRAME ? end - here : FRAME;
        flash.erases = 0;
        sound = start.hooks.write(start.hooks.owner, here, programs[coming] + here, count);
        here += sound ? count : 0;
        most = flash.erases > most ? flash.erases : most;
    }
    printf("%d %u\n", sound, most);
}

static bool read_back(void)
{
    uint8_t bytes[PIECE];
    pauses = 0;
    for (uint32_t at = 0; at < here; at += PIECE) {
        const size_t count = here - at < PIECE ? here - at : PIECE;
        if (!start.hooks.read(start.hooks.owner, at, bytes, count) || memcmp(bytes, programs[coming] + at, count) != 0) {
            return false;
        }
    }
    return true;
}

static void set(unsigned *at, unsigned number)
{
    printf("%u\n", flash.steps);
    flash.steps = 0;
    flash.cut_at = flash.pull_at = flash.fails_at = 0;
    *at = number;
}

static void obey(const char *word, unsigned number)
{
    if (strcmp(word, "blank") == 0) {
        blank();
    } else if (strcmp(word, "on") == 0) {
        power_on();
    } else if (strcmp(word, "cut") == 0) {
        set(&flash.cut_at, number);
    } else if (strcmp(word, "pull") == 0) {
        set(&flash.pull_at, number);
    } else if (strcmp(word, "fail") == 0) {
        set(&flash.fails_at, number);
    } else if (strcmp(word, "begin") == 0) {
        begin((int)number);
    } else if (strcmp(word, "write") == 0) {
        write_to(number);
    } else if (strcmp(word, "read") == 0) {
        const bool same = read_back();
        printf("%d %u\n", same, pauses);
    } else if (strcmp(word, "drop") == 0) {
        start.hooks.drop(start.hooks.owner);
        printf("1\n");
    } else if (strcmp(word, "install") == 0) {
        printf("%d\n", start.hooks.install(start.hooks.owner));
    } else if (strcmp(word, "confirm") == 0) {
        printf("%d\n", start.hooks.confirm(start.hooks.owner));
    }
}

int main(void)
{
    static char line[64];
    make_programs();
    flash.is_program = is_program;
    while (fgets(line, sizeof line, stdin) != NULL) {
        char word[16] = "";
        unsigned number = 0;
        (void)sscanf(line, "%15s %u", word, &number);
        if (setjmp(flash.off) == 0) {
            obey(word, number);
        } else {
            printf("off\n");
        }
        (void)fflush(stdout);
    }
    return 0;
}
