/* The values of a checked JSON text. */
#include <string.h>

#include "json.h"

bool uj_json_is_object(struct uj_json value)
{
    return value.text[0] == '{';
}

bool uj_json_is_list(struct uj_json value)
{
    return value.text[0] == '[';
}

bool uj_json_is_null(struct uj_json value)
{
    return value.text[0] == 'n';
}

bool uj_json_string(struct uj_json value, const char **characters, size_t *length)
{
    if (value.text[0] != '"') {
        return false;
    }
    *characters = value.text + 1;
    *length = value.length - 2;
    return true;
}

bool uj_json_is(struct uj_json value, const char *characters)
{
    const char *found;
    size_t length;
    return uj_json_string(value, &found, &length) && length == strlen(characters) &&
           memcmp(found, characters, length) == 0;
}

bool uj_json_member(struct uj_json object, const char *name, struct uj_json *value)
{
    struct uj_json key;
    struct uj_json found;
    for (size_t at = 0; uj_json_next(object, &at, &key, &found);) {
        if (key.length > 0 && uj_json_is(key, name)) {
            *value = found;
            return true;
        }
    }
    return false;
}

bool uj_json_integer(struct uj_json value, int64_t low, int64_t high, int64_t *number)
{
    const bool negative = value.text[0] == '-';
    const size_t from = negative ? 1 : 0;
    int64_t found = 0;
    if (value.length == from || value.length - from > 16) { /* 2^53 has 16 digits */
        return false;
    }
    for (size_t i = from; i < value.length; i++) {
        if (value.text[i] < '0' || value.text[i] > '9') {
            return false;
        }
        found = 10 * found + (value.text[i] - '0');
    }
    if (negative) {
        found = -found;
    }
    if (found < low || found > high) {
        return false;
    }
    *number = found;
    return true;
}

static int digit_of(char c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

bool uj_json_hex(struct uj_json value, uint8_t *bytes, size_t count)
{
    const char *characters;
    size_t length;
    if (!uj_json_string(value, &characters, &length) || length != 2 * count) {
        return false;
    }
    for (size_t i = 0; i < length; i++) {
        if (digit_of(characters[i]) < 0) {
            return false;
        }
    }
    for (size_t i = 0; i < count; i++) {
        bytes[i] = (uint8_t)(digit_of(characters[2 * i]) << 4 | digit_of(characters[2 * i + 1]));
    }
    return true;
}
