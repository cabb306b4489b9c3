/* Homings that fail one after the other with nobody there to fetch their events: `homings COUNT` says what events there are
 * at last, on each line a homing's number and how many edges it tells of. The n-th homing meets n of them. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "joint.h"
#include "usual.h"

static struct uj_joint joint;
static double now_us;

static void drive(uint32_t homing)
{
    static uint32_t sequence = 0;
    sequence++;
    const struct uj_drive drive = {.session = 7,
                                   .sequence = sequence,
                                   .flags = UJ_DRIVE_MAP | UJ_DRIVE_ENERGISE | UJ_DRIVE_EXPIRY,
                                   .mode = homing != 0 ? UJ_MODE_HOME : UJ_MODE_NONE,
                                   .homing_number = homing,
                                   .expiry_us = (int64_t)now_us + 1000000,
                                   .map = {.number = 1}};
    now_us += 200000;
    (void)uj_joint_drive(&joint, now_us, &drive);
}

static void configure(void)
{
    static struct uj_request request = {.type = UJ_REQUEST_CONFIGURE};
    char sentence[UJ_SENTENCE_BYTES];
    request.of.configuration = usual_configuration();
    if (uj_joint_request(&joint, now_us, &request, sentence) != UJ_ACCEPTED) {
        fprintf(stderr, "homings: the configuration is refused: %s\n", sentence);
        exit(2);
    }
}

int main(int count, char **words)
{
    static const uint8_t coordinator[UJ_COORDINATOR_ID_BYTES] = {1};
    const struct uj_settings settings = {
        .firmware = "0", .boot = 1, .capabilities = {.max_step_rate_hz = 40000}};
    const uint32_t homings = count == 2 ? (uint32_t)strtoul(words[1], NULL, 10) : 0;
    struct uj_event event;
    bool level = false;
    uj_joint_init(&joint, &settings, now_us);
    (void)uj_joint_session(&joint, now_us, coordinator, 7);
    configure();
    for (uint32_t number = 1; number <= homings; number++) {
        drive(number);
        now_us += 200000; /* it is fast by then, so that each is a passage of its own */
        for (uint32_t edge = 0; edge < number; edge++) {
            level = !level;
            now_us += 50000;
            uj_joint_hall(&joint, now_us, level);
        }
        for (int i = 0; i < 5; i++) {
            drive(0);
        }
    }
    while (uj_joint_take_event(&joint, &event)) {
        if (event.type == UJ_EVENT_HOMING_FAILED) {
            printf("%" PRIu32 " %u\n", event.of.homing_failed.homing_number, event.of.homing_failed.edges->count);
        }
    }
    return 0;
}
