#include "announce.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "announce_records.h"
#include "bytes.h"

#define PROBES 3
#define PROBE_US 250e3
#define ANNOUNCEMENTS 3
#define ANNOUNCE_US 1e6
#define MANY_CONFLICTS 15 /* beyond which it waits before it asks again (RFC 6762, section 8.1) */
#define CONFLICT_US 5e6
#define DEFER_US 1e6
#define GAP_US 1e6      /* of a record that is multicast again (section 6) */
#define PROBED_GAP_US 250e3
#define TRUNCATED_US 400e3

static double spread_us(struct announce *announce, double width_us)
{
    announce->random = announce->random * 1664525u + 1013904223u; /* Numerical Recipes' quick generator */
    return (double)(announce->random >> 8) / (double)(1u << 24) * width_us;
}

static void probe_from(struct announce *announce, double at_us)
{
    announce->phase = ANNOUNCE_PROBING;
    announce->sent = 0;
    announce->due_us = at_us;
    announce->pending = 0;
}

static bool take_label(struct announce *announce)
{
    if (announce->number == 0) {
        memcpy(announce->label, announce->wanted, sizeof announce->label);
    } else {
        char suffix[16];
        const int length = snprintf(suffix, sizeof suffix, "-%u", announce->number);
        const size_t room = DNS_LABEL_BYTES - (size_t)length;
        const size_t kept = strlen(announce->wanted) < room ? strlen(announce->wanted) : room;
        memcpy(announce->label, announce->wanted, kept);
        memcpy(announce->label + kept, suffix, (size_t)length + 1);
    }
    return dns_name_under(&announce->instance, announce->label, &announce->service);
}

bool announce_begin(struct announce *announce, const struct announce_service *service, uint32_t random, double now_us)
{
    struct dns_name local;
    struct dns_name one;
    char dotted[DNS_NAME_BYTES];
    const int length = snprintf(dotted, sizeof dotted, "%s.local", service->service);
    announce->random = random;
    announce->number = announce->conflicts = 0;
    announce->address = service->address;
    announce->port = service->port;
    announce->text_length = 0;
    for (const char *const *text = service->text; *text != NULL; text++) {
        const size_t many = strlen(*text);
        if (many > 255 || announce->text_length + 1 + many > sizeof announce->text) {
            return false;
        }
        announce->text[announce->text_length++] = (uint8_t)many;
        memcpy(announce->text + announce->text_length, *text, many);
        announce->text_length += many;
    }
    for (size_t i = 0; i < ANNOUNCE_RECORDS; i++) {
        announce->multicast_us[i] = -INFINITY;
    }
    if (length < 0 || (size_t)length >= sizeof dotted || strlen(service->label) > DNS_LABEL_BYTES ||
        !dns_name_make(&announce->service, dotted) || !dns_name_make(&local, "local") ||
        !dns_name_under(&announce->host, service->host, &local) ||
        !dns_name_make(&one, "_services._dns-sd._udp.local")) {
        return false;
    }
    announce->types = one;
    (void)snprintf(announce->wanted, sizeof announce->wanted, "%s", service->label);
    probe_from(announce, now_us + spread_us(announce, PROBE_US));
    return take_label(announce);
}

/* Somebody else has the name. */
static void take_another(struct announce *announce, double now_us)
{
    announce->number = announce->number == 0 ? 2 : announce->number + 1;
    announce->conflicts++;
    (void)take_label(announce); /* shorter than the service's, which had room for 63 */
    probe_from(announce, now_us + (announce->conflicts > MANY_CONFLICTS ? CONFLICT_US : spread_us(announce, PROBE_US)));
}

static void happen(struct announce *announce, double now_us)
{
    if (announce->phase == ANNOUNCE_PROBING && announce->sent < PROBES) {
        announce_write_probe(announce);
        announce->sent++;
        announce->due_us = now_us + PROBE_US;
        return;
    }
    if (announce->phase == ANNOUNCE_PROBING) {
        announce->phase = ANNOUNCE_ANNOUNCING;
        announce->sent = 0;
    }
    const unsigned all = 1u << ANNOUNCE_PTR | 1u << ANNOUNCE_SRV | 1u << ANNOUNCE_TXT | 1u << ANNOUNCE_A;
    announce_write_answer(announce, now_us, all, 0, false);
    announce->sent++;
    if (announce->sent < ANNOUNCEMENTS) {
        announce->due_us = now_us + ANNOUNCE_US * (double)(1u << (announce->sent - 1));
    } else {
        announce->phase = ANNOUNCE_SETTLED;
        announce->conflicts = 0;
        announce->due_us = INFINITY;
    }
}

