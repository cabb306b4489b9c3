#include "network.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "guard.h"
#include "pins.h"
#include "streams.h"

#define DATAGRAMS_A_TURN 8
#define LONGEST_WAIT_US 10000 /* events that came of a reading go out so late at most */

static int listener = -1;
static int datagrams = -1;

static int open_socket(int kind, uint16_t port)
{
    const struct sockaddr_in here = {
        .sin_family = AF_INET, .sin_port = htons(port), .sin_addr.s_addr = htonl(INADDR_ANY)};
    const int one = 1;
    const int s = socket(AF_INET, kind, 0);
    if (s < 0) {
        return -1;
    }
    if (setsockopt(s, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one) < 0 ||
        bind(s, (const struct sockaddr *)&here, sizeof here) < 0 || fcntl(s, F_SETFL, O_NONBLOCK) < 0) {
        (void)close(s);
        return -1;
    }
    return s;
}

static void open_sockets(void)
{
    const int class = 0xb8; /* expedited forwarding (RFC 3246), which Wi-Fi sends as voice */
    listener = open_socket(SOCK_STREAM, CONFIG_UJ_PORT);
    datagrams = open_socket(SOCK_DGRAM, CONFIG_UJ_PORT);
    if (listener < 0 || datagrams < 0 || listen(listener, UJ_CONNECTIONS) < 0) {
        ESP_LOGE("network", "Port %d cannot be opened: %s.", CONFIG_UJ_PORT, strerror(errno));
        esp_restart();
    }
    (void)setsockopt(datagrams, IPPROTO_IP, IP_TOS, &class, sizeof class);
}

static void take_datagrams(void)
{
    static uint8_t bytes[UJ_MAX_DATAGRAM_BYTES + 1]; /* one more shows that it is too long */
    for (int i = 0; i < DATAGRAMS_A_TURN; i++) {
        struct sockaddr_in peer;
        socklen_t peer_size = sizeof peer;
        struct uj_reply reply;
        uint8_t out[UJ_STATUS_DATAGRAM_BYTES];
        double now_us;
        const ssize_t length = recvfrom(datagrams, bytes, sizeof bytes, 0, (struct sockaddr *)&peer, &peer_size);
        if (length < 0) {
            return;
        }
        const int64_t received_us = guard_time_us() + 1; /* rounded up */
        struct uj_endpoint *endpoint = guard_enter(&now_us);
        uj_endpoint_datagram(endpoint, received_us, bytes, (size_t)length, &reply);
        if (reply.length > 0) {
            uj_endpoint_seal(endpoint, &reply, guard_time_us(), out);
        }
        guard_leave();
        if (reply.length > 0) {
            (void)sendto(datagrams, out, reply.length, 0, (const struct sockaddr *)&peer, peer_size);
        }
    }
}

/* How long to wait for bytes: until something is due, and not for long. */
static struct timeval wait_for(void)
{
    double now_us;
    struct uj_endpoint *endpoint = guard_enter(&now_us);
    uj_endpoint_poll(endpoint, now_us);
    const double left_us = uj_endpoint_next_deadline(endpoint) - now_us;
    guard_leave();
    return (struct timeval){.tv_usec = left_us < 1000              ? 1000
                                       : left_us > LONGEST_WAIT_US ? LONGEST_WAIT_US
                                                                   : (suseconds_t)left_us};
}

static void run(void *argument)
{
    (void)argument;
    ESP_ERROR_CHECK(esp_task_wdt_add(NULL));
    open_sockets();
    for (;;) {
        struct timeval wait = wait_for();
        fd_set readable;
        FD_ZERO(&readable);
        FD_SET(listener, &readable);
        FD_SET(datagrams, &readable);
        int highest = listener > datagrams ? listener : datagrams;
        highest = streams_watch(&readable, highest);
        ESP_ERROR_CHECK(esp_task_wdt_reset());
        if (select(highest + 1, &readable, NULL, NULL, &wait) <= 0) {
            continue;
        }
        if (FD_ISSET(datagrams, &readable)) {
            take_datagrams(); /* first: they carry the stop */
        }
        streams_read(&readable);
        if (FD_ISSET(listener, &readable)) {
            streams_accept(listener);
        }
    }
}

const struct uj_shell network_shell = {.send = streams_send, .close = streams_close};

void network_begin(void)
{
    const BaseType_t made = xTaskCreatePinnedToCore(run, "network", 8192, NULL, configMAX_PRIORITIES - 8, NULL,
                                                    portNUM_PROCESSORS - 1);
    ESP_ERROR_CHECK(made == pdPASS ? ESP_OK : ESP_ERR_NO_MEM);
}
