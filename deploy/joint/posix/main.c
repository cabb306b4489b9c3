/* One joint on Linux: real sockets, real announcement, simulated hardware. */
#include <arpa/inet.h>
#include <errno.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/random.h>
#include <time.h>
#include <unistd.h>

#include "datagrams.h"
#include "firmware.h"
#include "key_file.h"
#include "multicast.h"
#include "options.h"
#include "restart.h"
#include "streams.h"
#include "times.h"
#include "truth.h"
#include "update.h"
#include "update_store.h"
#include "world.h"

#define IMAGE_CAPACITY (64u << 20) /* bytes */
#define CODE_FAILED 1
#define CODE_WRONG_INPUT 2

static struct options options;
static struct world world;
static struct uj_machine machine;
static struct streams streams;
static struct datagrams datagrams;
static struct multicast multicast;
static struct update_store update_store;
static struct uj_update update;

static volatile sig_atomic_t asked_to_end;

static void on_signal(int number)
{
    (void)number;
    asked_to_end = 1;
}

static _Noreturn void fail(const char *what)
{
    fprintf(stderr, "joint: %s: %s\n", what, strerror(errno));
    exit(CODE_FAILED);
}

/* Signals are let in while it waits and at no other time, so that none is missed right before. */
static void take_signals(sigset_t *waiting)
{
    struct sigaction end = {.sa_handler = on_signal};
    struct sigaction ignore = {.sa_handler = SIG_IGN};
    sigset_t blocked;
    (void)sigemptyset(&blocked);
    (void)sigaddset(&blocked, SIGTERM);
    (void)sigaddset(&blocked, SIGINT);
    (void)sigprocmask(SIG_BLOCK, &blocked, waiting);
    (void)sigdelset(waiting, SIGTERM);
    (void)sigdelset(waiting, SIGINT);
    (void)sigaction(SIGTERM, &end, NULL);
    (void)sigaction(SIGINT, options.with_parent > 0 ? &ignore : &end, NULL);
    (void)sigaction(SIGPIPE, &ignore, NULL);
    if (options.with_parent > 0) {
        (void)prctl(PR_SET_PDEATHSIG, SIGKILL); /* as power is lost: without goodbye */
        if ((double)getppid() != options.with_parent) {
            exit(CODE_FAILED); /* it is gone already */
        }
    }
}

static uint32_t random_number(void)
{
    uint32_t number = 0;
    while (number == 0) {
        if (getrandom(&number, sizeof number, 0) != (ssize_t)sizeof number) {
            fail("there are no random numbers");
        }
    }
    return number;
}

static void begin_update(double joint_us)
{
    struct uj_update_start start = update_store_start(&update_store);
    memcpy(start.key, options.update_key, sizeof start.key);
    uj_update_init(&update, &start, joint_us);
}

static void begin_joint(uint16_t udp, const uint8_t key[UJ_KEY_BYTES], double true_us)
{
    const struct uj_shell shell = streams_shell(&streams);
    const struct uj_hardware hardware = world_hardware(&world);
    const double joint_us = times_joint_us(&world.crystal, true_us);
    struct uj_settings settings = {
        .firmware = FIRMWARE,
        .boot = random_number(),
        .udp = udp,
        .capabilities = {.point_capacity = UJ_POINT_CAPACITY,
                         .max_step_rate_hz = (uint32_t)options.max_step_rate_hz,
                         .sensors = {"hall", "temperature", "supply"},
                         .inputs = (uint8_t)options.inputs,
                         .outputs = (uint8_t)options.outputs,
                         .idle_current = options.no_idle_current == 0},
        .tells_home_sensor = true,
    };
    memcpy(settings.id, options.id, sizeof settings.id);
    if (options.updates != NULL) {
        begin_update(joint_us);
        settings.update = &update;
        if (options.has_update_key) {
            settings.capabilities.board = options.board;
            settings.capabilities.image_capacity = IMAGE_CAPACITY;
        }
    }
    world.joint = &machine.endpoint.joint;
    uj_machine_init(&machine, &settings, key, &shell, &hardware, joint_us);
    uj_machine_run(&machine, joint_us);
}

static void begin_announcing(uint16_t stream_port, uint16_t udp, uint32_t address, double true_us)
{
    static char id[20];
    static char udp_port[12];
    static char host[32];
    static char label[64];
    static const char *const text[] = {"txtvers=1", id, "proto=1", "fw=" FIRMWARE, "path=/joint", udp_port, NULL};
    (void)snprintf(id, sizeof id, "id=%s", options.id_text);
    (void)snprintf(udp_port, sizeof udp_port, "udp=%u", udp);
    (void)snprintf(host, sizeof host, "%s-%u", options.id_text, udp);
    (void)snprintf(label, sizeof label, "%s-%s", options.name, options.id_text);
    const struct announce_service service = {.service = options.service,
                                             .label = label,
                                             .host = host,
                                             .address = address,
                                             .port = stream_port,
                                             .text = text};
    if (!announce_begin(&multicast.announce, &service, random_number(), true_us)) {
        fprintf(stderr, "joint: '%s' is no DNS-SD service\n", options.service);
        exit(CODE_WRONG_INPUT);
    }
}

