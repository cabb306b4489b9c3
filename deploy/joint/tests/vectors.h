/* Golden vectors, asked one by one: what is asked and answered is in docs/conform.md.
 *
 * A part of the program knows some of the questions. It prints the members of the answer but `id`, each with a
 * comma before it, such as `,"path":17`, and returns true; or it returns false where it does not know the
 * question. Instead of an answer it may print `,"not_made":"why"`. */
#ifndef VECTORS_H
#define VECTORS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "json.h"
#include "rejects.h"

#define VECTORS_LINE_BYTES 16384 /* of a question, and of an answer */

/* The parts. `ask` is the question's member of that name. */
bool vectors_keys(struct uj_json ask, struct uj_json question);      /* keys, handshake, frames */
bool vectors_messages(struct uj_json ask, struct uj_json question);  /* openings and requests */
bool vectors_reports(struct uj_json ask, struct uj_json question);   /* what the joint says */
bool vectors_datagrams(struct uj_json ask, struct uj_json question); /* ntp, drive, status, points */
bool vectors_image(struct uj_json ask, struct uj_json question);     /* header, signature and frame of an image */
bool vectors_motion(struct uj_json ask, struct uj_json question);    /* ramp to middle, and the whole numbers */

/* Parts for questions of this project's own tests, beyond docs/conform.md. */
bool vectors_digests(struct uj_json ask, struct uj_json question);
bool vectors_websocket(struct uj_json ask, struct uj_json question);

/* Members of a question. One that is missing or of another kind ends the program with a word on standard error:
 * then the question is not what docs/conform.md says. */
struct uj_json vectors_member(struct uj_json object, const char *name);
int64_t vectors_integer(struct uj_json object, const char *name);
uint64_t vectors_u64(struct uj_json object, const char *name); /* hex of 16 digits */
size_t vectors_bytes(struct uj_json object, const char *name, uint8_t *bytes, size_t space);
void vectors_exactly(struct uj_json object, const char *name, uint8_t *bytes, size_t count);
void vectors_give_up(const char *why, const char *what);

/* Members of an answer. */
void vectors_tell_hex(const char *name, const uint8_t *bytes, size_t count);
void vectors_tell_integer(const char *name, int64_t value);
void vectors_tell_code(enum uj_reject reject);

#endif
