/* DNS messages (RFC 1035) as multicast DNS uses them: names, questions and records read and written. Whatever comes is
 * a stranger's: every reader says false for what is cut short or makes no sense. */
#ifndef DNS_H
#define DNS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DNS_NAME_BYTES 255
#define DNS_LABEL_BYTES 63
#define DNS_MESSAGE_BYTES 1400 /* ours: within one frame of the network (RFC 6762, section 17) */

enum { DNS_A = 1, DNS_PTR = 12, DNS_TXT = 16, DNS_SRV = 33, DNS_ANY = 255 };
enum { DNS_IN = 1, DNS_TOP_BIT = 0x8000 }; /* top bit: cache flush, or a unicast answer wanted */
enum { DNS_RESPONSE = 0x8000, DNS_AUTHORITATIVE = 0x0400, DNS_TRUNCATED = 0x0200, DNS_OPCODE = 0x7800 };

/* A name as on the wire, without compression, with the root at its end. */
struct dns_name {
    size_t length;
    uint8_t bytes[DNS_NAME_BYTES];
};

/* Makes "a.b.c" into a name; the labels have no dot in them. False where it is too long. */
bool dns_name_make(struct dns_name *name, const char *dotted);

/* Puts a label, which may hold anything, before a name. */
bool dns_name_under(struct dns_name *name, const char *label, const struct dns_name *parent);

/* Whether both are one, whatever the case of ASCII letters. */
bool dns_name_same(const struct dns_name *a, const struct dns_name *b);

struct dns_reader {
    const uint8_t *bytes;
    size_t length, at;
};

struct dns_header {
    uint16_t id, flags;
    uint16_t counts[4]; /* questions, answers, authorities, additionals */
};

struct dns_question {
    struct dns_name name;
    uint16_t type, class;
};

struct dns_record {
    struct dns_name name;
    uint16_t type, class;
    uint32_t ttl;
    size_t data_at; /* within the message */
    uint16_t data_length;
};

bool dns_read_header(struct dns_reader *reader, struct dns_header *header);
bool dns_read_name(struct dns_reader *reader, struct dns_name *name);
bool dns_read_question(struct dns_reader *reader, struct dns_question *question);
bool dns_read_record(struct dns_reader *reader, struct dns_record *record);

/* What is written beyond DNS_MESSAGE_BYTES is left out, and `full` set. */
struct dns_writer {
    size_t length;
    bool full;
    uint8_t bytes[DNS_MESSAGE_BYTES];
};

void dns_write_header(struct dns_writer *writer, const struct dns_header *header);
void dns_write_question(struct dns_writer *writer, const struct dns_name *name, uint16_t type, uint16_t class);
void dns_write_record(struct dns_writer *writer, const struct dns_name *name, uint16_t type, uint16_t class,
                      uint32_t ttl, const uint8_t *data, size_t length);

#endif
