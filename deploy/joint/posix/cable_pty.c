/* A bare board on Linux: the cable's machine behind a pseudo-terminal. Once it has key and network and has been
 * restarted, it starts the joint's program, as a board goes on to be a joint. For tests; it moves nothing. */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/random.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include "cable_board.h"
#include "cable_store.h"
#include "firmware.h"
#include "loader.h"

#define POWER_LOST WHOLE_FILE_POWER_LOST
#define CODE_WRONG_INPUT 2

static struct {
    const char *folder;   /* where it keeps what it is told */
    const char *link;     /* a name for the pseudo-terminal, which is another after every restart */
    const char *id;       /* 12 hex digits */
    const char *air;      /* ssid of the one network in reach */
    const char *password; /* of that network */
    const char *joint;    /* the joint's program, null for none */
    const char *interface;
    const char *cut_bytes;  /* the power goes once so many bytes came, counted from a start */
    const char *cut_store;  /* and at this step on the disk */
    const char *no_address; /* the network gives none */
    const char *drivers_on;
    const char *noisy; /* it logs before every answer */
    const char *stream_port; /* of the joint, null for a free one */
    const char *watch;       /* seconds after which firmware on trial that has not confirmed itself is ended */
    const char *cut_boot;    /* the power goes at this step on the disk of choosing the firmware */
    const char *cut_joint;   /* and at this one of the joint, counted from its start */
    const char *boot_time;   /* seconds before its joint begins */
} options = {.id = "0a1b2c3d4e5f", .interface = "127.0.0.1"};

static const struct {
    const char *name;
    const char **value;
} known[] = {
    {"--folder", &options.folder},         {"--link", &options.link},
    {"--id", &options.id},                 {"--air", &options.air},
    {"--air-password", &options.password}, {"--joint", &options.joint},
    {"--interface", &options.interface},   {"--cut-bytes", &options.cut_bytes},
    {"--cut-store", &options.cut_store},   {"--no-address", &options.no_address},
    {"--drivers-on", &options.drivers_on}, {"--noisy", &options.noisy},
    {"--stream-port", &options.stream_port}, {"--watch", &options.watch},
    {"--cut-boot", &options.cut_boot},     {"--cut-joint", &options.cut_joint},
    {"--boot-time", &options.boot_time},
};

static struct cable_store store;
static struct loader loader;
static struct uj_cable cable;
static uint32_t boot;
static struct uj_cable_wifi network; /* since its start */
static volatile sig_atomic_t asked_to_end;

static void on_signal(int number)
{
    (void)number;
    asked_to_end = 1;
}

/* What asks to end goes to `handler` from now on. */
static void answer_signals(void (*handler)(int number))
{
    const struct sigaction how = {.sa_handler = handler};
    (void)sigaction(SIGTERM, &how, NULL);
    (void)sigaction(SIGINT, &how, NULL);
}

static _Noreturn void fail(const char *what)
{
    fprintf(stderr, "bare_joint: %s: %s\n", what, strerror(errno));
    exit(1);
}

static uint32_t random_number(void *owner)
{
    uint32_t number = 0;
    (void)owner;
    while (number == 0) {
        if (getrandom(&number, sizeof number, 0) != (ssize_t)sizeof number) {
            fail("there are no random numbers");
        }
    }
    return number;
}

/* ---- what the machine asks of a board ---- */

static void tell_who(void *owner, struct uj_cable_who *who)
{
    for (size_t i = 0; i < sizeof who->id; i++) {
        unsigned byte = 0;
        (void)sscanf(options.id + 2 * i, "%2x", &byte);
        who->id[i] = (uint8_t)byte;
    }
    who->boot = boot;
    const char *const firmware = loader.program == NULL ? FIRMWARE : loader.image.firmware;
    who->firmware = (struct uj_cable_text){(const uint8_t *)firmware, strlen(firmware)};
    uj_memory_tell(owner, who);
}

static void tell_wifi(void *owner, struct uj_cable_wifi *wifi)
{
    (void)owner;
    *wifi = network;
}

static bool drivers_on(void *owner)
{
    (void)owner;
    return options.drivers_on != NULL;
}

/* ---- the joint that it becomes ---- */

static bool is(const uint8_t *bytes, size_t length, const char *text)
{
    return text != NULL && strlen(text) == length && memcmp(bytes, text, length) == 0;
}