/* The answers that wait, but for those that were multicast a moment ago: they come when their time is over. */
static void answer(struct announce *announce, double now_us)
{
    unsigned now = 0;
    double later_us = INFINITY;
    for (unsigned i = 0; i < ANNOUNCE_RECORDS; i++) {
        const double from_us = announce->multicast_us[i] + announce->gap_us;
        if ((announce->pending >> i & 1u) == 0) {
            continue;
        }
        if (from_us <= now_us) {
            now |= 1u << i;
        } else {
            later_us = fmin(later_us, from_us);
        }
    }
    announce->pending &= ~now;
    announce->pending_us = later_us;
    if (now != 0) {
        unsigned additional = announce_additional(now);
        for (unsigned i = 0; i < ANNOUNCE_RECORDS; i++) {
            if (announce->multicast_us[i] + announce->gap_us > now_us) {
                additional &= ~(1u << i);
            }
        }
        announce_write_answer(announce, now_us, now, additional, false);
    }
}

void announce_poll(struct announce *announce, double now_us)
{
    if (announce->phase == ANNOUNCE_ENDED) {
        return;
    }
    if (announce->due_us <= now_us) {
        happen(announce, now_us);
    }
    if (announce->pending != 0 && announce->pending_us <= now_us) {
        answer(announce, now_us);
    }
}

double announce_next_us(const struct announce *announce)
{
    if (announce->phase == ANNOUNCE_ENDED) {
        return INFINITY;
    }
    return announce->pending != 0 ? fmin(announce->due_us, announce->pending_us) : announce->due_us;
}

bool announce_is_out(const struct announce *announce)
{
    return announce->phase == ANNOUNCE_ANNOUNCING || announce->phase == ANNOUNCE_SETTLED;
}

void announce_end(struct announce *announce)
{
    if (announce_is_out(announce)) {
        const unsigned all = 1u << ANNOUNCE_PTR | 1u << ANNOUNCE_SRV | 1u << ANNOUNCE_TXT | 1u << ANNOUNCE_A;
        announce_write_answer(announce, 0, all, 0, true);
    }
    announce->phase = ANNOUNCE_ENDED;
}

/* A record that somebody else says of our names is a conflict, unless it is ours word for word. */
static void take_response(struct announce *announce, double now_us, const struct announce_message *message)
{
    struct dns_reader reader = message->records;
    for (unsigned i = 0; i < message->answers; i++) {
        struct dns_record record;
        if (!dns_read_record(&reader, &record)) {
            return;
        }
        if (!announce_contradicts(announce, message, &record)) {
            continue;
        }
        if (announce->phase == ANNOUNCE_PROBING) {
            take_another(announce, now_us);
        } else {
            announce->conflicts++;
            probe_from(announce, announce->conflicts > MANY_CONFLICTS ? now_us + CONFLICT_US : now_us);
        }
        return;
    }
}

static void take_query(struct announce *announce, double now_us, const struct sockaddr_in *from,
                       const struct announce_message *message)
{
    if (announce->phase == ANNOUNCE_PROBING) {
        if (announce_yields(announce, message)) {
            probe_from(announce, now_us + DEFER_US);
        }
        return;
    }
    unsigned wanted = announce_wanted(announce, message);
    if (ntohs(from->sin_port) != ANNOUNCE_PORT) {
        if (wanted != 0) {
            announce_write_legacy(announce, from, message, wanted);
        }
        return;
    }
    const unsigned known = announce_known(announce, message);
    if (message->header.counts[0] == 0) {
        announce->pending &= ~known; /* the rest of a truncated question */
        return;
    }
    wanted &= ~known;
    if (wanted == 0) {
        return;
    }
    const bool is_probe = message->header.counts[2] != 0;
    const bool is_shared = (wanted & (1u << ANNOUNCE_PTR | 1u << ANNOUNCE_TYPES)) != 0;
    double at_us = now_us;
    if ((message->header.flags & DNS_TRUNCATED) != 0) {
        at_us += TRUNCATED_US + spread_us(announce, 100e3);
    } else if (is_shared && !is_probe) {
        at_us += 20e3 + spread_us(announce, 100e3);
    }
    announce->pending_us = announce->pending != 0 ? fmin(announce->pending_us, at_us) : at_us;
    announce->pending |= wanted;
    announce->gap_us = is_probe ? PROBED_GAP_US : GAP_US;
    announce_poll(announce, now_us);
}

void announce_take(struct announce *announce, double now_us, const struct sockaddr_in *from, const uint8_t *bytes,
                   size_t length)
{
    struct announce_message message;
    if (announce->phase == ANNOUNCE_ENDED || !announce_read(&message, bytes, length)) {
        return;
    }
    if ((message.header.flags & DNS_RESPONSE) == 0) {
        take_query(announce, now_us, from, &message);
    } else if (ntohs(from->sin_port) == ANNOUNCE_PORT) {
        take_response(announce, now_us, &message);
    }
}
