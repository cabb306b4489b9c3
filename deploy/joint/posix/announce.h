/* How a joint announces itself: DNS-SD (RFC 6763) over multicast DNS (RFC 6762), for one service instance and one IPv4
 * address. A machine of messages: datagrams and time go in, datagrams come out. Times are true time in µs. */
#ifndef ANNOUNCE_H
#define ANNOUNCE_H

#include <netinet/in.h>

#include "dns.h"

#define ANNOUNCE_GROUP 0xE00000FBu /* 224.0.0.251 */
#define ANNOUNCE_PORT 5353

/* The records; numbers of bits. */
enum announce_record { ANNOUNCE_PTR, ANNOUNCE_SRV, ANNOUNCE_TXT, ANNOUNCE_A, ANNOUNCE_TYPES, ANNOUNCE_RECORDS };

struct announce_service {
    const char *service; /* such as "_unisono-joint._tcp" */
    const char *label;   /* the instance's name that is wanted */
    const char *host;    /* one label, this joint's alone */
    uint32_t address;    /* IPv4 */
    uint16_t port;       /* of the stream */
    const char *const *text; /* "key=value", the last null */
};

enum announce_phase { ANNOUNCE_PROBING, ANNOUNCE_ANNOUNCING, ANNOUNCE_SETTLED, ANNOUNCE_ENDED };

struct announce {
    enum announce_phase phase;
    unsigned sent;       /* probes or announcements, in this phase */
    double due_us;       /* of the next; INFINITY for none */
    unsigned conflicts;  /* since the last announcement that settled */
    unsigned number;     /* the label's: 0, then 2, 3, … */
    unsigned pending;    /* bits of records that are to be multicast as an answer */
    double pending_us;   /* when */
    double multicast_us[ANNOUNCE_RECORDS]; /* last time each was */
    double gap_us;       /* within which a record is not multicast again */
    uint32_t random;
    /* What it says. */
    char wanted[DNS_LABEL_BYTES + 1];
    char label[DNS_LABEL_BYTES + 1];
    struct dns_name service, instance, host, types;
    uint32_t address;
    uint16_t port;
    uint8_t text[512];
    size_t text_length;
    /* `to` null: to the group. */
    void (*send)(void *context, const struct sockaddr_in *to, const uint8_t *bytes, size_t length);
    void *context;
};

/* Begins to probe. False where a name is too long. `random` is any number. `send` and `context` are to be set
 * before. */
bool announce_begin(struct announce *announce, const struct announce_service *service, uint32_t random, double now_us);

/* A datagram came from somewhere. */
void announce_take(struct announce *announce, double now_us, const struct sockaddr_in *from, const uint8_t *bytes,
                   size_t length);

/* Lets happen what is due. */
void announce_poll(struct announce *announce, double now_us);

/* When the next thing is due; INFINITY for never. */
double announce_next_us(const struct announce *announce);

/* Whether the joint has been announced, and has its name. */
bool announce_is_out(const struct announce *announce);

/* Says goodbye, where it was announced. */
void announce_end(struct announce *announce);

#endif
