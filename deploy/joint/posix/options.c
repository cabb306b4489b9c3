#include "options.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum kind { NUMBER, TEXT, ID, UPDATE_KEY, FOLLOWS };

struct option {
    const char *name;
    enum kind kind;
    size_t at;
    double low, high; /* of a number */
    const char *help;
};

#define AT(field) offsetof(struct options, field)

static const struct option known[] = {
    {"--id", ID, 0, 0, 0, "12 hex digits: who the joint is"},
    {"--name", TEXT, AT(name), 0, 0, "its name in the arm, for people"},
    {"--key", TEXT, AT(key), 0, 0, "the file arm.key, readable by its owner alone"},
    {"--interface", TEXT, AT(interface), 0, 0, "IPv4 address to serve on; 127.0.0.1"},
    {"--service", TEXT, AT(service), 0, 0, "DNS-SD service; _unisono-joint._tcp"},
    {"--stream-port", NUMBER, AT(stream_port), 0, 65535, "TCP port; 0 takes a free one"},
    {"--truth", TEXT, AT(truth), 0, 0, "append what truly happens to this file, as JSON lines"},
    {"--updates", TEXT, AT(updates), 0, 0, "folder for firmware, else it takes none; ends with 10 to restart"},
    {"--board", TEXT, AT(board), 0, 0, "that firmware must be for; posix"},
    {"--update-key", UPDATE_KEY, 0, 0, 0, "that signs firmware, the public half, 64 hex digits"},
    {"--cut-update", NUMBER, AT(cut_update), 0, 1e9, "for tests: the power goes at so manieth step on the disk"},
    {"--with-parent", NUMBER, AT(with_parent), 1, 4194304, "process that starts it: ends with it, leaves Ctrl-C to it"},
    {"--uptime-us", NUMBER, AT(uptime_us), 1, 1e12, "joint time at the start"},
    {"--skew-ppm", NUMBER, AT(skew_ppm), -100, 100, "by how much the crystal is fast"},
    {"--start", NUMBER, AT(start), -1e15, 1e15, "where the motor stands at first, true counts"},
    {"--home-centre", NUMBER, AT(home_centre), -1e15, 1e15, "middle of the home sensor's magnet, true counts"},
    {"--home-half-width", NUMBER, AT(home_half_width), 1, 1e12, "half the width within which it is on, counts"},
    {"--home-hysteresis", NUMBER, AT(home_hysteresis), 0, 1e9, "by how much later it goes off, counts"},
    {"--home-noise", NUMBER, AT(home_noise), 0, 1e6, "by which its edges lie elsewhere at every step, counts"},
    {"--home-period", NUMBER, AT(home_period), 0, 1e12, "after which the magnet comes again, counts; 0 never"},
    {"--play", NUMBER, AT(play), 0, 1e9, "between motor and output, counts"},
    {"--max-step-rate-hz", NUMBER, AT(max_step_rate_hz), 1, 250000, "that the motor's driver can do"},
    {"--no-idle-current", NUMBER, AT(no_idle_current), 0, 1, "1: it cannot reduce its current at rest"},
    {"--inputs", NUMBER, AT(inputs), 0, 8, "how many"},
    {"--outputs", NUMBER, AT(outputs), 0, 8, "how many"},
    {"--follows", FOLLOWS, 0, 0, 0, "INPUT:OUTPUT, bits from 0: the input follows; may be repeated"},
    {"--ambient-c", NUMBER, AT(ambient_c), -40, 100, "temperature around it"},
    {"--source-v", NUMBER, AT(source_v), 0, 60, "of the supply"},
    {"--hop-ohm", NUMBER, AT(hop_ohm), 0, 100, "of the wires from the supply, there and back"},
    {"--winding-ohm", NUMBER, AT(winding_ohm), 0, 100, "of the motor"},
    {"--idle-watts", NUMBER, AT(idle_watts), 0, 100, "of the electronics"},
    {"--rssi-dbm", NUMBER, AT(rssi_dbm), -120, 0, "that its radio tells"},
};

static _Noreturn void refuse(const char *option, const char *why)
{
    fprintf(stderr, "joint: %s %s\n", option, why);
    exit(2);
}

static _Noreturn void help(void)
{
    printf("One joint of the joint protocol, with simulated hardware. It moves nothing real.\n\n");
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        printf("  %-18s %s\n", known[i].name, known[i].help);
    }
    exit(0);
}

