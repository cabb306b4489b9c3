#include "network.h"

#include <fcntl.h>
#include <unistd.h>

#include "pins.h"
#include "runner.h"
#include "stepper.h"
#include "streams.h"

#define DATAGRAMS_A_TURN 8
#define TURN_MS 2

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
        const ssize_t length = recvfrom(datagrams, bytes, sizeof bytes, 0, (struct sockaddr *)&peer, &peer_size);
        if (length < 0) {
            return;
        }
        const int64_t received_us = (int64_t)runner_run(0) + 1; /* rounded up */
        uj_endpoint_datagram(runner_endpoint(), received_us, bytes, (size_t)length, &reply);
        runner_told();
        if (reply.length > 0) {
            uj_endpoint_seal(runner_endpoint(), &reply, esp_timer_get_time(), out);
            (void)sendto(datagrams, out, reply.length, 0, (const struct sockaddr *)&peer, peer_size);
        }
    }
}

static void run(void *argument)
{
    (void)argument;
    ESP_ERROR_CHECK(esp_task_wdt_add(NULL));
    open_sockets();
    stepper_begin();
    for (;;) {
        struct timeval wait = {.tv_usec = 1000 * TURN_MS};
        fd_set readable;
        FD_ZERO(&readable);
        FD_SET(listener, &readable);
        FD_SET(datagrams, &readable);
        int highest = listener > datagrams ? listener : datagrams;
        highest = streams_watch(&readable, highest);
        const int found = select(highest + 1, &readable, NULL, NULL, &wait);
        ESP_ERROR_CHECK(esp_task_wdt_reset());
        runner_turn();
        if (found <= 0) {
            if (found < 0) {
                vTaskDelay(TURN_MS); /* others must run too */
            }
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
    /* Above the sockets' own task, as the motor's steps wait for it; on the core that the radio does not use where there
     * are two. */
    const BaseType_t made = xTaskCreatePinnedToCore(run, "joint", 12288, NULL, configMAX_PRIORITIES - 3, NULL,
                                                    portNUM_PROCESSORS - 1);
    ESP_ERROR_CHECK(made == pdPASS ? ESP_OK : ESP_ERR_NO_MEM);
}