static void tell_ready(uint16_t stream_port, uint16_t udp)
{
    printf("{\"name\": \"%s\", \"id\": \"%s\", \"stream_port\": %u, \"udp_port\": %u, \"instance\": \"%s\"}\n",
           options.name, options.id_text, stream_port, udp, multicast.announce.label);
    (void)fflush(stdout);
}

/* Waits until something comes or is due. */
static void wait_for(struct pollfd *files, nfds_t count, double due_us, const sigset_t *waiting)
{
    const double wait_us = fmin(fmax(due_us - times_true_us(), 0), 10e6);
    const struct timespec most = {.tv_sec = (time_t)(wait_us / 1e6), .tv_nsec = (long)(fmod(wait_us, 1e6) * 1e3)};
    if (ppoll(files, count, &most, waiting) < 0) {
        if (errno != EINTR) {
            fail("it cannot wait");
        }
        for (nfds_t i = 0; i < count; i++) {
            files[i].revents = 0;
        }
    }
}

static void serve(uint16_t stream_port, uint16_t udp, const sigset_t *waiting)
{
    struct pollfd files[2 + 1 + STREAMS];
    bool told = false;
    while (!asked_to_end && !update.restarts) {
        const double due_us = fmin(times_true_of_us(&world.crystal, uj_machine_next_us(&machine)),
                                   fmin(streams_next_us(&streams), announce_next_us(&multicast.announce)));
        files[0] = (struct pollfd){.fd = datagrams.file, .events = POLLIN};
        files[1] = (struct pollfd){.fd = multicast.file, .events = POLLIN};
        streams_watch(&streams, files + 2);
        datagrams_wait(&datagrams);
        wait_for(files, sizeof files / sizeof files[0], due_us, waiting);
        datagrams_take(&datagrams); /* first: they came at their own times, which may be over for a while */
        streams_take(&streams, files + 2);
        const double true_us = times_true_us();
        uj_machine_run(&machine, times_joint_us(&world.crystal, true_us));
        streams_poll(&streams, true_us);
        multicast_take(&multicast, true_us);
        announce_poll(&multicast.announce, true_us);
        if (!told && announce_is_out(&multicast.announce)) {
            told = true;
            tell_ready(stream_port, udp);
        }
    }
}

/* The port that it had before the restart, where nobody has taken it meanwhile. */
static uint16_t begin_streams(const struct crystal *crystal, uint32_t host, uint16_t before)
{
    const uint16_t asked = options.stream_port > 0 ? (uint16_t)options.stream_port : before;
    const uint16_t found = streams_begin(&streams, &machine, crystal, host, asked);
    return found == 0 && options.stream_port == 0 && before != 0 ? streams_begin(&streams, &machine, crystal, host, 0)
                                                                  : found;
}

static void keep_for_restart(double joint_us, uint16_t stream_port)
{
    struct restart left;
    world_leave(&world, joint_us, &left);
    left.stream_port = stream_port;
    if (!restart_keep(options.updates, &left)) {
        fprintf(stderr, "joint: where its axis stands cannot be kept in %s\n", options.updates);
    }
}

int main(int count, char **words)
{
    uint8_t key[UJ_KEY_BYTES];
    struct restart left = {0};
    struct in_addr address;
    sigset_t waiting;
    options_read(&options, count, words);
    take_signals(&waiting);
    if (inet_pton(AF_INET, options.interface, &address) != 1) {
        fprintf(stderr, "joint: --interface is '%s', but must be an IPv4 address\n", options.interface);
        return CODE_WRONG_INPUT;
    }
    const uint32_t host = ntohl(address.s_addr);
    const double true_us = times_true_us();
    const struct crystal crystal = {
        .true_us = true_us, .since_us = options.uptime_us, .rate = 1 + options.skew_ppm * 1e-6};
    world_begin(&world, &options, &crystal, options.uptime_us);
    if (!key_file_read(options.key, key) ||
        (options.updates != NULL && !update_store_open(&update_store, options.updates)) ||
        !truth_open(&world.log, options.truth, options.name)) {
        return CODE_WRONG_INPUT;
    }
    if (options.updates != NULL && restart_read(options.updates, &left)) {
        world_go_on(&world, &left);
    }
    update_store.files.cut_before = (int)options.cut_update;
    const uint16_t udp = datagrams_begin(&datagrams, &machine, &crystal, host);
    const uint16_t stream_port = udp == 0 ? 0 : begin_streams(&crystal, host, left.stream_port);
    if (stream_port == 0 || multicast_begin(&multicast, host) != 0) {
        fail(options.interface);
    }
    begin_joint(udp, key, true_us);
    explicit_bzero(key, sizeof key);
    begin_announcing(stream_port, udp, host, true_us);
    serve(stream_port, udp, &waiting);
    if (update.restarts) {
        keep_for_restart(times_joint_us(&crystal, times_true_us()), stream_port);
    }
    announce_end(&multicast.announce);
    uj_endpoint_end(&machine.endpoint);
    streams_end(&streams);
    return update.restarts ? UPDATE_RESTARTS : 0;
}
