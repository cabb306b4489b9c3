#include "cable_board.h"

#include <string.h>

#include "bytes.h"

#define VERSION 1
#define ANSWER 0x80
#define REFUSED 0xff

enum kind { WHO = 1, SET_WIFI, SET_KEY, SET_NAME, FORGET, WIFI, RESTART, SET_UPDATE_KEY };
enum refusal { DONE, UNKNOWN, BODY, KEY_SET, DRIVERS_ON, STORE };

/* What is left to be read of a body. */
struct reader {
    const uint8_t *at;
    size_t left;
};

/* What there is of an answer's body so far. */
struct writer {
    uint8_t body[UJ_CABLE_BODY_MAX];
    size_t used;
};

static bool read_text(struct reader *reader, struct uj_cable_text *text)
{
    if (reader->left == 0 || reader->at[0] > reader->left - 1) {
        return false;
    }
    *text = (struct uj_cable_text){reader->at + 1, reader->at[0]};
    reader->at += 1 + text->length;
    reader->left -= 1 + text->length;
    return true;
}

static bool is_letter(uint8_t byte)
{
    return (byte >= 'A' && byte <= 'Z') || (byte >= 'a' && byte <= 'z');
}

static bool is_digit(uint8_t byte)
{
    return byte >= '0' && byte <= '9';
}

static bool is_hex(uint8_t byte)
{
    return is_digit(byte) || (byte >= 'A' && byte <= 'F') || (byte >= 'a' && byte <= 'f');
}

static bool is_printable(uint8_t byte)
{
    return byte >= ' ' && byte <= '~';
}

static bool all_are(struct uj_cable_text text, bool (*is)(uint8_t byte))
{
    for (size_t i = 0; i < text.length; i++) {
        if (!is(text.bytes[i])) {
            return false;
        }
    }
    return true;
}

static bool is_of_name(uint8_t byte)
{
    return is_letter(byte) || is_digit(byte) || byte == '_' || byte == '-';
}

/* IEEE 802.11: a pass-phrase, or the key itself in hex; none for an open network. */
static bool password_holds(struct uj_cable_text password)
{
    return password.length == 0 || (password.length >= 8 && password.length <= 63 && all_are(password, is_printable)) ||
           (password.length == UJ_CABLE_PASSWORD_MAX && all_are(password, is_hex));
}

static void put(struct writer *writer, const uint8_t *bytes, size_t length)
{
    if (length > 0) {
        memcpy(writer->body + writer->used, bytes, length);
        writer->used += length;
    }
}

static void put_byte(struct writer *writer, uint8_t byte)
{
    writer->body[writer->used++] = byte;
}

static void put_number(struct writer *writer, uint32_t number)
{
    uj_put_u32(writer->body + writer->used, number);
    writer->used += 4;
}

static void put_text(struct writer *writer, struct uj_cable_text text)
{
    const size_t length = text.length < UJ_CABLE_TEXT_MAX ? text.length : UJ_CABLE_TEXT_MAX;
    put_byte(writer, (uint8_t)length);
    put(writer, text.bytes, length);
}

static void tell_who(const struct uj_cable_hooks *hooks, struct writer *writer)
{
    struct uj_cable_who who = {0};
    hooks->who(hooks->owner, &who);
    put_byte(writer, VERSION);
    put(writer, who.id, sizeof who.id);
    put_number(writer, who.boot);
    put_byte(writer, who.has_key ? 1 : 0);
    put_text(writer, who.firmware);
    put_text(writer, who.ssid);
    put_text(writer, who.name);
    put_byte(writer, who.has_update_key ? 1 : 0);
}

static void tell_wifi(const struct uj_cable_hooks *hooks, struct writer *writer)
{
    struct uj_cable_wifi wifi = {0};
    hooks->wifi(hooks->owner, &wifi);
    put_byte(writer, (uint8_t)wifi.state);
    put_byte(writer, (uint8_t)wifi.reason);
    put(writer, wifi.address, sizeof wifi.address);
    put_byte(writer, (uint8_t)wifi.rssi_dbm);
}

static enum refusal set_wifi(const struct uj_cable_hooks *hooks, struct reader body)
{
    struct uj_cable_text ssid, password;
    if (!read_text(&body, &ssid) || !read_text(&body, &password) || body.left > 0 || ssid.length == 0 ||
        ssid.length > UJ_CABLE_SSID_MAX || !password_holds(password)) {
        return BODY;
    }
    if (hooks->drivers_on(hooks->owner)) {
        return DRIVERS_ON;
    }
    return hooks->set_wifi(hooks->owner, ssid, password) ? DONE : STORE;
}