static double number(const struct option *option, const char *text)
{
    char *end;
    const double value = strtod(text, &end);
    if (end == text || *end != '\0' || !(value >= option->low && value <= option->high)) {
        char why[128];
        (void)snprintf(why, sizeof why, "is '%.40s', but must be a number from %g to %g", text, option->low,
                       option->high);
        refuse(option->name, why);
    }
    return value;
}

/* Hex in lower case of just so many bytes. */
static bool take_hex(const char *text, uint8_t *bytes, size_t count)
{
    static const char digits[] = "0123456789abcdef";
    if (strlen(text) != 2 * count || strspn(text, digits) != 2 * count) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        const ptrdiff_t high = strchr(digits, text[2 * i]) - digits;
        const ptrdiff_t low = strchr(digits, text[2 * i + 1]) - digits;
        bytes[i] = (uint8_t)(high << 4 | low);
    }
    return true;
}

static void take_id(struct options *options, const char *text)
{
    if (!take_hex(text, options->id, UJ_JOINT_ID_BYTES)) {
        refuse("--id", "must be 12 hex digits in lower case");
    }
    memcpy(options->id_text, text, sizeof options->id_text);
}

static void take_follows(struct options *options, const char *text)
{
    if (options->follows_count == OPTIONS_FOLLOWS_MAX || strlen(text) != 3 || text[1] != ':' || text[0] < '0' ||
        text[0] > '7' || text[2] < '0' || text[2] > '7') {
        refuse("--follows", "must be INPUT:OUTPUT, two bits from 0 to 7, and may stand 8 times");
    }
    options->follows[options->follows_count][0] = (uint8_t)(text[0] - '0');
    options->follows[options->follows_count++][1] = (uint8_t)(text[2] - '0');
}

static void take(struct options *options, const struct option *option, const char *text)
{
    char *field = (char *)options + option->at;
    switch (option->kind) {
    case NUMBER: {
        const double value = number(option, text);
        memcpy(field, &value, sizeof value);
        break;
    }
    case TEXT:
        memcpy(field, &text, sizeof text);
        break;
    case ID:
        take_id(options, text);
        break;
    case UPDATE_KEY:
        if (!take_hex(text, options->update_key, sizeof options->update_key)) {
            refuse("--update-key", "must be 64 hex digits in lower case");
        }
        options->has_update_key = true;
        break;
    case FOLLOWS:
        take_follows(options, text);
        break;
    }
}

static void require_sound(const struct options *options)
{
    if (options->id_text[0] == '\0' || options->name == NULL || options->key == NULL) {
        refuse("--id, --name and --key", "are needed");
    }
    if (options->name[0] == '\0' || strlen(options->name) > 32) {
        refuse("--name", "must have 1 to 32 bytes");
    }
    for (const char *letter = options->name; *letter != '\0'; letter++) {
        if ((unsigned char)*letter < ' ' || *letter == '"' || *letter == '\\') {
            refuse("--name", "holds a quotation mark, a backslash or a control character");
        }
    }
    if (options->board[0] == '\0' || strlen(options->board) > 16 ||
        strspn(options->board, "abcdefghijklmnopqrstuvwxyz0123456789-") != strlen(options->board)) {
        refuse("--board", "must have 1 to 16 of a-z, 0-9 and hyphen");
    }
    if (options->home_period > 0 &&
        options->home_period <= 2 * (options->home_half_width + options->home_hysteresis)) {
        refuse("--home-period", "is filled by the magnet");
    }
}

void options_read(struct options *options, int count, char **words)
{
    *options = (struct options){.interface = "127.0.0.1",
                                .service = "_unisono-joint._tcp",
                                .board = "posix",
                                .uptime_us = 1e6,
                                .home_half_width = 45511, /* 1° at 3200 microsteps a turn, geared 20:1 */
                                .start = 455111,
                                .max_step_rate_hz = 250000,
                                .ambient_c = 25,
                                .source_v = 24,
                                .hop_ohm = 0.05,
                                .winding_ohm = 2,
                                .idle_watts = 1,
                                .rssi_dbm = -55};
    for (int i = 1; i < count; i++) {
        const struct option *option = NULL;
        if (strcmp(words[i], "--help") == 0) {
            help();
        }
        for (size_t k = 0; k < sizeof known / sizeof known[0]; k++) {
            if (strcmp(words[i], known[k].name) == 0) {
                option = &known[k];
            }
        }
        if (option == NULL) {
            refuse(words[i], "is no option; see --help");
        }
        if (++i < count) {
            take(options, option, words[i]);
        } else {
            refuse(option->name, "needs a value");
        }
    }
    require_sound(options);
}
