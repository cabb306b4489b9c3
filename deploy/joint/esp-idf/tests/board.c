/* A board's memory and its Wi-Fi, asked on standard input; each line a word and what belongs to it, each answer a line.
 *
 *   ask HEX       one frame of the cable, whole: its answer in hex, - for none
 *   keep 0 or 1   whether what comes can be kept from now on
 *   record        what is kept, in hex; - for nothing
 *   held          what the board holds of it in memory, in hex
 *   begin HEX     it begins anew, with this record; without HEX with the one that is kept: 1 where that is one
 *   wifi WORD N   try, joined, addressed, unaddressed, lost N, now N (µs): state, reason and address */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cable_memory.h"
#include "radio.h"

#define LINE_BYTES 2048

static uint8_t kept[UJ_MEMORY_BYTES];
static size_t kept_length;
static bool keeps = true;
static struct uj_memory memory;
static struct uj_radio radio;
static int64_t now_us;

static bool put(void *owner, const uint8_t record[UJ_MEMORY_BYTES])
{
    (void)owner;
    if (keeps) {
        memcpy(kept, record, sizeof kept);
        kept_length = sizeof kept;
    }
    return keeps;
}

static void tell_who(void *owner, struct uj_cable_who *who)
{
    who->boot = 1;
    who->firmware = (struct uj_cable_text){(const uint8_t *)"1", 1};
    uj_memory_tell(owner, who);
}

static void tell_wifi(void *owner, struct uj_cable_wifi *wifi)
{
    (void)owner;
    uj_radio_tell(&radio, now_us, wifi);
}

static bool drivers_on(void *owner)
{
    (void)owner;
    return false;
}

static uint32_t random_number(void *owner)
{
    static uint32_t numbers;
    (void)owner;
    return ++numbers;
}

static struct uj_cable_board board = {.hooks = {.owner = &memory,
                                                .who = tell_who,
                                                .wifi = tell_wifi,
                                                .drivers_on = drivers_on,
                                                .compare_key = uj_memory_compare_key,
                                                .set_wifi = uj_memory_set_wifi,
                                                .set_key = uj_memory_set_key,
                                                .set_name = uj_memory_set_name,
                                                .forget = uj_memory_forget,
                                                .random = random_number,
                                                .compare_update_key = uj_memory_compare_update_key,
                                                .set_update_key = uj_memory_set_update_key}};

static void print_hex(const void *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        printf("%02x", ((const uint8_t *)bytes)[i]);
    }
    printf(length == 0 ? "-\n" : "\n");
}

static size_t read_hex(const char *text, uint8_t *bytes)
{
    size_t length = 0;
    unsigned byte;
    while (sscanf(text + 2 * length, "%2x", &byte) == 1) {
        bytes[length++] = (uint8_t)byte;
    }
    return length;
}

static void ask(const uint8_t *bytes, size_t length)
{
    struct uj_cable cable = {.used = 0};
    struct uj_cable_frame frame;
    struct uj_cable_answer answer = {.length = 0};
    bool found;
    (void)uj_cable_feed(&cable, bytes, length, &frame, &found);
    if (found) {
        uj_cable_obey(&board, &frame, &answer);
    }
    print_hex(answer.bytes, answer.length);
}

static void begin(const uint8_t *record, size_t length)
{
    memory = (struct uj_memory){.put = put};
    printf("%d\n", uj_memory_read(&memory, length > 0 ? record : kept, length > 0 ? length : kept_length));
}

static void wifi(const char *word, long number)
{
    static const uint8_t address[4] = {192, 168, 1, 31};
    struct uj_cable_wifi told;
    if (strcmp(word, "try") == 0) {
        uj_radio_try(&radio);
    } else if (strcmp(word, "joined") == 0) {
        uj_radio_joined(&radio, now_us);
    } else if (strcmp(word, "addressed") == 0) {
        uj_radio_addressed(&radio, address);
    } else if (strcmp(word, "unaddressed") == 0) {
        uj_radio_unaddressed(&radio, now_us);
    } else if (strcmp(word, "lost") == 0) {
        uj_radio_lost(&radio, (unsigned)number);
    } else {
        now_us = number;
    }
    uj_radio_tell(&radio, now_us, &told);
    printf("%d %d %u.%u.%u.%u\n", told.state, told.reason, told.address[0], told.address[1], told.address[2],
           told.address[3]);
}

int main(void)
{
    static char line[LINE_BYTES];
    static uint8_t bytes[LINE_BYTES / 2];
    memory.put = put;
    while (fgets(line, sizeof line, stdin) != NULL) {
        char word[16] = "";
        char rest[LINE_BYTES] = "";
        long number = 0;
        (void)sscanf(line, "%15s %2047s %ld", word, rest, &number);
        if (strcmp(word, "wifi") == 0) {
            wifi(rest, number);
        } else if (strcmp(word, "keep") == 0) {
            keeps = rest[0] == '1';
            printf("%d\n", keeps);
        } else if (strcmp(word, "record") == 0) {
            print_hex(kept, kept_length);
        } else if (strcmp(word, "held") == 0) {
            print_hex(&memory.told, sizeof memory.told);
        } else if (strcmp(word, "begin") == 0) {
            begin(bytes, read_hex(rest, bytes));
        } else {
            ask(bytes, read_hex(rest, bytes));
        }
        (void)fflush(stdout);
    }
    return 0;
}
