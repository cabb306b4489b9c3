#include "multicast.h"

#include <sys/socket.h>
#include <unistd.h>

#define MESSAGE_BYTES 9000 /* RFC 6762, section 17 */
#define AT_ONCE 64
#define HOPS 255 /* section 11 */

static void on_send(void *context, const struct sockaddr_in *to, const uint8_t *bytes, size_t length)
{
    const struct multicast *multicast = context;
    const struct sockaddr_in group = {.sin_family = AF_INET,
                                      .sin_port = htons(ANNOUNCE_PORT),
                                      .sin_addr.s_addr = htonl(ANNOUNCE_GROUP)};
    /* What the network does not take just now is asked for again. */
    (void)sendto(multicast->file, bytes, length, MSG_DONTWAIT, (const struct sockaddr *)(to != NULL ? to : &group),
                 sizeof group);
}

int multicast_begin(struct multicast *multicast, uint32_t address)
{
    /* Bound to the group, it hears what is multicast alone, and still sends from the port that answers come from. */
    const struct sockaddr_in group = {.sin_family = AF_INET,
                                      .sin_port = htons(ANNOUNCE_PORT),
                                      .sin_addr.s_addr = htonl(ANNOUNCE_GROUP)};
    const struct ip_mreq membership = {.imr_multiaddr = group.sin_addr, .imr_interface.s_addr = htonl(address)};
    const int yes = 1;
    const int no = 0;
    const int hops = HOPS;
    multicast->announce.send = on_send;
    multicast->announce.context = multicast;
    multicast->file = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (multicast->file < 0) {
        return -1;
    }
    if (setsockopt(multicast->file, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) != 0 ||
        setsockopt(multicast->file, SOL_SOCKET, SO_REUSEPORT, &yes, sizeof yes) != 0 ||
        bind(multicast->file, (const struct sockaddr *)&group, sizeof group) != 0 ||
        setsockopt(multicast->file, IPPROTO_IP, IP_MULTICAST_ALL, &no, sizeof no) != 0 ||
        setsockopt(multicast->file, IPPROTO_IP, IP_MULTICAST_LOOP, &yes, sizeof yes) != 0 ||
        setsockopt(multicast->file, IPPROTO_IP, IP_MULTICAST_TTL, &hops, sizeof hops) != 0 ||
        setsockopt(multicast->file, IPPROTO_IP, IP_MULTICAST_IF, &membership.imr_interface,
                   sizeof membership.imr_interface) != 0 ||
        setsockopt(multicast->file, IPPROTO_IP, IP_ADD_MEMBERSHIP, &membership, sizeof membership) != 0) {
        return -1;
    }
    return 0;
}

void multicast_take(struct multicast *multicast, double true_us)
{
    static uint8_t bytes[MESSAGE_BYTES];
    for (int i = 0; i < AT_ONCE; i++) {
        struct sockaddr_in from = {0};
        socklen_t from_length = sizeof from;
        const ssize_t length = recvfrom(multicast->file, bytes, sizeof bytes, MSG_DONTWAIT, (struct sockaddr *)&from,
                                        &from_length);
        if (length < 0) {
            return;
        }
        announce_take(&multicast->announce, true_us, &from, bytes, (size_t)length);
    }
}
