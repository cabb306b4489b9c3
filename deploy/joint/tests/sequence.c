/* A joint that is told events, one a line, and says after each what came out of it, one JSON object a line. Times are
 * joint time in µs, bytes are hex.
 *
 *   init NOW KEY ID BOOT MAX_STEP_RATE INPUTS OUTPUTS IDLE_CURRENT TELLS_HOME_SENSOR UDP POINT_CAPACITY UPDATE_KEY|-
 *   restart NOW BOOT                   store 0|1: whether images can be stored
 *   open NOW CONNECTION ADDRESS        frame NOW CONNECTION t|b BYTES NONCE        close NOW CONNECTION
 *   datagram NOW BYTES T3              poll NOW
 *   hall NOW 0|1    input NOW BITS     sense NOW TEMPERATURE|- SUPPLY|- RSSI       driver NOW 0|1
 *   turn NOW DETENTS                   press NOW 0|1
 *
 * Each answer has `sent` (connection, text or binary, bytes), `closed` (connection, code), `reply` (a datagram's
 * answer with that T3), `truths` (time, kind, value), and how the joint is then; `restarts` where it wants to, which
 * comes about by the line alone, `hashes` while it has that to do by itself. */
#include <inttypes.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "endpoint.h"
#include "sequence_images.h"

#ifdef UJ_METER
#include "meter.h"
#else
#define MEASURED(call) call
#define METER_SAY()
#endif

#define LINE_BYTES 16384
#define WORDS 13

static struct uj_endpoint endpoint;
static bool begun;

/* What came out of this line. It is kept as it came, and written once the joint is done: so what an emulated machine
 * measures of a call is the joint's. */
#define KEPT 256
struct message {
    uint32_t connection;
    bool text;
    size_t at, length; /* in sent_bytes */
};
struct closing {
    uint32_t connection;
    unsigned code;
};
static struct message messages[KEPT];
static struct closing closings[KEPT];
static struct uj_truth true_things[KEPT];
static uint8_t sent_bytes[1 << 15];
static size_t messages_count, closings_count, truths_count, sent_length;

/* The same as JSON members without the brackets around. */
static char sent[1 << 16];
static char closed[4096];
static char truths[1 << 16];

__attribute__((format(printf, 3, 4))) static void append(char *list, size_t space, const char *format, ...)
{
    const size_t used = strlen(list);
    va_list arguments;
    va_start(arguments, format);
    const int length = vsnprintf(list + used, space - used, format, arguments);
    va_end(arguments);
    if (length < 0 || (size_t)length >= space - used) {
        fprintf(stderr, "sequence: more came out than there is room for\n");
        exit(3);
    }
}

static void append_hex(char *list, size_t space, const uint8_t *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        append(list, space, "%02x", bytes[i]);
    }
}

static void crowded(void)
{
    fprintf(stderr, "sequence: more came out than there is room for\n");
    exit(3);
}

static void on_send(void *context, uint32_t connection, bool text, const uint8_t *bytes, size_t length)
{
    (void)context;
    if (messages_count == KEPT || length > sizeof sent_bytes - sent_length) {
        crowded();
    }
    messages[messages_count++] = (struct message){connection, text, sent_length, length};
    memcpy(sent_bytes + sent_length, bytes, length);
    sent_length += length;
}

static void on_close(void *context, uint32_t connection, unsigned code)
{
    (void)context;
    if (closings_count == KEPT) {
        crowded();
    }
    closings[closings_count++] = (struct closing){connection, code};
}

static void on_truth(void *world, const struct uj_truth *truth)
{
    (void)world;
    if (truths_count == KEPT) {
        crowded();
    }
    true_things[truths_count++] = *truth;
}

static void write_what_came(void)
{
    static const char *const kinds[] = {"drivers", "current", "outputs", "shift", "state"};
    sent[0] = closed[0] = truths[0] = '\0';
    for (size_t i = 0; i < messages_count; i++) {
        append(sent, sizeof sent, "%s[%" PRIu32 ",\"%s\",\"", i > 0 ? "," : "", messages[i].connection,
               messages[i].text ? "t" : "b");
        append_hex(sent, sizeof sent, sent_bytes + messages[i].at, messages[i].length);
        append(sent, sizeof sent, "\"]");
    }
    for (size_t i = 0; i < closings_count; i++) {
        append(closed, sizeof closed, "%s[%" PRIu32 ",%u]", i > 0 ? "," : "", closings[i].connection, closings[i].code);
    }
    for (size_t i = 0; i < truths_count; i++) {
        append(truths, sizeof truths, "%s[%.3f,\"%s\",%" PRId64 "]", i > 0 ? "," : "", true_things[i].at_us,
               kinds[true_things[i].kind], true_things[i].value);
    }
    messages_count = closings_count = truths_count = sent_length = 0;
}

