#include "dns.h"

#include <string.h>

#include "bytes.h"

bool dns_name_make(struct dns_name *name, const char *dotted)
{
    name->length = 0;
    while (*dotted != '\0') {
        const size_t length = strcspn(dotted, ".");
        if (length == 0 || length > DNS_LABEL_BYTES || name->length + 1 + length + 1 > DNS_NAME_BYTES) {
            return false;
        }
        name->bytes[name->length++] = (uint8_t)length;
        memcpy(name->bytes + name->length, dotted, length);
        name->length += length;
        dotted += length + (dotted[length] == '.');
    }
    name->bytes[name->length++] = 0;
    return true;
}

bool dns_name_under(struct dns_name *name, const char *label, const struct dns_name *parent)
{
    const size_t length = strlen(label);
    if (length == 0 || length > DNS_LABEL_BYTES || 1 + length + parent->length > DNS_NAME_BYTES) {
        return false;
    }
    name->bytes[0] = (uint8_t)length;
    memcpy(name->bytes + 1, label, length);
    memcpy(name->bytes + 1 + length, parent->bytes, parent->length);
    name->length = 1 + length + parent->length;
    return true;
}

static uint8_t lower(uint8_t byte)
{
    return byte >= 'A' && byte <= 'Z' ? (uint8_t)(byte + ('a' - 'A')) : byte;
}

bool dns_name_same(const struct dns_name *a, const struct dns_name *b)
{
    /* The lengths of labels are below 64, so no letters. */
    if (a->length != b->length) {
        return false;
    }
    for (size_t i = 0; i < a->length; i++) {
        if (lower(a->bytes[i]) != lower(b->bytes[i])) {
            return false;
        }
    }
    return true;
}

static bool read_u16(struct dns_reader *reader, uint16_t *value)
{
    if (reader->length - reader->at < 2) {
        return false;
    }
    *value = uj_get_u16(reader->bytes + reader->at);
    reader->at += 2;
    return true;
}

bool dns_read_header(struct dns_reader *reader, struct dns_header *header)
{
    bool sound = read_u16(reader, &header->id) && read_u16(reader, &header->flags);
    for (size_t i = 0; i < 4; i++) {
        sound = sound && read_u16(reader, &header->counts[i]);
    }
    return sound;
}

bool dns_read_name(struct dns_reader *reader, struct dns_name *name)
{
    size_t at = reader->at;
    size_t before = at; /* a pointer leads to before where the name began, or it may never end */
    bool jumped = false;
    name->length = 0;
    for (;;) {
        if (at >= reader->length) {
            return false;
        }
        const uint8_t head = reader->bytes[at];
        if (head >= 0xC0) {
            if (reader->length - at < 2) {
                return false;
            }
            const size_t target = (size_t)(head & 0x3F) << 8 | reader->bytes[at + 1];
            if (target >= before) {
                return false;
            }
            reader->at = jumped ? reader->at : at + 2;
            jumped = true;
            at = before = target;
            continue;
        }
        if (head > DNS_LABEL_BYTES || (size_t)head + 1 > reader->length - at ||
            name->length + head + 1 > DNS_NAME_BYTES) {
            return false;
        }
        memcpy(name->bytes + name->length, reader->bytes + at, (size_t)head + 1);
        name->length += (size_t)head + 1;
        at += (size_t)head + 1;
        if (head == 0) {
            reader->at = jumped ? reader->at : at;
            return true;
        }
    }
}

bool dns_read_question(struct dns_reader *reader, struct dns_question *question)
{
    return dns_read_name(reader, &question->name) && read_u16(reader, &question->type) &&
           read_u16(reader, &question->class);
}

bool dns_read_record(struct dns_reader *reader, struct dns_record *record)
{
    uint16_t high;
    uint16_t low;
    if (!dns_read_name(reader, &record->name) || !read_u16(reader, &record->type) ||
        !read_u16(reader, &record->class) || !read_u16(reader, &high) || !read_u16(reader, &low) ||
        !read_u16(reader, &record->data_length) || reader->length - reader->at < record->data_length) {
        return false;
    }
    record->ttl = (uint32_t)high << 16 | low;
    record->data_at = reader->at;
    reader->at += record->data_length;
    return true;
}

static void write_bytes(struct dns_writer *writer, const uint8_t *bytes, size_t length)
{
    if (writer->full || length > DNS_MESSAGE_BYTES - writer->length) {
        writer->full = true;
        return;
    }
    memcpy(writer->bytes + writer->length, bytes, length);
    writer->length += length;
}

static void write_u16(struct dns_writer *writer, uint16_t value)
{
    uint8_t bytes[2];
    uj_put_u16(bytes, value);
    write_bytes(writer, bytes, sizeof bytes);
}

void dns_write_header(struct dns_writer *writer, const struct dns_header *header)
{
    writer->length = 0;
    writer->full = false;
    write_u16(writer, header->id);
    write_u16(writer, header->flags);
    for (size_t i = 0; i < 4; i++) {
        write_u16(writer, header->counts[i]);
    }
}

void dns_write_question(struct dns_writer *writer, const struct dns_name *name, uint16_t type, uint16_t class)
{
    write_bytes(writer, name->bytes, name->length);
    write_u16(writer, type);
    write_u16(writer, class);
}

void dns_write_record(struct dns_writer *writer, const struct dns_name *name, uint16_t type, uint16_t class,
                      uint32_t ttl, const uint8_t *data, size_t length)
{
    dns_write_question(writer, name, type, class);
    write_u16(writer, (uint16_t)(ttl >> 16));
    write_u16(writer, (uint16_t)(ttl & 0xFFFF));
    write_u16(writer, (uint16_t)length);
    write_bytes(writer, data, length);
}
