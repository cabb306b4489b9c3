/* Messages to the joint, read in place: protocol/README.md, "Messages". Those from it are in reports.h. */
#ifndef UJ_MESSAGES_H
#define UJ_MESSAGES_H

#include <stddef.h>
#include <stdint.h>

#include "configuration.h"
#include "fields.h"
#include "keys.h"
#include "rejects.h"

struct uj_hello {
    uint32_t protocol; /* 0 to 65535: whether the joint speaks it is for the caller to say */
    uint8_t coordinator[UJ_COORDINATOR_ID_BYTES];
    uint64_t session;
    uint8_t nonce[UJ_NONCE_BYTES];
};

enum uj_opening_type { UJ_OPENING_HELLO, UJ_OPENING_PROOF };

/* A text frame of the handshake. */
struct uj_opening {
    enum uj_opening_type type;
    union {
        struct uj_hello hello;
        uint8_t proof[UJ_PROOF_BYTES];
    } of;
};

/* UJ_ACCEPTED, UJ_REJECT_MESSAGE_INVALID or UJ_REJECT_MESSAGE_UNKNOWN. Whether this type belongs here
 * (handshake-order) is for the caller to say. */
enum uj_reject uj_opening_read(const uint8_t *body, size_t length, struct uj_opening *opening);

/* One type of message: what its fields are. */
struct uj_form {
    const char *type;
    const struct uj_field *fields;
    size_t count;
};

/* The form of a message, and its object, which is not read yet. UJ_ACCEPTED, UJ_REJECT_MESSAGE_INVALID for what is no
 * JSON of the protocol, UJ_REJECT_MESSAGE_UNKNOWN for a type without a form. */
enum uj_reject uj_form_find(const uint8_t *body, size_t length, const struct uj_form *forms, size_t count,
                            struct uj_json *object, size_t *form);

enum uj_request_type {
    UJ_REQUEST_CONFIGURE,
    UJ_REQUEST_PREPARE,
    UJ_REQUEST_DISCARD,
    UJ_REQUEST_CLEAR,
    UJ_REQUEST_BLINK
};

/* The body of a tagged frame that carries neither points nor an image. Those of updates are in update.h. */
struct uj_request {
    enum uj_request_type type;
    uint8_t digest[UJ_SHA256_BYTES]; /* of a configure: of the body, byte for byte */
    union {
        struct uj_configuration configuration;
        uint32_t trajectory; /* of prepare */
        uint32_t seconds;    /* of blink, 1 to 60; 5 where it was left out */
    } of;
};

/* UJ_ACCEPTED, UJ_REJECT_MESSAGE_INVALID or UJ_REJECT_MESSAGE_UNKNOWN. Only bounds and rules that need nothing
 * but the message: `configuration` for a velocity beyond the step rate is for the rules to say. */
enum uj_reject uj_request_read(const uint8_t *body, size_t length, struct uj_request *request);

#endif
