#include "announce_records.h"

#include <string.h>

#include "bytes.h"

#define HOST_TTL_S 120
#define OTHER_TTL_S 4500
#define LEGACY_TTL_S 10
#define DATA_BYTES 600

bool announce_read(struct announce_message *message, const uint8_t *bytes, size_t length)
{
    struct dns_reader reader = {.bytes = bytes, .length = length};
    message->bytes = bytes;
    message->length = length;
    if (!dns_read_header(&reader, &message->header) || (message->header.flags & DNS_OPCODE) != 0) {
        return false;
    }
    message->questions = reader;
    for (unsigned i = 0; i < message->header.counts[0]; i++) {
        struct dns_question question;
        if (!dns_read_question(&reader, &question)) {
            return false;
        }
    }
    message->records = reader;
    message->answers = (unsigned)message->header.counts[1] + message->header.counts[2] + message->header.counts[3];
    return true;
}

/* A record's name, type, life and content. Returns the content's length. */
static size_t content(const struct announce *announce, enum announce_record record, const struct dns_name **name,
                      uint16_t *type, uint32_t *ttl, uint8_t data[DATA_BYTES])
{
    const struct dns_name *target = &announce->instance;
    *ttl = OTHER_TTL_S;
    *name = &announce->instance;
    switch (record) {
    case ANNOUNCE_TXT:
        *type = DNS_TXT;
        memcpy(data, announce->text, announce->text_length);
        return announce->text_length;
    case ANNOUNCE_A:
        *type = DNS_A;
        *name = &announce->host;
        *ttl = HOST_TTL_S;
        uj_put_u32(data, announce->address);
        return 4;
    case ANNOUNCE_SRV:
        *type = DNS_SRV;
        *ttl = HOST_TTL_S;
        memset(data, 0, 4); /* priority and weight */
        uj_put_u16(data + 4, announce->port);
        memcpy(data + 6, announce->host.bytes, announce->host.length);
        return 6 + announce->host.length;
    case ANNOUNCE_TYPES:
        *name = &announce->types;
        target = &announce->service;
        break;
    case ANNOUNCE_PTR:
    case ANNOUNCE_RECORDS:
    default:
        *name = &announce->service;
        break;
    }
    *type = DNS_PTR;
    memcpy(data, target->bytes, target->length);
    return target->length;
}

unsigned announce_wanted(const struct announce *announce, const struct announce_message *message)
{
    unsigned wanted = 0;
    struct dns_reader reader = message->questions;
    for (unsigned i = 0; i < message->header.counts[0]; i++) {
        struct dns_question question;
        if (!dns_read_question(&reader, &question)) {
            break;
        }
        const unsigned class = question.class & (unsigned)~DNS_TOP_BIT;
        if (class != DNS_IN && class != DNS_ANY) {
            continue;
        }
        for (unsigned k = 0; k < ANNOUNCE_RECORDS; k++) {
            uint8_t data[DATA_BYTES];
            const struct dns_name *name;
            uint16_t type;
            uint32_t ttl;
            (void)content(announce, (enum announce_record)k, &name, &type, &ttl, data);
            if ((question.type == type || question.type == DNS_ANY) && dns_name_same(&question.name, name)) {
                wanted |= 1u << k;
            }
        }
    }
    return wanted;
}

/* The name that a PTR record's content is. */
static bool pointed(const struct announce_message *message, const struct dns_record *record, struct dns_name *name)
{
    struct dns_reader reader = {
        .bytes = message->bytes, .length = record->data_at + record->data_length, .at = record->data_at};
    return dns_read_name(&reader, name);
}

