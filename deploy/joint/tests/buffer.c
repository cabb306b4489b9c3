/* The buffer of points, asked on standard input; each line a word and what belongs to it, each answer a line.
 *
 *   clear
 *   limits HAS_RANGE LOW HIGH VELOCITY ACCELERATION
 *   frame TRAJECTORY FIRST COUNT HEX   the points' bytes: code, place of the trouble, limit of the segment
 *   free PATH_US
 *   switch PATH_US                     mask and values of each point that switches, then -
 *   where PATH_256                     position, velocity
 *   state                              trajectory, next index, buffered, has last, first index, next switch or - */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "buffer.h"

static struct uj_buffer buffer;
static struct uj_point_limits limits = {.capacity = UJ_POINT_CAPACITY};
static char hex[2 * 24 * UJ_MAX_POINTS_PER_FRAME + 1];

static int64_t number(void)
{
    int64_t value = 0;
    if (scanf("%" SCNd64, &value) != 1) {
        fprintf(stderr, "buffer: a number is missing\n");
        exit(2);
    }
    return value;
}

static void frame(void)
{
    struct uj_points points = {.trajectory = (uint32_t)number(), .first_index = (uint32_t)number()};
    struct uj_buffer_trouble trouble;
    points.count = (uint16_t)number();
    if (scanf("%6144s", hex) != 1 || strlen(hex) != 48U * points.count) {
        fprintf(stderr, "buffer: a frame's bytes do not fit its count\n");
        exit(2);
    }
    /* In memory of their own, so that a read beyond the frame is found. */
    uint8_t *const bytes = malloc(24U * points.count);
    for (size_t i = 0; bytes != NULL && i < 24U * points.count; i++) {
        unsigned value = 0;
        (void)sscanf(hex + 2 * i, "%2x", &value);
        bytes[i] = (uint8_t)value;
    }
    points.bytes = bytes;
    const enum uj_reject reject = uj_buffer_take(&buffer, &points, &limits, &trouble);
    printf("%s %" PRIu32 " %d\n", uj_reject_name(reject), trouble.index, (int)trouble.limit);
    free(bytes);
}

static void state(void)
{
    int64_t switch_us;
    printf("%" PRIu32 " %" PRIu32 " %" PRId64 " %d %" PRIu32 " ", buffer.trajectory, uj_buffer_next_index(&buffer),
           uj_buffer_buffered_us(&buffer), uj_buffer_has_last(&buffer), buffer.first_index);
    if (uj_buffer_next_switch(&buffer, &switch_us)) {
        printf("%" PRId64 "\n", switch_us);
    } else {
        printf("-\n");
    }
}

static void carry_out(const char *word)
{
    if (strcmp(word, "clear") == 0) {
        uj_buffer_clear(&buffer);
        printf("cleared\n");
    } else if (strcmp(word, "limits") == 0) {
        limits.has_range = number() != 0;
        limits.range_low = number();
        limits.range_high = number();
        limits.velocity = (double)number();
        limits.acceleration = (double)number();
        printf("limits\n");
    } else if (strcmp(word, "frame") == 0) {
        frame();
    } else if (strcmp(word, "free") == 0) {
        uj_buffer_free(&buffer, number());
        state();
    } else if (strcmp(word, "switch") == 0) {
        const int64_t path_us = number();
        uint8_t mask;
        uint8_t values;
        while (uj_buffer_switch(&buffer, path_us, &mask, &values)) {
            printf("%u %u ", mask, values);
        }
        printf("-\n");
    } else if (strcmp(word, "where") == 0) {
        double position;
        double velocity;
        uj_buffer_where(&buffer, number(), &position, &velocity);
        printf("%.6f %.6f\n", position, velocity);
    } else if (strcmp(word, "state") == 0) {
        state();
    } else {
        fprintf(stderr, "buffer: unknown word %s\n", word);
        exit(2);
    }
}

int main(void)
{
    char word[16];
    while (scanf("%15s", word) == 1) {
        carry_out(word);
        fflush(stdout);
    }
    return 0;
}
