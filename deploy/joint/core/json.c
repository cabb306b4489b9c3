#include "json.h"

#include <string.h>

/* A place in a text that is being checked. */
struct cursor {
    const char *text;
    size_t length;
    size_t at;
};

/* The character here; 0, which no JSON has, at the end. */
static char here(const struct cursor *cursor)
{
    return cursor->at < cursor->length ? cursor->text[cursor->at] : '\0';
}

static bool is_space(char c)
{
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static void skip_space(struct cursor *cursor)
{
    while (is_space(here(cursor))) {
        cursor->at++;
    }
}

static bool skip_char(struct cursor *cursor, char c)
{
    if (here(cursor) != c) {
        return false;
    }
    cursor->at++;
    return true;
}

static bool skip_digits(struct cursor *cursor)
{
    const size_t from = cursor->at;
    while (is_digit(here(cursor))) {
        cursor->at++;
    }
    return cursor->at > from;
}

static bool skip_string(struct cursor *cursor)
{
    if (!skip_char(cursor, '"')) {
        return false;
    }
    while (here(cursor) >= ' ' && here(cursor) != '"') {
        cursor->at++;
    }
    return skip_char(cursor, '"');
}

static bool skip_number(struct cursor *cursor)
{
    (void)skip_char(cursor, '-');
    if (!skip_char(cursor, '0') && !skip_digits(cursor)) {
        return false;
    }
    if (skip_char(cursor, '.') && !skip_digits(cursor)) {
        return false;
    }
    if (skip_char(cursor, 'e') || skip_char(cursor, 'E')) {
        if (!skip_char(cursor, '-')) {
            (void)skip_char(cursor, '+');
        }
        return skip_digits(cursor);
    }
    return true;
}

static bool skip_word(struct cursor *cursor, const char *word)
{
    const size_t length = strlen(word);
    if (cursor->length - cursor->at < length || memcmp(cursor->text + cursor->at, word, length) != 0) {
        return false;
    }
    cursor->at += length;
    return true;
}

static bool skip_scalar(struct cursor *cursor)
{
    const char c = here(cursor);
    if (c == '"') {
        return skip_string(cursor);
    }
    if (c == '-' || is_digit(c)) {
        return skip_number(cursor);
    }
    return skip_word(cursor, "true") || skip_word(cursor, "false") || skip_word(cursor, "null");
}

static bool skip_key(struct cursor *cursor)
{
    skip_space(cursor);
    if (!skip_string(cursor)) {
        return false;
    }
    skip_space(cursor);
    return skip_char(cursor, ':');
}

/* What is open around a place: bit n of `objects` tells whether the container at depth n is an object. */
struct open {
    uint32_t objects;
    unsigned depth;
};

static bool in_object(const struct open *open)
{
    return open->depth > 0 && (open->objects >> (open->depth - 1) & 1) != 0;
}

/* Enters a container. `*empty` tells whether it closed again at once. */
static bool enter(struct cursor *cursor, struct open *open, bool *empty)
{
    const bool object = here(cursor) == '{';
    if (open->depth == UJ_JSON_DEPTH) {
        return false;
    }
    cursor->at++;
    skip_space(cursor);
    *empty = skip_char(cursor, object ? '}' : ']');
    if (*empty) {
        return true;
    }
    const uint32_t bit = UINT32_C(1) << open->depth;
    open->objects = object ? open->objects | bit : open->objects & ~bit;
    open->depth++;
    return !object || skip_key(cursor);
}

/* After a value: leaves what closes here, and goes to the next value. `*done` tells that all is closed. */
static bool follow(struct cursor *cursor, struct open *open, bool *done)
{
    for (;;) {
        skip_space(cursor);
        if (open->depth == 0) {
            *done = true;
            return cursor->at == cursor->length;
        }
        if (skip_char(cursor, ',')) {
            return !in_object(open) || skip_key(cursor);
        }
        if (!skip_char(cursor, in_object(open) ? '}' : ']')) {
            return false;
        }
        open->depth--;
    }
}

static bool grammar_holds(struct cursor *cursor)
{
    struct open open = {0, 0};
    for (bool done = false; !done;) {
        bool whole = true; /* a value has ended here */
        skip_space(cursor);
        if (here(cursor) == '{' || here(cursor) == '[') {
            if (!enter(cursor, &open, &whole)) {
                return false;
            }
        } else if (!skip_scalar(cursor)) {
            return false;
        }
        if (whole && !follow(cursor, &open, &done)) {
            return false;
        }
    }
    return true;
}

/* From here on the text is sound: strings end, brackets match. */

/* The place after the value, or after the string, at `at`. */
static size_t end_of(const char *text, size_t length, size_t at)
{
    size_t depth = 0;
    do {
        const char c = text[at];
        if (c == '"') {
            for (at++; at < length && text[at] != '"'; at++) {
            }
        } else if (c == '{' || c == '[') {
            depth++;
        } else if (c == '}' || c == ']') {
            depth--;
        } else if (depth == 0) { /* a number or word: to whatever ends it */
            while (at + 1 < length && strchr(",]} \t\n\r", text[at + 1]) == NULL) {
                at++;
            }
        }
        at++;
    } while (depth > 0 && at < length);
    return at;
}

bool uj_json_next(struct uj_json container, size_t *at, struct uj_json *key, struct uj_json *value)
{
    const bool object = uj_json_is_object(container);
    if (!object && !uj_json_is_list(container)) {
        return false;
    }
    struct cursor cursor = {container.text, container.length - 1, *at == 0 ? 1 : *at};
    skip_space(&cursor);
    (void)skip_char(&cursor, ',');
    skip_space(&cursor);
    if (cursor.at >= cursor.length) {
        return false;
    }
    *key = (struct uj_json){cursor.text + cursor.at, 0};
    if (object) {
        const size_t from = cursor.at;
        cursor.at = end_of(cursor.text, cursor.length, from);
        key->length = cursor.at - from;
        skip_space(&cursor);
        (void)skip_char(&cursor, ':');
        skip_space(&cursor);
    }
    const size_t from = cursor.at;
    *at = end_of(cursor.text, cursor.length, from);
    *value = (struct uj_json){cursor.text + from, *at - from};
    return true;
}

/* Whether the key at `at` stands once more in the rest of its object. */
static bool stands_again(const struct cursor *all, size_t at, size_t after)
{
    struct cursor cursor = {all->text, all->length, after};
    const size_t length = after - at;
    for (;;) {
        skip_space(&cursor);
        (void)skip_char(&cursor, ':');
        skip_space(&cursor);
        cursor.at = end_of(cursor.text, cursor.length, cursor.at); /* the value */
        skip_space(&cursor);
        if (!skip_char(&cursor, ',')) {
            return false;
        }
        skip_space(&cursor);
        const size_t other = cursor.at;
        cursor.at = end_of(cursor.text, cursor.length, other);
        if (cursor.at - other == length && memcmp(all->text + at, all->text + other, length) == 0) {
            return true;
        }
    }
}

/* A string is a key exactly where a colon follows. Quadratic, which a text of some 4 kB bears. */
static bool keys_differ(struct cursor *cursor)
{
    for (cursor->at = 0; cursor->at < cursor->length;) {
        if (here(cursor) != '"') {
            cursor->at++;
            continue;
        }
        const size_t from = cursor->at;
        (void)skip_string(cursor);
        const size_t after = cursor->at;
        skip_space(cursor);
        if (here(cursor) == ':' && stands_again(cursor, from, after)) {
            return false;
        }
    }
    return true;
}

bool uj_json_check(const uint8_t *bytes, size_t length, struct uj_json *value)
{
    for (size_t i = 0; i < length; i++) {
        if (bytes[i] >= 0x80 || bytes[i] == '\\' || bytes[i] == 0) {
            return false;
        }
    }
    struct cursor cursor = {(const char *)bytes, length, 0};
    if (!grammar_holds(&cursor) || !keys_differ(&cursor)) {
        return false;
    }
    cursor.at = 0;
    skip_space(&cursor);
    value->text = cursor.text + cursor.at;
    value->length = end_of(cursor.text, cursor.length, cursor.at) - cursor.at;
    return true;
}