unsigned announce_known(const struct announce *announce, const struct announce_message *message)
{
    unsigned known = 0;
    struct dns_reader reader = message->records;
    for (unsigned i = 0; i < message->header.counts[1]; i++) {
        struct dns_record record;
        struct dns_name name;
        if (!dns_read_record(&reader, &record)) {
            break;
        }
        if (record.type == DNS_PTR && record.ttl >= OTHER_TTL_S / 2 && pointed(message, &record, &name)) {
            if (dns_name_same(&record.name, &announce->service) && dns_name_same(&name, &announce->instance)) {
                known |= 1u << ANNOUNCE_PTR;
            } else if (dns_name_same(&record.name, &announce->types) && dns_name_same(&name, &announce->service)) {
                known |= 1u << ANNOUNCE_TYPES;
            }
        }
    }
    return known;
}

unsigned announce_additional(unsigned answers)
{
    unsigned along = 0;
    if ((answers & 1u << ANNOUNCE_PTR) != 0) {
        along |= 1u << ANNOUNCE_SRV | 1u << ANNOUNCE_TXT | 1u << ANNOUNCE_A;
    }
    if ((answers & 1u << ANNOUNCE_SRV) != 0) {
        along |= 1u << ANNOUNCE_A;
    }
    return along & ~answers;
}

/* A foreign record's content, names in it written out. 0 where it makes no sense or is longer than any of ours. */
static size_t foreign(const struct announce_message *message, const struct dns_record *record, uint8_t data[DATA_BYTES])
{
    if (record->type == DNS_SRV && record->data_length > 6) {
        struct dns_name target;
        struct dns_reader reader = {.bytes = message->bytes,
                                    .length = record->data_at + record->data_length,
                                    .at = record->data_at + 6};
        if (!dns_read_name(&reader, &target)) {
            return 0;
        }
        memcpy(data, message->bytes + record->data_at, 6);
        memcpy(data + 6, target.bytes, target.length);
        return 6 + target.length;
    }
    if (record->data_length > DATA_BYTES) {
        return 0;
    }
    memcpy(data, message->bytes + record->data_at, record->data_length);
    return record->data_length;
}

bool announce_contradicts(const struct announce *announce, const struct announce_message *message,
                          const struct dns_record *record)
{
    static const enum announce_record unique[] = {ANNOUNCE_SRV, ANNOUNCE_TXT, ANNOUNCE_A};
    uint8_t theirs[DATA_BYTES];
    const size_t length = foreign(message, record, theirs);
    if ((record->class & (unsigned)~DNS_TOP_BIT) != DNS_IN || record->ttl == 0) {
        return false; /* a goodbye claims nothing */
    }
    for (size_t i = 0; i < sizeof unique / sizeof unique[0]; i++) {
        uint8_t ours[DATA_BYTES];
        const struct dns_name *name;
        uint16_t type;
        uint32_t ttl;
        const size_t own = content(announce, unique[i], &name, &type, &ttl, ours);
        if (type == record->type && dns_name_same(name, &record->name)) {
            return own != length || memcmp(ours, theirs, own) != 0;
        }
    }
    return false;
}

bool announce_yields(const struct announce *announce, const struct announce_message *message)
{
    /* Ours in the order of their types: TXT before SRV. */
    static const enum announce_record probed[] = {ANNOUNCE_TXT, ANNOUNCE_SRV};
    struct dns_reader reader = message->records;
    struct dns_record theirs[2];
    bool has[2] = {false, false};
    for (unsigned i = 0; i < (unsigned)message->header.counts[1] + message->header.counts[2]; i++) {
        struct dns_record record;
        if (!dns_read_record(&reader, &record)) {
            break;
        }
        if (i >= message->header.counts[1] && dns_name_same(&record.name, &announce->instance) &&
            (record.type == DNS_TXT || record.type == DNS_SRV)) {
            theirs[record.type == DNS_SRV] = record;
            has[record.type == DNS_SRV] = true;
        }
    }
    for (size_t i = 0; i < 2 && (has[0] || has[1]); i++) {
        uint8_t ours[DATA_BYTES];
        uint8_t data[DATA_BYTES];
        const struct dns_name *name;
        uint16_t type;
        uint32_t ttl;
        if (!has[i]) {
            return i == 0; /* their first record is SRV, of a higher type than TXT; or theirs have run out */
        }
        const size_t own = content(announce, probed[i], &name, &type, &ttl, ours);
        const size_t length = foreign(message, &theirs[i], data);
        const int order = memcmp(ours, data, own < length ? own : length);
        if (order != 0 || own != length) {
            return order < 0 || (order == 0 && own < length);
        }
    }
    return false;
}

