#include "rejects.h"

#include <stddef.h>
#include <string.h>

/* The code, and behind its end the sentence. */
static const char *const WORDS[UJ_REJECT_COUNT] = {
    [UJ_ACCEPTED] = "accepted\0",
    [UJ_REJECT_PROTOCOL_VERSION] = "protocol-version\0the hello names a version that the joint does not speak",
    [UJ_REJECT_PROOF_WRONG] = "proof-wrong\0the proof does not show that the coordinator holds the arm's key",
    [UJ_REJECT_BUSY] = "busy\0the joint moves or has a start pending, for another session",
    [UJ_REJECT_FOREIGN] = "foreign\0another coordinator was heard within the last 5 s",
    [UJ_REJECT_HANDSHAKE_ORDER] = "handshake-order\0a frame came that the handshake does not expect at this place",
    [UJ_REJECT_HANDSHAKE_TIMEOUT] = "handshake-timeout\0the handshake was not finished within 5 s",
    [UJ_REJECT_MESSAGE_INVALID] =
        "message-invalid\0a message is no JSON of this protocol, lacks a field, or has a wrong one",
    [UJ_REJECT_MESSAGE_UNKNOWN] = "message-unknown\0the joint does not know a message of this type",
    [UJ_REJECT_FRAME_LENGTH] =
        "frame-length\0a frame's length does not fit its count, or the count is not allowed",
    [UJ_REJECT_FRAME_TYPE] = "frame-type\0a binary body is neither points nor a part of an image",
    [UJ_REJECT_FRAME_CRC] = "frame-crc\0the CRC-32 of a frame is wrong",
    [UJ_REJECT_FRAME_FIELD] = "frame-field\0a point has flags, a reserved byte or a number that no point may have",
    [UJ_REJECT_NOT_CONFIGURED] = "not-configured\0the joint has no configuration yet",
    [UJ_REJECT_NOT_AT_REST] = "not-at-rest\0the request needs a joint at rest without a start pending",
    [UJ_REJECT_UNHOMED] = "unhomed\0the joint does not know its position",
    [UJ_REJECT_FAULTED] = "faulted\0the joint has a fault",
    [UJ_REJECT_NOT_ENERGISED] = "not-energised\0the drivers are off",
    [UJ_REJECT_STOP_LATCHED] = "stop-latched\0a stop is latched; it must be cleared first",
    [UJ_REJECT_STOP_STILL_ASKED] = "stop-still-asked\0the newest drive still carries a stop, so clear cannot lift it",
    [UJ_REJECT_FAULT_PERSISTS] = "fault-persists\0the cause of a fault is still there, so clear cannot lift it",
    [UJ_REJECT_CONFIGURATION] = "configuration\0the configuration cannot be obeyed by this joint",
    [UJ_REJECT_TRAJECTORY_LOADED] = "trajectory-loaded\0another trajectory is loaded; discard it first",
    [UJ_REJECT_POSITION] = "position\0the joint does not stand at the trajectory's first point",
    [UJ_REJECT_FIRST_POINT] = "first-point\0the first point has a time or a velocity other than 0",
    [UJ_REJECT_POINTS_GAP] = "points-gap\0the frame begins at another index than the one missing next",
    [UJ_REJECT_POINTS_MISSING] = "points-missing\0the trajectory is not loaded, or not far enough",
    [UJ_REJECT_BUFFER_FULL] = "buffer-full\0the points do not fit into the buffer now",
    [UJ_REJECT_POINT_ORDER] = "point-order\0the points' times do not grow",
    [UJ_REJECT_SEGMENT] = "segment\0a segment passes the limit of velocity or acceleration, or is too short",
    [UJ_REJECT_RANGE] = "range\0a position lies outside the joint's range",
    [UJ_REJECT_OUTPUT_IN_MOTION] = "output-in-motion\0a point with a velocity other than 0 switches outputs",
    [UJ_REJECT_AFTER_LAST] = "after-last\0points follow the point marked last",
    [UJ_REJECT_LAST_MOVING] = "last-moving\0the point marked last has a velocity other than 0",
    [UJ_REJECT_ENERGISED] = "energised\0the drivers are on",
    [UJ_REJECT_ON_TRIAL] = "on-trial\0the image that runs is not confirmed yet",
    [UJ_REJECT_IMAGE_BOARD] = "image-board\0the image is for another board",
    [UJ_REJECT_IMAGE_SIZE] = "image-size\0the image is larger than the joint has room for",
    [UJ_REJECT_IMAGE_SIGNATURE] = "image-signature\0the image is not signed by the key that the joint trusts",
    [UJ_REJECT_IMAGE_GAP] =
        "image-gap\0no image was announced, or the frame begins behind the byte that is missing next",
    [UJ_REJECT_IMAGE_MISSING] = "image-missing\0no image was announced, or not all of it is here",
    [UJ_REJECT_IMAGE_WRONG] = "image-wrong\0what came is not the image that was signed; it was dropped",
    [UJ_REJECT_IMAGE_STORE] = "image-store\0the joint could not store it",
    [UJ_REJECT_TAG_WRONG] = "tag-wrong\0",
    [UJ_REJECT_FRAME_NUMBER] = "frame-number\0",
    [UJ_REJECT_MAC_MISSING] = "mac-missing\0",
    [UJ_REJECT_NTP_LENGTH] = "ntp-length\0",
    [UJ_REJECT_NTP_MODE] = "ntp-mode\0",
    [UJ_REJECT_FIELD_LENGTH] = "field-length\0",
    [UJ_REJECT_FIELD_TYPE] = "field-type\0",
    [UJ_REJECT_DRIVE_FIELD] = "drive-field\0",
};

static const char *words_of(enum uj_reject reject)
{
    const size_t place = (size_t)reject;
    return place < UJ_REJECT_COUNT && WORDS[place] != NULL ? WORDS[place] : "unknown\0";
}

const char *uj_reject_name(enum uj_reject reject)
{
    return words_of(reject);
}

const char *uj_reject_sentence(enum uj_reject reject)
{
    const char *const words = words_of(reject);
    return words + strlen(words) + 1;
}