/* The arm's key, or the one that signs updates. */
static enum refusal set_key(const struct uj_cable_hooks *hooks, struct reader body,
                            enum uj_cable_key (*compare)(void *owner, const uint8_t *key),
                            bool (*set)(void *owner, const uint8_t *key))
{
    if (body.left != UJ_KEY_BYTES) {
        return BODY;
    }
    if (hooks->drivers_on(hooks->owner)) {
        return DRIVERS_ON;
    }
    switch (compare(hooks->owner, body.at)) {
    case UJ_CABLE_SAME_KEY:
        return DONE;
    case UJ_CABLE_OTHER_KEY:
        return KEY_SET;
    case UJ_CABLE_NO_KEY:
        break;
    }
    return set(hooks->owner, body.at) ? DONE : STORE;
}

static enum refusal set_name(const struct uj_cable_hooks *hooks, struct reader body)
{
    struct uj_cable_text name;
    if (!read_text(&body, &name) || body.left > 0 || name.length == 0 || name.length > UJ_CABLE_TEXT_MAX ||
        !is_letter(name.bytes[0]) || !all_are(name, is_of_name)) {
        return BODY;
    }
    if (hooks->drivers_on(hooks->owner)) {
        return DRIVERS_ON;
    }
    return hooks->set_name(hooks->owner, name) ? DONE : STORE;
}

/* `asked` is the number that was given out right before, 0 where none was. */
static enum refusal forget(struct uj_cable_board *board, struct reader body, uint32_t asked, struct writer *writer)
{
    const struct uj_cable_hooks *hooks = &board->hooks;
    struct uj_cable_who who = {0};
    if (body.left != 4) {
        return BODY;
    }
    if (hooks->drivers_on(hooks->owner)) {
        return DRIVERS_ON;
    }
    hooks->who(hooks->owner, &who);
    if (!who.has_key && !who.has_update_key && who.ssid.length == 0 && who.name.length == 0) {
        put_number(writer, 0);
        return DONE;
    }
    if (asked != 0 && uj_get_u32(body.at) == asked) {
        put_number(writer, 0);
        return hooks->forget(hooks->owner) ? DONE : STORE;
    }
    do {
        board->confirm = hooks->random(hooks->owner);
    } while (board->confirm == 0);
    put_number(writer, board->confirm);
    return DONE;
}

static enum refusal obey(struct uj_cable_board *board, uint8_t kind, struct reader body, struct writer *writer,
                         bool *restart)
{
    const struct uj_cable_hooks *hooks = &board->hooks;
    const uint32_t asked = board->confirm;
    board->confirm = 0;
    switch (kind) {
    case SET_WIFI:
        return set_wifi(hooks, body);
    case SET_KEY:
        return set_key(hooks, body, hooks->compare_key, hooks->set_key);
    case SET_UPDATE_KEY:
        return hooks->set_update_key == NULL
                   ? UNKNOWN
                   : set_key(hooks, body, hooks->compare_update_key, hooks->set_update_key);
    case SET_NAME:
        return set_name(hooks, body);
    case FORGET:
        return forget(board, body, asked, writer);
    case WHO:
    case WIFI:
    case RESTART:
        break;
    default:
        return UNKNOWN;
    }
    if (body.left > 0) {
        return BODY;
    }
    if (kind == WHO) {
        tell_who(hooks, writer);
    } else if (kind == WIFI) {
        tell_wifi(hooks, writer);
    } else if (hooks->drivers_on(hooks->owner)) {
        return DRIVERS_ON;
    } else {
        *restart = true;
    }
    return DONE;
}

void uj_cable_obey(struct uj_cable_board *board, const struct uj_cable_frame *frame, struct uj_cable_answer *answer)
{
    struct writer writer = {.used = 0};
    answer->length = 0;
    answer->restart = false;
    if ((frame->kind & ANSWER) != 0) {
        return; /* an echo */
    }
    const struct reader body = {frame->body, frame->length};
    const enum refusal refusal = obey(board, frame->kind, body, &writer, &answer->restart);
    if (refusal == DONE) {
        answer->length =
            uj_cable_write(frame->kind | ANSWER, frame->number, writer.body, writer.used, answer->bytes);
    } else {
        const uint8_t code = (uint8_t)refusal;
        answer->length = uj_cable_write(REFUSED, frame->number, &code, 1, answer->bytes);
    }
}
