#include "messages.h"

#include <string.h>

#define COUNT(table) (sizeof(table) / sizeof(table)[0])
#define TYPE {"type", uj_field_known, 0, false, 0, 0}

static bool read_u64(const struct uj_field *field, struct uj_json value, void *into)
{
    uint8_t bytes[8];
    uint64_t number = 0;
    (void)field;
    if (!uj_json_hex(value, bytes, sizeof bytes)) {
        return false;
    }
    for (size_t i = 0; i < sizeof bytes; i++) {
        number = number << 8 | bytes[i];
    }
    *(uint64_t *)into = number;
    return true;
}

static bool read_configuration(const struct uj_field *field, struct uj_json value, void *into)
{
    (void)field;
    return uj_configuration_read(value, into);
}

static const struct uj_field HELLO[] = {
    TYPE,
    {"protocol", uj_field_u32, offsetof(struct uj_hello, protocol), false, 0, 65535},
    {"coordinator", uj_field_hex, offsetof(struct uj_hello, coordinator), false, UJ_COORDINATOR_ID_BYTES, 0},
    {"session", read_u64, offsetof(struct uj_hello, session), false, 0, 0},
    {"nonce", uj_field_hex, offsetof(struct uj_hello, nonce), false, UJ_NONCE_BYTES, 0},
};

static const struct uj_field PROOF[] = {
    TYPE,
    {"proof", uj_field_hex, 0, false, UJ_PROOF_BYTES, 0},
};

static const struct uj_field CONFIGURE[] = {
    TYPE,
    {"configuration", read_configuration, offsetof(struct uj_request, of.configuration), false, 0, 0},
};

static const struct uj_field PREPARE[] = {
    TYPE,
    {"trajectory", uj_field_u32, offsetof(struct uj_request, of.trajectory), false, 0, UINT32_MAX},
};

static const struct uj_field BARE[] = {TYPE};

static const struct uj_field BLINK[] = {
    TYPE,
    {"seconds", uj_field_u32, offsetof(struct uj_request, of.seconds), true, 1, 60},
};

static const struct uj_form OPENINGS[] = {
    [UJ_OPENING_HELLO] = {"hello", HELLO, COUNT(HELLO)},
    [UJ_OPENING_PROOF] = {"proof", PROOF, COUNT(PROOF)},
};

static const struct uj_form REQUESTS[] = {
    [UJ_REQUEST_CONFIGURE] = {"configure", CONFIGURE, COUNT(CONFIGURE)},
    [UJ_REQUEST_PREPARE] = {"prepare", PREPARE, COUNT(PREPARE)},
    [UJ_REQUEST_DISCARD] = {"discard", BARE, COUNT(BARE)},
    [UJ_REQUEST_CLEAR] = {"clear", BARE, COUNT(BARE)},
    [UJ_REQUEST_BLINK] = {"blink", BLINK, COUNT(BLINK)},
};

enum uj_reject uj_form_find(const uint8_t *body, size_t length, const struct uj_form *forms, size_t count,
                            struct uj_json *object, size_t *form)
{
    struct uj_json type;
    if (!uj_json_check(body, length, object) || !uj_json_is_object(*object)) {
        return UJ_REJECT_MESSAGE_INVALID;
    }
    if (!uj_json_member(*object, "type", &type)) {
        return UJ_REJECT_MESSAGE_UNKNOWN;
    }
    for (*form = 0; *form < count; ++*form) {
        if (uj_json_is(type, forms[*form].type)) {
            return UJ_ACCEPTED;
        }
    }
    return UJ_REJECT_MESSAGE_UNKNOWN;
}

enum uj_reject uj_opening_read(const uint8_t *body, size_t length, struct uj_opening *opening)
{
    struct uj_json object;
    size_t form;
    const enum uj_reject found = uj_form_find(body, length, OPENINGS, COUNT(OPENINGS), &object, &form);
    if (found != UJ_ACCEPTED) {
        return found;
    }
    opening->type = (enum uj_opening_type)form;
    return uj_fields_read(object, OPENINGS[form].fields, OPENINGS[form].count, &opening->of)
               ? UJ_ACCEPTED
               : UJ_REJECT_MESSAGE_INVALID;
}

enum uj_reject uj_request_read(const uint8_t *body, size_t length, struct uj_request *request)
{
    struct uj_json object;
    size_t form;
    const enum uj_reject found = uj_form_find(body, length, REQUESTS, COUNT(REQUESTS), &object, &form);
    if (found != UJ_ACCEPTED) {
        return found;
    }
    memset(request, 0, sizeof *request);
    request->type = (enum uj_request_type)form;
    if (request->type == UJ_REQUEST_BLINK) {
        request->of.seconds = 5;
    }
    if (!uj_fields_read(object, REQUESTS[form].fields, REQUESTS[form].count, request)) {
        return UJ_REJECT_MESSAGE_INVALID;
    }
    if (request->type == UJ_REQUEST_CONFIGURE) {
        const struct uj_piece whole = {body, length};
        uj_crypto_sha256(&whole, 1, request->digest);
    }
    return UJ_ACCEPTED;
}
