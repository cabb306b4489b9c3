/* JSON from the joint, written piece by piece into memory of the caller's. */
#ifndef UJ_JSON_WRITE_H
#define UJ_JSON_WRITE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Keeps count of what is written, and of what has not fitted. Commas come by themselves. */
struct uj_writer {
    uint8_t *out;
    size_t space;
    size_t used;
    bool comma; /* due before the next value or key */
    bool full;  /* something did not fit: what stands there is no message */
};

void uj_writer_begin(struct uj_writer *writer, uint8_t *out, size_t space);

/* The length of what was written; 0 where it did not fit. */
size_t uj_writer_end(const struct uj_writer *writer);

/* '{', '}', '[' or ']'. */
void uj_write_open(struct uj_writer *writer, char bracket);
void uj_write_close(struct uj_writer *writer, char bracket);

void uj_write_key(struct uj_writer *writer, const char *key);
void uj_write_integer(struct uj_writer *writer, int64_t value);
void uj_write_bool(struct uj_writer *writer, bool value);
void uj_write_null(struct uj_writer *writer);
void uj_write_hex(struct uj_writer *writer, const uint8_t *bytes, size_t count);

/* At most `limit` characters of a text; one that is no printable ASCII becomes '?'. */
void uj_write_text(struct uj_writer *writer, const char *text, size_t limit);

#endif
