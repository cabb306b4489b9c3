/* The records of an announcement, and what questions and other people's records have to do with them. */
#ifndef ANNOUNCE_RECORDS_H
#define ANNOUNCE_RECORDS_H

#include "announce.h"

/* A message that came, with its sections' places. */
struct announce_message {
    const uint8_t *bytes;
    size_t length;
    struct dns_header header;
    struct dns_reader questions;
    struct dns_reader records; /* behind the questions */
    unsigned answers;          /* records in all */
};

/* False where its header or questions make no sense, or it is another kind of DNS message. */
bool announce_read(struct announce_message *message, const uint8_t *bytes, size_t length);

/* Bits of the records that its questions ask for. */
unsigned announce_wanted(const struct announce *announce, const struct announce_message *message);

/* Bits of the records that the asker has, of those that are shared. */
unsigned announce_known(const struct announce *announce, const struct announce_message *message);

/* Bits of what is best sent along (RFC 6763, section 12). */
unsigned announce_additional(unsigned answers);

/* Whether a record is of a name that is ours alone, and says another thing than we do. While probing any other's
 * does. */
bool announce_contradicts(const struct announce *announce, const struct announce_message *message,
                          const struct dns_record *record);

/* Whether the message is a probe for our name whose records win (RFC 6762, section 8.2). */
bool announce_yields(const struct announce *announce, const struct announce_message *message);

void announce_write_probe(struct announce *announce);

/* Multicasts records; `goodbye`: they are no more. */
void announce_write_answer(struct announce *announce, double now_us, unsigned answers, unsigned additional,
                           bool goodbye);

/* Answers a one-shot question straight to where it came from (RFC 6762, section 6.7). */
void announce_write_legacy(struct announce *announce, const struct sockaddr_in *to,
                           const struct announce_message *message, unsigned answers);

#endif