static void join_network(void)
{
    const struct uj_told *told = &store.memory.told;
    unsigned part[4] = {0};
    if (!told->has_key || told->ssid_length == 0) {
        return;
    }
    network.state = UJ_WIFI_FAILED;
    if (!is(told->ssid, told->ssid_length, options.air)) {
        network.reason = UJ_WIFI_NOT_FOUND;
    } else if (!is(told->password, told->password_length, options.password == NULL ? "" : options.password)) {
        network.reason = UJ_WIFI_PASSWORD;
    } else if (options.no_address != NULL) {
        network.reason = UJ_WIFI_NO_ADDRESS;
    } else if (sscanf(options.interface, "%3u.%3u.%3u.%3u", &part[0], &part[1], &part[2], &part[3]) == 4) {
        for (size_t i = 0; i < 4; i++) {
            network.address[i] = (uint8_t)part[i];
        }
        network.state = UJ_WIFI_CONNECTED;
        network.rssi_dbm = -50;
    }
}

/* The joint's program, null for none. */
static const char *program(void)
{
    return loader.program == NULL ? options.joint : loader.program;
}

/* The joint's program becomes this process. */
static _Noreturn void be_joint(const char *key, const char *name)
{
    const char *const service = getenv("UNISONO_SERVICE");
    char type[80], update_key[2 * UJ_KEY_BYTES + 1];
    const char *words[24] = {program(),     "--id",      options.id, "--name", name, "--key", key, "--interface",
                             options.interface, "--service", type,   "--updates", options.folder};
    size_t count = 13;
    (void)snprintf(type, sizeof type, "_%.60s._tcp", service == NULL ? "unisono-joint" : service);
    if (store.memory.told.has_update_key) {
        for (size_t i = 0; i < UJ_KEY_BYTES; i++) {
            (void)snprintf(update_key + 2 * i, 3, "%02x", store.memory.told.update_key[i]);
        }
        words[count++] = "--update-key";
        words[count++] = update_key;
    }
    if (options.stream_port != NULL) {
        words[count++] = "--stream-port";
        words[count++] = options.stream_port;
    }
    if (options.cut_joint != NULL) {
        words[count++] = "--cut-update";
        words[count++] = options.cut_joint;
    }
    (void)execv(program(), (char **)(uintptr_t)words);
    _exit(1);
}

static void begin_joint(void)
{
    char name[UJ_CABLE_TEXT_MAX + 1] = "joint";
    if (network.state != UJ_WIFI_CONNECTED || program() == NULL) {
        return;
    }
    const char *const key = cable_store_key_file(&store);
    if (key == NULL) {
        fail("the key's file cannot be written");
    }
    if (store.memory.told.name_length > 0) {
        memcpy(name, store.memory.told.name, store.memory.told.name_length);
        name[store.memory.told.name_length] = '\0';
    }
    if (loader_fork(&loader)) {
        (void)poll(NULL, 0, options.boot_time == NULL ? 0 : 1000 * atoi(options.boot_time));
        be_joint(key, name);
    }
}

/* ---- the cable ---- */

/* The board's end; `*far` is kept open, so that nobody at the other end is no end of the cable. */
static int open_cable(int *far)
{
    struct termios raw;
    const int near = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    const char *name = near < 0 || grantpt(near) != 0 || unlockpt(near) != 0 ? NULL : ptsname(near);
    *far = name == NULL ? -1 : open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (*far < 0 || tcgetattr(*far, &raw) != 0) {
        fail("there is no pseudo-terminal");
    }
    cfmakeraw(&raw);
    (void)tcsetattr(*far, TCSANOW, &raw);
    if (options.link != NULL) {
        char beside[4096];
        (void)snprintf(beside, sizeof beside, "%s.new", options.link);
        (void)unlink(beside);
        if (symlink(name, beside) != 0 || rename(beside, options.link) != 0) {
            fail(options.link);
        }
    }
    printf("{\"port\": \"%s\", \"boot\": %u}\n", options.link == NULL ? name : options.link, (unsigned)boot);
    (void)fflush(stdout);
    return near;
}

static void say(int near, const void *bytes, size_t length)
{
    if (write(near, bytes, length) != (ssize_t)length) {
        fail("the cable takes nothing");
    }
}

