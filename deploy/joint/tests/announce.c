/* An announcement that is told datagrams and times, one a line, and says after each what it sends, one JSON object a
 * line. Times are µs, bytes are hex.
 *
 *   begin NOW SERVICE LABEL HOST ADDRESS PORT RANDOM TEXT…        take NOW FROM_PORT BYTES
 *   poll NOW                                                      end NOW
 *
 * Each answer has `sent` (port of a one-shot question or 0 for the group, bytes), `next` (when to poll, null for
 * never), `out` (whether it is announced) and `label`. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "announce.h"

#define LINE_BYTES 40000
#define WORDS 24

static struct announce announce;
static bool first;

static void on_send(void *context, const struct sockaddr_in *to, const uint8_t *bytes, size_t length)
{
    (void)context;
    printf("%s[%u,\"", first ? "" : ",", to == NULL ? 0u : ntohs(to->sin_port));
    for (size_t i = 0; i < length; i++) {
        printf("%02x", bytes[i]);
    }
    printf("\"]");
    first = false;
}

static _Noreturn void refuse(const char *what)
{
    fprintf(stderr, "announce: %s\n", what);
    exit(2);
}

static void begin(char *words[WORDS], size_t count, double now_us)
{
    static const char *text[WORDS];
    size_t texts = 0;
    for (size_t i = 8; i < count; i++) {
        text[texts++] = words[i];
    }
    text[texts] = NULL;
    const struct announce_service service = {.service = words[2],
                                             .label = words[3],
                                             .host = words[4],
                                             .address = (uint32_t)strtoul(words[5], NULL, 10),
                                             .port = (uint16_t)strtoul(words[6], NULL, 10),
                                             .text = text};
    announce.send = on_send;
    if (!announce_begin(&announce, &service, (uint32_t)strtoul(words[7], NULL, 10), now_us)) {
        refuse("the service cannot be announced");
    }
}

static void take(const char *port, const char *hex, double now_us)
{
    /* A copy of just the size, so that reading beyond it is noticed. */
    const size_t length = strlen(hex) / 2;
    uint8_t *bytes = malloc(length > 0 ? length : 1);
    if (bytes == NULL) {
        refuse("no memory");
    }
    for (size_t i = 0; i < length; i++) {
        unsigned byte = 0;
        if (sscanf(hex + 2 * i, "%2x", &byte) != 1) {
            free(bytes);
            refuse("bytes that are no hex");
        }
        bytes[i] = (uint8_t)byte;
    }
    const struct sockaddr_in from = {.sin_family = AF_INET, .sin_port = htons((uint16_t)strtoul(port, NULL, 10))};
    announce_take(&announce, now_us, &from, bytes, length);
    free(bytes);
}

int main(void)
{
    static char line[LINE_BYTES];
    static char nothing[1];
    while (fgets(line, sizeof line, stdin) != NULL) {
        char *words[WORDS];
        size_t count = 0;
        for (char *word = strtok(line, " \n"); word != NULL && count < WORDS - 1; word = strtok(NULL, " \n")) {
            words[count++] = word;
        }
        for (size_t i = count; i < WORDS; i++) {
            words[i] = nothing;
        }
        const double now_us = strtod(words[1], NULL);
        printf("{\"sent\":[");
        first = true;
        if (strcmp(words[0], "begin") == 0) {
            begin(words, count, now_us);
        } else if (strcmp(words[0], "take") == 0) {
            take(words[2], words[3], now_us);
        } else if (strcmp(words[0], "end") == 0) {
            announce_end(&announce);
        } else if (strcmp(words[0], "poll") != 0) {
            refuse("a line that begins with none of the events");
        }
        announce_poll(&announce, now_us);
        const double next_us = announce_next_us(&announce);
        printf("],\"next\":");
        if (isinf(next_us)) {
            printf("null");
        } else {
            printf("%.17g", next_us);
        }
        printf(",\"out\":%s,\"label\":\"%s\"}\n", announce_is_out(&announce) ? "true" : "false", announce.label);
        fflush(stdout);
    }
    return 0;
}