static _Noreturn void refuse(const char *what)
{
    fprintf(stderr, "sequence: %s\n", what);
    exit(2);
}

static size_t unhex(const char *text, uint8_t *bytes, size_t space)
{
    const size_t length = strlen(text) / 2;
    if (strcmp(text, "-") == 0) {
        return 0;
    }
    if (strlen(text) % 2 != 0 || length > space) {
        refuse("bytes that are no hex, or too many");
    }
    for (size_t i = 0; i < length; i++) {
        unsigned byte;
        if (sscanf(text + 2 * i, "%2x", &byte) != 1) {
            refuse("bytes that are no hex");
        }
        bytes[i] = (uint8_t)byte;
    }
    return length;
}

static uint8_t key[UJ_KEY_BYTES];
static struct uj_settings settings;
static struct uj_update update;
static uint8_t update_key[UJ_SIGNATURE_KEY_BYTES];

/* A boot, at joint time 0. */
static void boot(double now_us)
{
    static const struct uj_shell shell = {.send = on_send, .close = on_close};
    const struct uj_update_start start = images_start(update_key);
    const char *const came = images_firmware();
    uj_update_init(&update, &start, 0);
    settings.firmware = came != NULL ? came : "1.4.0";
    uj_endpoint_init(&endpoint, &settings, key, &shell, now_us);
    begun = true;
}

static void init(char *words[WORDS], double now_us)
{
    settings = (struct uj_settings){
        .boot = (uint32_t)strtoul(words[4], NULL, 10),
        .udp = (uint16_t)strtoul(words[10], NULL, 10),
        .capabilities = {.point_capacity = (uint32_t)strtoul(words[11], NULL, 10),
                         .max_step_rate_hz = (uint32_t)strtoul(words[5], NULL, 10),
                         .sensors = {"hall", "temperature", "supply"},
                         .inputs = (uint8_t)strtoul(words[6], NULL, 10),
                         .outputs = (uint8_t)strtoul(words[7], NULL, 10),
                         .idle_current = strcmp(words[8], "1") == 0,
                         /* Also where it takes none: then the core must say no board. */
                         .board = "bench",
                         .image_capacity = IMAGES_CAPACITY},
        .tells_home_sensor = strcmp(words[9], "1") == 0,
        .truth = on_truth,
    };
    unhex(words[2], key, sizeof key);
    unhex(words[3], settings.id, sizeof settings.id);
    if (unhex(words[12], update_key, sizeof update_key) > 0) {
        settings.update = &update;
    }
    boot(now_us);
}

