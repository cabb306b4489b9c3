/* Transcript, proofs, session keys and tags: protocol/README.md, "Trust". */
#ifndef UJ_KEYS_H
#define UJ_KEYS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "crypto.h"

#define UJ_KEY_BYTES 32
#define UJ_NONCE_BYTES 32
#define UJ_PROOF_BYTES 32
#define UJ_TAG_BYTES 16
#define UJ_COORDINATOR_ID_BYTES 16
#define UJ_JOINT_ID_BYTES 6
#define UJ_TRANSCRIPT_BYTES 98

/* The way the bytes travel, whoever computes or checks them. */
enum uj_direction { UJ_TO_JOINT = 0, UJ_TO_COORDINATOR = 1 };

enum uj_channel { UJ_CHANNEL_STREAM = 1, UJ_CHANNEL_DATAGRAMS = 2 };

struct uj_transcript {
    uint8_t coordinator_nonce[UJ_NONCE_BYTES];
    uint8_t joint_nonce[UJ_NONCE_BYTES];
    uint8_t coordinator_id[UJ_COORDINATOR_ID_BYTES];
    uint8_t joint_id[UJ_JOINT_ID_BYTES];
    uint32_t boot;
    uint64_t session;
};

void uj_transcript_bytes(const struct uj_transcript *transcript, uint8_t bytes[UJ_TRANSCRIPT_BYTES]);

void uj_proof(const uint8_t arm_key[UJ_KEY_BYTES], enum uj_direction direction,
              const uint8_t transcript[UJ_TRANSCRIPT_BYTES], uint8_t proof[UJ_PROOF_BYTES]);

void uj_session_key(const uint8_t arm_key[UJ_KEY_BYTES], enum uj_channel channel, enum uj_direction direction,
                    const uint8_t transcript[UJ_TRANSCRIPT_BYTES], uint8_t key[UJ_KEY_BYTES]);

/* The tag of a message that is given in at most 4 pieces. */
void uj_tag(const uint8_t key[UJ_KEY_BYTES], enum uj_direction direction, enum uj_channel channel,
            const struct uj_piece *pieces, size_t count, uint8_t tag[UJ_TAG_BYTES]);

/* Whether both are the same. Takes the same time wherever they differ: for proofs and tags. */
bool uj_same(const uint8_t *a, const uint8_t *b, size_t length);

/* The key in the text of a file `arm.key`: 64 hex digits of either case, white space around them. False where
 * the text is anything else; then the key is not touched. */
bool uj_key_file(const char *text, size_t length, uint8_t key[UJ_KEY_BYTES]);

#endif
