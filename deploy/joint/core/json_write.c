#include "json_write.h"

#include <string.h>

static void put(struct uj_writer *writer, char c)
{
    if (writer->used == writer->space) {
        writer->full = true;
        return;
    }
    writer->out[writer->used++] = (uint8_t)c;
}

static void put_word(struct uj_writer *writer, const char *word)
{
    for (; *word != '\0'; word++) {
        put(writer, *word);
    }
}

/* Before every value and key. */
static void separate(struct uj_writer *writer)
{
    if (writer->comma) {
        put(writer, ',');
    }
    writer->comma = true;
}

void uj_writer_begin(struct uj_writer *writer, uint8_t *out, size_t space)
{
    *writer = (struct uj_writer){.out = out, .space = space};
}

size_t uj_writer_end(const struct uj_writer *writer)
{
    return writer->full ? 0 : writer->used;
}

void uj_write_open(struct uj_writer *writer, char bracket)
{
    separate(writer);
    put(writer, bracket);
    writer->comma = false;
}

void uj_write_close(struct uj_writer *writer, char bracket)
{
    put(writer, bracket);
    writer->comma = true;
}

void uj_write_key(struct uj_writer *writer, const char *key)
{
    uj_write_text(writer, key, strlen(key));
    put(writer, ':');
    writer->comma = false;
}

void uj_write_integer(struct uj_writer *writer, int64_t value)
{
    char digits[20];
    size_t count = 0;
    uint64_t left = value < 0 ? (uint64_t)0 - (uint64_t)value : (uint64_t)value;
    separate(writer);
    if (value < 0) {
        put(writer, '-');
    }
    do {
        digits[count++] = (char)('0' + left % 10);
        left /= 10;
    } while (left > 0);
    while (count > 0) {
        put(writer, digits[--count]);
    }
}

void uj_write_bool(struct uj_writer *writer, bool value)
{
    separate(writer);
    put_word(writer, value ? "true" : "false");
}

void uj_write_null(struct uj_writer *writer)
{
    separate(writer);
    put_word(writer, "null");
}

void uj_write_hex(struct uj_writer *writer, const uint8_t *bytes, size_t count)
{
    static const char DIGITS[] = "0123456789abcdef";
    separate(writer);
    put(writer, '"');
    for (size_t i = 0; i < count; i++) {
        put(writer, DIGITS[bytes[i] >> 4]);
        put(writer, DIGITS[bytes[i] & 15]);
    }
    put(writer, '"');
}

void uj_write_text(struct uj_writer *writer, const char *text, size_t limit)
{
    separate(writer);
    put(writer, '"');
    for (size_t i = 0; i < limit && text[i] != '\0'; i++) {
        if (text[i] == '"' || text[i] == '\\') {
            put(writer, '\\');
        }
        put(writer, text[i] >= ' ' && text[i] <= '~' ? text[i] : '?');
    }
    put(writer, '"');
}