static void put(struct dns_writer *writer, const struct announce *announce, enum announce_record record, uint32_t most_s,
                bool flush)
{
    uint8_t data[DATA_BYTES];
    const struct dns_name *name;
    uint16_t type;
    uint32_t ttl;
    const size_t length = content(announce, record, &name, &type, &ttl, data);
    const bool is_unique = type != DNS_PTR;
    dns_write_record(writer, name, type, (uint16_t)(DNS_IN | (flush && is_unique ? DNS_TOP_BIT : 0)),
                     ttl < most_s ? ttl : most_s, data, length);
}

static uint16_t count(unsigned bits)
{
    uint16_t many = 0;
    for (; bits != 0; bits &= bits - 1) {
        many++;
    }
    return many;
}

static void put_all(struct dns_writer *writer, const struct announce *announce, unsigned records, uint32_t most_s,
                    bool flush)
{
    for (unsigned i = 0; i < ANNOUNCE_RECORDS; i++) {
        if ((records >> i & 1u) != 0) {
            put(writer, announce, (enum announce_record)i, most_s, flush);
        }
    }
}

static void say(struct announce *announce, const struct sockaddr_in *to, const struct dns_writer *writer)
{
    if (!writer->full) {
        announce->send(announce->context, to, writer->bytes, writer->length);
    }
}

void announce_write_probe(struct announce *announce)
{
    struct dns_writer writer;
    const struct dns_header header = {.counts = {1, 0, 2, 0}};
    dns_write_header(&writer, &header);
    dns_write_question(&writer, &announce->instance, DNS_ANY, DNS_IN);
    put_all(&writer, announce, 1u << ANNOUNCE_SRV | 1u << ANNOUNCE_TXT, OTHER_TTL_S, false);
    say(announce, NULL, &writer);
}

void announce_write_answer(struct announce *announce, double now_us, unsigned answers, unsigned additional,
                           bool goodbye)
{
    struct dns_writer writer;
    const struct dns_header header = {.flags = DNS_RESPONSE | DNS_AUTHORITATIVE,
                                      .counts = {0, count(answers), 0, count(additional)}};
    const uint32_t most_s = goodbye ? 0 : OTHER_TTL_S;
    dns_write_header(&writer, &header);
    put_all(&writer, announce, answers, most_s, true);
    put_all(&writer, announce, additional, most_s, true);
    say(announce, NULL, &writer);
    for (unsigned i = 0; i < ANNOUNCE_RECORDS; i++) {
        if (((answers | additional) >> i & 1u) != 0) {
            announce->multicast_us[i] = now_us;
        }
    }
}

void announce_write_legacy(struct announce *announce, const struct sockaddr_in *to,
                           const struct announce_message *message, unsigned answers)
{
    struct dns_writer writer;
    const unsigned additional = announce_additional(answers);
    const struct dns_header header = {
        .id = message->header.id,
        .flags = DNS_RESPONSE | DNS_AUTHORITATIVE,
        .counts = {message->header.counts[0], count(answers), 0, count(additional)}};
    struct dns_reader reader = message->questions;
    dns_write_header(&writer, &header);
    for (unsigned i = 0; i < message->header.counts[0]; i++) {
        struct dns_question question;
        (void)dns_read_question(&reader, &question); /* it was read before */
        dns_write_question(&writer, &question.name, question.type, question.class & (uint16_t)~DNS_TOP_BIT);
    }
    put_all(&writer, announce, answers, LEGACY_TTL_S, false);
    put_all(&writer, announce, additional, LEGACY_TTL_S, false);
    say(announce, to, &writer);
}