/* Once the computer has read the answer, or after a second: whoever boots says nothing more. */
static void wait_until_read(int near)
{
    int left = 1;
    for (int i = 0; i < 100 && ioctl(near, TIOCOUTQ, &left) == 0 && left > 0; i++) {
        (void)poll(NULL, 0, 10);
    }
    (void)poll(NULL, 0, 50);
}

static _Noreturn void restart(char **words)
{
    loader_end(&loader);
    if (options.link != NULL) {
        (void)unlink(options.link); /* else it leads to whoever gets this terminal next */
    }
    answer_signals(SIG_DFL); /* what comes from here on ends it at once; what came before would be forgotten */
    if (asked_to_end) {
        exit(0);
    }
    (void)execv("/proc/self/exe", words);
    fail("it cannot restart");
}

/* When the joint's program loses power, so does all of the board. */
static void watch_joint(char **words)
{
    int how = 0;
    const enum loader_found found = loader_look(&loader, &how);
    if (WIFEXITED(how) && WEXITSTATUS(how) == POWER_LOST) {
        _exit(POWER_LOST);
    }
    if (found == LOADER_RESTARTS) {
        restart(words);
    }
}

static void obey(struct uj_cable_board *board, const struct uj_cable_frame *frame, int near, char **words)
{
    static const char log_line[] = "I (4711) wifi: \xfe\xc5\x05\xfa not a frame\r\n";
    struct uj_cable_answer answer;
    uj_cable_obey(board, frame, &answer);
    if (options.noisy != NULL) {
        say(near, log_line, sizeof log_line - 1);
    }
    say(near, answer.bytes, answer.length);
    if (answer.restart) {
        wait_until_read(near);
        restart(words);
    }
}

static void serve(int near, char **words)
{
    static const char hello[] = "boot: firmware " FIRMWARE "\r\n";
    long left = options.cut_bytes == NULL ? -1 : atol(options.cut_bytes);
    struct uj_cable_board board = {.hooks = {.owner = &store.memory,
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
    struct uj_cable_frame frame;
    say(near, hello, sizeof hello - 1);
    while (!asked_to_end) {
        watch_joint(words);
        struct pollfd file = {.fd = near, .events = POLLIN};
        uint8_t byte;
        bool found;
        if (poll(&file, 1, UJ_CABLE_PAUSE_MS) <= 0) {
            while (uj_cable_pause(&cable, &frame)) {
                obey(&board, &frame, near, words);
            }
            continue;
        }
        if (left == 0) {
            _exit(POWER_LOST);
        }
        if (read(near, &byte, 1) != 1) {
            continue;
        }
        left--;
        size_t given = 1;
        do {
            (void)uj_cable_feed(&cable, &byte, given, &frame, &found);
            given = 0;
            if (found) {
                obey(&board, &frame, near, words);
            }
        } while (found);
    }
}

static void read_options(int count, char **words)
{
    for (int i = 1; i < count; i += 2) {
        size_t k = 0;
        while (k < sizeof known / sizeof known[0] && strcmp(words[i], known[k].name) != 0) {
            k++;
        }
        if (k == sizeof known / sizeof known[0] || i + 1 == count) {
            fprintf(stderr, "bare_joint: %s is no option, or has no value\n", words[i]);
            exit(CODE_WRONG_INPUT);
        }
        *known[k].value = words[i + 1];
    }
    if (options.folder == NULL || strlen(options.id) != 12 || strspn(options.id, "0123456789abcdef") != 12) {
        fprintf(stderr, "bare_joint: it needs --folder, and --id must be 12 hex digits\n");
        exit(CODE_WRONG_INPUT);
    }
}

int main(int count, char **words)
{
    int far;
    read_options(count, words);
    answer_signals(on_signal);
    if (!cable_store_open(&store, options.folder) || !update_store_open(&loader.store, options.folder)) {
        return CODE_WRONG_INPUT;
    }
    loader.watch_s = options.watch == NULL ? LOADER_WATCH_S : atof(options.watch);
    loader.store.files.cut_before = options.cut_boot == NULL ? 0 : atoi(options.cut_boot);
    loader_boot(&loader);
    boot = random_number(NULL);
    join_network();
    begin_joint();
    store.files.cut_before = options.cut_store == NULL ? 0 : atoi(options.cut_store);
    const int near = open_cable(&far);
    serve(near, words);
    loader_end(&loader);
    (void)close(far);
    return 0;
}
