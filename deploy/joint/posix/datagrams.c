#include "datagrams.h"

#include <math.h>
#include <netinet/in.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

#define AT_ONCE 64 /* then others have their turn */

uint16_t datagrams_begin(struct datagrams *datagrams, struct uj_machine *machine, const struct crystal *crystal,
                         uint32_t address)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(address)};
    socklen_t length = sizeof at;
    const int yes = 1;
    datagrams->machine = machine;
    datagrams->crystal = *crystal;
    datagrams->file = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (datagrams->file < 0 || bind(datagrams->file, (struct sockaddr *)&at, sizeof at) != 0 ||
        setsockopt(datagrams->file, SOL_SOCKET, SO_TIMESTAMPNS, &yes, sizeof yes) != 0 ||
        getsockname(datagrams->file, (struct sockaddr *)&at, &length) != 0) {
        return 0;
    }
    datagrams_wait(datagrams);
    return ntohs(at.sin_port);
}

void datagrams_wait(struct datagrams *datagrams)
{
    datagrams->real_ahead_us = times_real_ahead_us();
}

/* True time at which it came, never before the truth: the kernel stamps it by a clock that may be set meanwhile, so
 * the later of two conversions counts, and now where there is no stamp. */
static double came_us(const struct datagrams *datagrams, struct msghdr *message, double now_us, double ahead_us)
{
    for (struct cmsghdr *part = CMSG_FIRSTHDR(message); part != NULL; part = CMSG_NXTHDR(message, part)) {
        if (part->cmsg_level == SOL_SOCKET && part->cmsg_type == SCM_TIMESTAMPNS) {
            struct timespec stamp;
            memcpy(&stamp, CMSG_DATA(part), sizeof stamp);
            const double real_us = (double)stamp.tv_sec * 1e6 + (double)stamp.tv_nsec * 1e-3;
            return fmin(now_us, real_us - fmin(ahead_us, datagrams->real_ahead_us));
        }
    }
    return now_us;
}

static void take(struct datagrams *datagrams, const uint8_t *bytes, size_t length, double true_us,
                 const struct sockaddr_in *from)
{
    struct uj_endpoint *endpoint = &datagrams->machine->endpoint;
    struct uj_reply reply;
    const double joint_us = times_joint_us(&datagrams->crystal, true_us);
    uj_machine_run(datagrams->machine, joint_us);
    uj_endpoint_datagram(endpoint, (int64_t)ceil(joint_us), bytes, length, &reply);
    uj_machine_told(datagrams->machine);
    if (reply.length > 0) {
        uint8_t out[UJ_STATUS_DATAGRAM_BYTES];
        const double sent_us = times_joint_us(&datagrams->crystal, times_true_us());
        uj_endpoint_seal(endpoint, &reply, (int64_t)floor(sent_us), out);
        (void)sendto(datagrams->file, out, reply.length, MSG_DONTWAIT, (const struct sockaddr *)from, sizeof *from);
    }
}

void datagrams_take(struct datagrams *datagrams)
{
    const double ahead_us = times_real_ahead_us();
    for (int i = 0; i < AT_ONCE; i++) {
        uint8_t bytes[UJ_MAX_DATAGRAM_BYTES + 1];
        struct sockaddr_in from = {0};
        _Alignas(struct cmsghdr) char control[CMSG_SPACE(sizeof(struct timespec))];
        struct iovec part = {.iov_base = bytes, .iov_len = sizeof bytes};
        struct msghdr message = {.msg_name = &from,
                                 .msg_namelen = sizeof from,
                                 .msg_iov = &part,
                                 .msg_iovlen = 1,
                                 .msg_control = control,
                                 .msg_controllen = sizeof control};
        const ssize_t length = recvmsg(datagrams->file, &message, MSG_DONTWAIT);
        if (length < 0) {
            return;
        }
        if (length <= UJ_MAX_DATAGRAM_BYTES) {
            take(datagrams, bytes, (size_t)length, came_us(datagrams, &message, times_true_us(), ahead_us), &from);
        }
    }
}
