#include "websocket_opening.h"

#include <string.h>

#include "base64.h"
#include "sha1.h"

#define KEY_CHARACTERS 24 /* 16 bytes in base 64, the last two of them padding */
#define ACCEPT_CHARACTERS 28
#define MAGIC "258EAFA5-E914-47DA-95CA-C5AB0DC85B11"

#define BAD_REQUEST "HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
#define NOT_FOUND "HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
#define OTHER_VERSION                                                                                           \
    "HTTP/1.1 426 Upgrade Required\r\nSec-WebSocket-Version: 13\r\nUpgrade: websocket\r\n"                    \
    "Content-Length: 0\r\nConnection: Upgrade, close\r\n\r\n"

struct span {
    const char *text;
    size_t length;
};

/* What the headers have said. */
struct offer {
    bool upgrade;
    bool connection;
    bool subprotocol;
    bool version;
    bool other_version;
    unsigned keys; /* how often a key stood there */
    struct span key;
};

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

/* Whatever its case; `word` is in lower case. */
static bool is_word(struct span span, const char *word)
{
    if (span.length != strlen(word)) {
        return false;
    }
    for (size_t i = 0; i < span.length; i++) {
        if (lower(span.text[i]) != word[i]) {
            return false;
        }
    }
    return true;
}

static bool is_exactly(struct span span, const char *word)
{
    return span.length == strlen(word) && memcmp(span.text, word, span.length) == 0;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static struct span trimmed(struct span span)
{
    while (span.length > 0 && is_blank(span.text[0])) {
        span.text++;
        span.length--;
    }
    while (span.length > 0 && is_blank(span.text[span.length - 1])) {
        span.length--;
    }
    return span;
}

/* Cuts off what stands before the first `c`, and `c`; all of it where there is none. */
static struct span cut(struct span *rest, char c)
{
    const char *at = rest->length > 0 ? memchr(rest->text, c, rest->length) : NULL;
    struct span head = *rest;
    if (at == NULL) {
        rest->text += rest->length;
        rest->length = 0;
        return head;
    }
    head.length = (size_t)(at - rest->text);
    rest->text += head.length + 1;
    rest->length -= head.length + 1;
    return head;
}

/* Whether a list with commas has an element. */
static bool lists(struct span list, const char *word, bool (*is)(struct span, const char *))
{
    while (list.length > 0) {
        if (is(trimmed(cut(&list, ',')), word)) {
            return true;
        }
    }
    return false;
}

/* Takes a line off; false where it does not end with CR LF. */
static bool take_line(struct span *rest, struct span *line)
{
    if (rest->length == 0 || memchr(rest->text, '\n', rest->length) == NULL) {
        return false;
    }
    *line = cut(rest, '\n');
    if (line->length == 0 || line->text[line->length - 1] != '\r') {
        return false;
    }
    line->length--;
    return true;
}

static bool take_header(struct span line, const char *subprotocol, struct offer *offer)
{
    struct span value = line;
    if (memchr(line.text, ':', line.length) == NULL) {
        return false;
    }
    const struct span name = cut(&value, ':');
    value = trimmed(value);
    if (name.length == 0 || is_blank(name.text[0]) || is_blank(name.text[name.length - 1])) {
        return false;
    }
    if (is_word(name, "upgrade")) {
        offer->upgrade |= lists(value, "websocket", is_word);
    } else if (is_word(name, "connection")) {
        offer->connection |= lists(value, "upgrade", is_word);
    } else if (is_word(name, "sec-websocket-protocol")) {
        offer->subprotocol |= lists(value, subprotocol, is_exactly);
    } else if (is_word(name, "sec-websocket-version")) {
        offer->version |= is_exactly(value, "13");
        offer->other_version |= !is_exactly(value, "13");
    } else if (is_word(name, "sec-websocket-key")) {
        offer->keys++;
        offer->key = value;
    }
    return true;
}

static bool key_holds(const struct offer *offer)
{
    if (offer->keys != 1 || offer->key.length != KEY_CHARACTERS) {
        return false;
    }
    for (size_t i = 0; i < KEY_CHARACTERS - 2; i++) {
        if (!uj_base64_digit(offer->key.text[i])) {
            return false;
        }
    }
    return memcmp(offer->key.text + KEY_CHARACTERS - 2, "==", 2) == 0;
}

static void append(uint8_t *answer, size_t space, size_t *used, const char *text, size_t length)
{
    const size_t some = length <= space - *used ? length : space - *used;
    memcpy(answer + *used, text, some);
    *used += some;
}

static size_t refuse(const char *text, uint8_t *answer, size_t space)
{
    size_t used = 0;
    append(answer, space, &used, text, strlen(text));
    return used;
}

static size_t accept(struct span key, const char *subprotocol, uint8_t *answer, size_t space)
{
    static const char BEGIN[] = "HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                                "Sec-WebSocket-Accept: ";
    static const char PROTOCOL[] = "\r\nSec-WebSocket-Protocol: ";
    uint8_t joined[KEY_CHARACTERS + sizeof MAGIC - 1];
    uint8_t digest[UJ_SHA1_BYTES];
    char shown[ACCEPT_CHARACTERS];
    size_t used = 0;
    memcpy(joined, key.text, KEY_CHARACTERS);
    memcpy(joined + KEY_CHARACTERS, MAGIC, sizeof MAGIC - 1);
    uj_sha1(joined, sizeof joined, digest);
    (void)uj_base64(digest, sizeof digest, shown);
    append(answer, space, &used, BEGIN, sizeof BEGIN - 1);
    append(answer, space, &used, shown, sizeof shown);
    append(answer, space, &used, PROTOCOL, sizeof PROTOCOL - 1);
    append(answer, space, &used, subprotocol, strlen(subprotocol));
    append(answer, space, &used, "\r\n\r\n", 4);
    return used;
}

size_t uj_websocket_answer(const char *request, size_t length, const char *path, const char *subprotocol,
                           uint8_t *answer, size_t space, bool *open)
{
    struct span rest = {request, length};
    struct span line;
    struct offer offer = {0};
    *open = false;
    if (!take_line(&rest, &line)) {
        return refuse(BAD_REQUEST, answer, space);
    }
    const struct span method = cut(&line, ' ');
    const struct span target = cut(&line, ' ');
    if (!is_exactly(method, "GET") || target.length == 0 || !is_exactly(line, "HTTP/1.1")) {
        return refuse(BAD_REQUEST, answer, space);
    }
    for (;;) {
        if (!take_line(&rest, &line)) {
            return refuse(BAD_REQUEST, answer, space);
        }
        if (line.length == 0) {
            break;
        }
        if (!take_header(line, subprotocol, &offer)) {
            return refuse(BAD_REQUEST, answer, space);
        }
    }
    if (!is_exactly(target, path)) {
        return refuse(NOT_FOUND, answer, space);
    }
    if (!offer.upgrade || !offer.connection || !key_holds(&offer)) {
        return refuse(BAD_REQUEST, answer, space);
    }
    if (!offer.version || offer.other_version) {
        return refuse(OTHER_VERSION, answer, space);
    }
    if (!offer.subprotocol) {
        return refuse(BAD_REQUEST, answer, space);
    }
    *open = true;
    return accept(offer.key, subprotocol, answer, space);
}
