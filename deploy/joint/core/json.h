/* JSON to the joint, read in place: ASCII without a backslash, no key twice in one object (protocol/README.md,
 * "Messages"). A text is checked as a whole once; after that its values are found by walking through it, without
 * memory for a tree. */
#ifndef UJ_JSON_H
#define UJ_JSON_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* How deep objects and lists may stand in each other. The deepest message needs 4. */
#define UJ_JSON_DEPTH 32

/* A value within a checked text, from its first character to its last. */
struct uj_json {
    const char *text;
    size_t length; /* at least 1 */
};

/* Checks a text: one value with white space around it, by the grammar of RFC 8259. Numbers with fraction and
 * exponent pass here; whoever reads a whole number refuses them. */
bool uj_json_check(const uint8_t *bytes, size_t length, struct uj_json *value);

bool uj_json_is_object(struct uj_json value);
bool uj_json_is_list(struct uj_json value);
bool uj_json_is_null(struct uj_json value);

/* The next member of an object or list; `*at` is 0 for the first. `key` is a string with its quotes; of a list
 * it has length 0. False after the last, and for a value that is neither. */
bool uj_json_next(struct uj_json container, size_t *at, struct uj_json *key, struct uj_json *value);

/* The value of a key; false where the object has none. */
bool uj_json_member(struct uj_json object, const char *name, struct uj_json *value);

/* Whether it is the string with these characters. */
bool uj_json_is(struct uj_json value, const char *characters);

/* Each reads one kind of value; false, with nothing written, where it is another or out of bounds. */
bool uj_json_integer(struct uj_json value, int64_t low, int64_t high, int64_t *number);
bool uj_json_hex(struct uj_json value, uint8_t *bytes, size_t count); /* exactly 2 * count lower-case digits */
bool uj_json_string(struct uj_json value, const char **characters, size_t *length); /* within its quotes */

#endif
