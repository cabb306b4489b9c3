/* The cable, asked on standard input; each line a word and hex, each answer a line.
 *
 *   feed HEX   the frames that end with these bytes: KIND NUMBER BODY, each behind a space; - for none
 *   pause      those that a pause finds
 *   new        a reader that has nothing
 *   plain      boards in memory take no updates from here on
 *   board HEX  a board in memory is given one frame whole: its answer in hex, - for none, and what it has: 1 for its
 *              key or 0, bytes of ssid and of name, 1 for the key that signs updates or 0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cable_memory.h"

#define LINE_BYTES 16384

static struct uj_cable cable;
static struct uj_cable_board board;
static struct uj_memory memory;
static uint32_t numbers;

static void print_hex(const uint8_t *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        printf("%02x", bytes[i]);
    }
}

static void print_frame(const struct uj_cable_frame *frame)
{
    printf(" %u %u ", frame->kind, frame->number);
    print_hex(frame->body, frame->length);
    printf(".");
}

static bool put(void *owner, const uint8_t record[UJ_MEMORY_BYTES])
{
    (void)owner;
    (void)record;
    return true;
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
    wifi->state = UJ_WIFI_UNSET;
}

static bool drivers_on(void *owner)
{
    (void)owner;
    return false;
}

static uint32_t next_number(void *owner)
{
    (void)owner;
    return ++numbers;
}

/* The bytes of a line of hex, in memory of their own, so that a read beyond them is found. */
static uint8_t *read_hex(const char *hex, size_t *length)
{
    *length = strspn(hex, "0123456789abcdef") / 2;
    uint8_t *const bytes = malloc(*length + (*length == 0));
    for (size_t i = 0; bytes != NULL && i < *length; i++) {
        unsigned value = 0;
        (void)sscanf(hex + 2 * i, "%2x", &value);
        bytes[i] = (uint8_t)value;
    }
    return bytes;
}

static void feed(struct uj_cable *to, const uint8_t *bytes, size_t length, bool asked)
{
    struct uj_cable_frame frame;
    struct uj_cable_answer answer;
    size_t taken = 0;
    bool found;
    do {
        taken += uj_cable_feed(to, bytes + taken, length - taken, &frame, &found);
        if (found && asked) {
            uj_cable_obey(&board, &frame, &answer);
            print_hex(answer.bytes, answer.length);
        } else if (found) {
            print_frame(&frame);
        }
    } while (found || taken < length);
}

int main(void)
{
    static char line[LINE_BYTES];
    memory.put = put;
    board.hooks = (struct uj_cable_hooks){.owner = &memory,
                                          .who = tell_who,
                                          .wifi = tell_wifi,
                                          .drivers_on = drivers_on,
                                          .compare_key = uj_memory_compare_key,
                                          .set_wifi = uj_memory_set_wifi,
                                          .set_key = uj_memory_set_key,
                                          .set_name = uj_memory_set_name,
                                          .forget = uj_memory_forget,
                                          .random = next_number,
                                          .compare_update_key = uj_memory_compare_update_key,
                                          .set_update_key = uj_memory_set_update_key};
    while (fgets(line, sizeof line, stdin) != NULL) {
        struct uj_cable_frame frame;
        size_t length = 0;
        if (strncmp(line, "feed ", 5) == 0) {
            uint8_t *const bytes = read_hex(line + 5, &length);
            feed(&cable, bytes, length, false);
            free(bytes);
            printf(" -\n");
        } else if (strncmp(line, "pause", 5) == 0) {
            while (uj_cable_pause(&cable, &frame)) {
                print_frame(&frame);
            }
            printf(" -\n");
        } else if (strncmp(line, "board ", 6) == 0) {
            struct uj_cable one = {.used = 0};
            uint8_t *const bytes = read_hex(line + 6, &length);
            feed(&one, bytes, length, true);
            free(bytes);
            printf(" %d %u %u %d\n", memory.told.has_key, memory.told.ssid_length, memory.told.name_length,
                   memory.told.has_update_key);
        } else if (strncmp(line, "plain", 5) == 0) {
            board.hooks.compare_update_key = NULL;
            board.hooks.set_update_key = NULL;
            printf(" -\n");
        } else if (strncmp(line, "new", 3) == 0) {
            memset(&cable, 0, sizeof cable);
            printf(" -\n");
        } else {
            fprintf(stderr, "cable: %s", line);
            return 2;
        }
        (void)fflush(stdout);
    }
    return 0;
}
