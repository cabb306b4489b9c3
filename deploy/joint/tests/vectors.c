/* Answers golden vectors: one question a line on standard input, one answer a line on standard output, in the
 * same order. What is asked and answered is in docs/conform.md. */
#include "vectors.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef bool (*part)(struct uj_json ask, struct uj_json question);

static const part PARTS[] = {
    vectors_keys,   vectors_messages, vectors_reports,   vectors_datagrams,
    vectors_motion, vectors_digests,  vectors_websocket, vectors_image,
};

void vectors_give_up(const char *why, const char *what)
{
    fprintf(stderr, "vectors: %s: %s\n", what, why);
    exit(2);
}

struct uj_json vectors_member(struct uj_json object, const char *name)
{
    struct uj_json value = object;
    if (!uj_json_member(object, name, &value)) {
        vectors_give_up("the question lacks it", name);
    }
    return value;
}

int64_t vectors_integer(struct uj_json object, const char *name)
{
    int64_t number = 0;
    if (!uj_json_integer(vectors_member(object, name), -INT64_C(9007199254740991), INT64_C(9007199254740991),
                         &number)) {
        vectors_give_up("no whole number of at most 2^53 - 1", name);
    }
    return number;
}

uint64_t vectors_u64(struct uj_json object, const char *name)
{
    uint8_t bytes[8] = {0};
    uint64_t number = 0;
    vectors_exactly(object, name, bytes, sizeof bytes);
    for (size_t i = 0; i < sizeof bytes; i++) {
        number = number << 8 | bytes[i];
    }
    return number;
}

size_t vectors_bytes(struct uj_json object, const char *name, uint8_t *bytes, size_t space)
{
    const struct uj_json value = vectors_member(object, name);
    const char *characters = NULL;
    size_t length = 0;
    if (!uj_json_string(value, &characters, &length) || length / 2 > space ||
        !uj_json_hex(value, bytes, length / 2)) {
        vectors_give_up("no hex, or too much of it", name);
    }
    return length / 2;
}

void vectors_exactly(struct uj_json object, const char *name, uint8_t *bytes, size_t count)
{
    if (vectors_bytes(object, name, bytes, count) != count) {
        vectors_give_up("hex of another length", name);
    }
}

void vectors_tell_hex(const char *name, const uint8_t *bytes, size_t count)
{
    printf(",\"%s\":\"", name);
    for (size_t i = 0; i < count; i++) {
        printf("%02x", (unsigned)bytes[i]);
    }
    putchar('"');
}

void vectors_tell_integer(const char *name, int64_t value)
{
    printf(",\"%s\":%lld", name, (long long)value);
}

void vectors_tell_code(enum uj_reject reject)
{
    printf(",\"code\":\"%s\"", uj_reject_name(reject));
}

/* What the joint says is ASCII, and what it reads: a question with another character has it replaced, so that its id
 * can be read. Returns whether there was one. */
static bool make_ascii(char *line, size_t length)
{
    bool found = false;
    for (size_t i = 0; i < length; i++) {
        if ((unsigned char)line[i] >= 0x80) {
            line[i] = '?';
            found = true;
        }
    }
    return found;
}

static void answer(char *line, size_t length)
{
    const bool beyond_ascii = make_ascii(line, length);
    struct uj_json question;
    if (!uj_json_check((const uint8_t *)line, length, &question) || !uj_json_is_object(question)) {
        vectors_give_up("no JSON object of the kind that a joint reads", "question");
    }
    const struct uj_json id = vectors_member(question, "id");
    const struct uj_json ask = vectors_member(question, "ask");
    bool known = false;
    printf("{\"id\":%.*s", (int)id.length, id.text);
    if (beyond_ascii) {
        puts(",\"not_made\":\"this joint says nothing beyond ASCII\"}");
        fflush(stdout);
        return;
    }
    for (size_t i = 0; i < sizeof PARTS / sizeof PARTS[0] && !known; i++) {
        known = PARTS[i](ask, question);
    }
    puts(known ? "}" : ",\"not_made\":\"this joint has no answer to that question\"}");
    fflush(stdout);
}

/* With a word, the questions come from the file of that name: an emulated machine has no standard input. */
int main(int count, char **words)
{
    static char line[VECTORS_LINE_BYTES + 1];
    FILE *const in = count > 1 ? fopen(words[1], "r") : stdin;
    if (in == NULL) {
        vectors_give_up("no file that can be read", "questions");
        return 2;
    }
    while (fgets(line, sizeof line, in) != NULL) {
        const size_t length = strlen(line);
        if (length == 0 || line[length - 1] != '\n') {
            vectors_give_up("longer than 16384 bytes, or without a line end", "question");
        }
        answer(line, length);
    }
    return 0;
}
