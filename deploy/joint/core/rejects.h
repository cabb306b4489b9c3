/* Why something is refused: the codes of protocol/README.md, "Reject codes", and those that never travel. */
#ifndef UJ_REJECTS_H
#define UJ_REJECTS_H

enum uj_reject {
    UJ_ACCEPTED = 0, /* not refused */

    /* Travel in a `reject`, in the order of the document's table. */
    UJ_REJECT_PROTOCOL_VERSION,
    UJ_REJECT_PROOF_WRONG,
    UJ_REJECT_BUSY,
    UJ_REJECT_FOREIGN,
    UJ_REJECT_HANDSHAKE_ORDER,
    UJ_REJECT_HANDSHAKE_TIMEOUT,
    UJ_REJECT_MESSAGE_INVALID,
    UJ_REJECT_MESSAGE_UNKNOWN,
    UJ_REJECT_FRAME_LENGTH, /* of points or an image in a reject; of a tagged frame it ends the stream unanswered */
    UJ_REJECT_FRAME_TYPE,
    UJ_REJECT_FRAME_CRC,
    UJ_REJECT_FRAME_FIELD,
    UJ_REJECT_NOT_CONFIGURED,
    UJ_REJECT_NOT_AT_REST,
    UJ_REJECT_UNHOMED,
    UJ_REJECT_FAULTED,
    UJ_REJECT_NOT_ENERGISED,
    UJ_REJECT_STOP_LATCHED,
    UJ_REJECT_STOP_STILL_ASKED,
    UJ_REJECT_FAULT_PERSISTS,
    UJ_REJECT_CONFIGURATION,
    UJ_REJECT_TRAJECTORY_LOADED,
    UJ_REJECT_POSITION,
    UJ_REJECT_FIRST_POINT,
    UJ_REJECT_POINTS_GAP,
    UJ_REJECT_POINTS_MISSING,
    UJ_REJECT_BUFFER_FULL,
    UJ_REJECT_POINT_ORDER,
    UJ_REJECT_SEGMENT,
    UJ_REJECT_RANGE,
    UJ_REJECT_OUTPUT_IN_MOTION,
    UJ_REJECT_AFTER_LAST,
    UJ_REJECT_LAST_MOVING,
    UJ_REJECT_ENERGISED,
    UJ_REJECT_ON_TRIAL,
    UJ_REJECT_IMAGE_BOARD,
    UJ_REJECT_IMAGE_SIZE,
    UJ_REJECT_IMAGE_SIGNATURE,
    UJ_REJECT_IMAGE_GAP,
    UJ_REJECT_IMAGE_MISSING,
    UJ_REJECT_IMAGE_WRONG,
    UJ_REJECT_IMAGE_STORE,

    /* Of a tagged frame: end the stream unanswered. TAG_WRONG also of a datagram. */
    UJ_REJECT_TAG_WRONG,
    UJ_REJECT_FRAME_NUMBER,

    /* Of a datagram: for a joint's own log. */
    UJ_REJECT_MAC_MISSING,
    UJ_REJECT_NTP_LENGTH,
    UJ_REJECT_NTP_MODE,
    UJ_REJECT_FIELD_LENGTH,
    UJ_REJECT_FIELD_TYPE,
    UJ_REJECT_DRIVE_FIELD,

    UJ_REJECT_COUNT
};

/* The code as it is written, such as "stop-latched"; "accepted" for 0. Never null. */
const char *uj_reject_name(enum uj_reject reject);

/* A sentence for people, in the words of the document's table, where nothing closer is known. Codes that
 * never travel have an empty one. Never null. */
const char *uj_reject_sentence(enum uj_reject reject);

#endif