static void take(char *words[WORDS], double now_us, char *reply)
{
    static uint8_t bytes[LINE_BYTES];
    struct uj_joint *joint = &endpoint.joint;
    const char *what = words[0];
    if (strcmp(what, "init") == 0) {
        init(words, now_us);
    } else if (!begun) {
        refuse("the first line is init");
    } else if (strcmp(what, "restart") == 0) {
        images_restart();
        settings.boot = (uint32_t)strtoul(words[2], NULL, 10);
        boot(now_us);
    } else if (strcmp(what, "store") == 0) {
        images_can_be_stored(strcmp(words[2], "1") == 0);
    } else if (strcmp(what, "open") == 0) {
        uj_endpoint_opened(&endpoint, now_us, (uint32_t)strtoul(words[2], NULL, 10),
                           (uint32_t)strtoul(words[3], NULL, 10));
    } else if (strcmp(what, "close") == 0) {
        uj_endpoint_closed(&endpoint, now_us, (uint32_t)strtoul(words[2], NULL, 10));
    } else if (strcmp(what, "frame") == 0) {
        uint8_t nonce[UJ_NONCE_BYTES] = {0};
        const size_t length = unhex(words[4], bytes, sizeof bytes);
        unhex(words[5], nonce, sizeof nonce);
        const uint32_t connection = (uint32_t)strtoul(words[2], NULL, 10);
        MEASURED(uj_endpoint_frame(&endpoint, now_us, connection, strcmp(words[3], "t") == 0, bytes, length, nonce));
    } else if (strcmp(what, "datagram") == 0) {
        struct uj_reply answer;
        uint8_t out[UJ_STATUS_DATAGRAM_BYTES];
        const size_t length = unhex(words[2], bytes, sizeof bytes);
        const int64_t sent_us = strtoll(words[3], NULL, 10);
        MEASURED(uj_endpoint_datagram(&endpoint, (int64_t)now_us, bytes, length, &answer));
        MEASURED(uj_endpoint_seal(&endpoint, &answer, sent_us, out));
        for (size_t i = 0; i < answer.length; i++) {
            sprintf(reply + 2 * i, "%02x", out[i]);
        }
    } else if (strcmp(what, "hall") == 0) {
        uj_joint_hall(joint, now_us, strcmp(words[2], "1") == 0);
    } else if (strcmp(what, "input") == 0) {
        uj_joint_input(joint, now_us, (uint8_t)strtoul(words[2], NULL, 10));
    } else if (strcmp(what, "sense") == 0) {
        const int16_t temperature = (int16_t)strtol(words[2], NULL, 10);
        const uint16_t supply = (uint16_t)strtoul(words[3], NULL, 10);
        uj_joint_sense(joint, now_us, strcmp(words[2], "-") == 0 ? NULL : &temperature,
                       strcmp(words[3], "-") == 0 ? NULL : &supply, (int8_t)strtol(words[4], NULL, 10));
    } else if (strcmp(what, "driver") == 0) {
        uj_joint_driver(joint, now_us, strcmp(words[2], "1") == 0);
    } else if (strcmp(what, "turn") == 0) {
        uj_joint_turn(joint, now_us, (int16_t)strtol(words[2], NULL, 10));
    } else if (strcmp(what, "press") == 0) {
        uj_joint_press(joint, now_us, strcmp(words[2], "1") == 0);
    } else if (strcmp(what, "poll") != 0) {
        refuse("a line that begins with none of the events");
    }
    MEASURED(uj_endpoint_poll(&endpoint, now_us));
}

static void say(const char *reply)
{
    const struct uj_joint *joint = &endpoint.joint;
    const double deadline_us = uj_endpoint_next_deadline(&endpoint);
    double position;
    double velocity;
    uj_joint_where(joint, joint->now_us, &position, &velocity);
    write_what_came();
    printf("{\"sent\":[%s],\"closed\":[%s],\"truths\":[%s],\"reply\":\"%s\",\"state\":\"%s\"", sent, closed, truths,
           reply, uj_state_name(joint->state));
    printf(",\"position\":%.6f,\"velocity\":%.6f,\"outputs\":%u,\"word\":%d,\"light\":%s", position, velocity,
           joint->outputs, (int)uj_lamp_word(joint, joint->now_us),
           uj_lamp_is_on(joint, joint->now_us) ? "true" : "false");
    printf(",\"restarts\":%s,\"hashes\":%s", update.restarts ? "true" : "false",
           !isinf(update.due_us) && !update.on_trial ? "true" : "false");
    METER_SAY();
    if (isinf(deadline_us)) {
        printf(",\"deadline\":null}\n");
    } else {
        printf(",\"deadline\":%.6f}\n", deadline_us);
    }
    fflush(stdout);
}

/* With a word, the lines come from the file of that name: an emulated machine has no standard input. */
int main(int count_of_words, char **given)
{
    static char line[LINE_BYTES];
    static char nothing[1];
    FILE *const in = count_of_words > 1 ? fopen(given[1], "r") : stdin;
    if (in == NULL) {
        refuse("a file that cannot be read");
    }
    while (fgets(line, sizeof line, in) != NULL) {
        char *words[WORDS];
        char reply[2 * UJ_STATUS_DATAGRAM_BYTES + 1] = "";
        size_t count = 0;
        for (char *word = strtok(line, " \n"); word != NULL && count < WORDS; word = strtok(NULL, " \n")) {
            words[count++] = word;
        }
        while (count < WORDS) {
            words[count++] = nothing;
        }
        take(words, strtod(words[1], NULL), reply);
        say(reply);
    }
    return 0;
}
