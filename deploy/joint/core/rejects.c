#include "rejects.h"

#include <stddef.h>

struct words {
    const char *name;
    const char *sentence;
};

static const struct words WORDS[UJ_REJECT_COUNT] = {
    [UJ_ACCEPTED] = {"accepted", ""},
    [UJ_REJECT_PROTOCOL_VERSION] = {"protocol-version", "the hello names a version that the joint does not speak"},
    [UJ_REJECT_PROOF_WRONG] = {"proof-wrong", "the proof does not show that the coordinator holds the arm's key"},
    [UJ_REJECT_BUSY] = {"busy", "the joint moves or has a start pending, for another session"},
    [UJ_REJECT_FOREIGN] = {"foreign", "another coordinator was heard within the last 5 s"},
    [UJ_REJECT_HANDSHAKE_ORDER] = {"handshake-order",
                                   "a frame came that the handshake does not expect at this place"},
    [UJ_REJECT_HANDSHAKE_TIMEOUT] = {"handshake-timeout", "the handshake was not finished within 5 s"},
    [UJ_REJECT_MESSAGE_INVALID] = {"message-invalid",
                                   "a message is no JSON of this protocol, lacks a field, or has a wrong one"},
    [UJ_REJECT_MESSAGE_UNKNOWN] = {"message-unknown", "the joint does not know a message of this type"},
    [UJ_REJECT_FRAME_LENGTH] = {"frame-length",
                                "a points frame's length does not fit its count, or the count is not allowed"},
    [UJ_REJECT_FRAME_TYPE] = {"frame-type", "a binary body is no points frame"},
    [UJ_REJECT_FRAME_CRC] = {"frame-crc", "the CRC-32 of a points frame is wrong"},
    [UJ_REJECT_FRAME_FIELD] = {"frame-field",
                               "a point has flags, a reserved byte or a number that no point may have"},
    [UJ_REJECT_NOT_CONFIGURED] = {"not-configured", "the joint has no configuration yet"},
    [UJ_REJECT_NOT_AT_REST] = {"not-at-rest", "the request needs a joint at rest without a start pending"},
    [UJ_REJECT_UNHOMED] = {"unhomed", "the joint does not know its position"},
    [UJ_REJECT_FAULTED] = {"faulted", "the joint has a fault"},
    [UJ_REJECT_NOT_ENERGISED] = {"not-energised", "the drivers are off"},
    [UJ_REJECT_STOP_LATCHED] = {"stop-latched", "a stop is latched; it must be cleared first"},
    [UJ_REJECT_STOP_STILL_ASKED] = {"stop-still-asked",
                                    "the newest drive still carries a stop, so clear cannot lift it"},
    [UJ_REJECT_FAULT_PERSISTS] = {"fault-persists",
                                  "the cause of a fault is still there, so clear cannot lift it"},
    [UJ_REJECT_CONFIGURATION] = {"configuration", "the configuration cannot be obeyed by this joint"},
    [UJ_REJECT_TRAJECTORY_LOADED] = {"trajectory-loaded", "another trajectory is loaded; discard it first"},
    [UJ_REJECT_POSITION] = {"position", "the joint does not stand at the trajectory's first point"},
    [UJ_REJECT_FIRST_POINT] = {"first-point", "the first point has a time or a velocity other than 0"},
    [UJ_REJECT_POINTS_GAP] = {"points-gap", "the frame begins at another index than the one missing next"},
    [UJ_REJECT_POINTS_MISSING] = {"points-missing", "the trajectory is not loaded, or not far enough"},
    [UJ_REJECT_BUFFER_FULL] = {"buffer-full", "the points do not fit into the buffer now"},
    [UJ_REJECT_POINT_ORDER] = {"point-order", "the points' times do not grow"},
    [UJ_REJECT_SEGMENT] = {"segment",
                           "a segment passes the limit of velocity or acceleration, or is too short"},
    [UJ_REJECT_RANGE] = {"range", "a position lies outside the joint's range"},
    [UJ_REJECT_OUTPUT_IN_MOTION] = {"output-in-motion",
                                    "a point with a velocity other than 0 switches outputs"},
    [UJ_REJECT_AFTER_LAST] = {"after-last", "points follow the point marked last"},
    [UJ_REJECT_LAST_MOVING] = {"last-moving", "the point marked last has a velocity other than 0"},
    [UJ_REJECT_TAG_WRONG] = {"tag-wrong", ""},
    [UJ_REJECT_FRAME_NUMBER] = {"frame-number", ""},
    [UJ_REJECT_MAC_MISSING] = {"mac-missing", ""},
    [UJ_REJECT_NTP_LENGTH] = {"ntp-length", ""},
    [UJ_REJECT_NTP_MODE] = {"ntp-mode", ""},
    [UJ_REJECT_FIELD_LENGTH] = {"field-length", ""},
    [UJ_REJECT_FIELD_TYPE] = {"field-type", ""},
    [UJ_REJECT_DRIVE_FIELD] = {"drive-field", ""},
};

static const struct words *words_of(enum uj_reject reject)
{
    static const struct words UNKNOWN = {"unknown", ""};
    const size_t place = (size_t)reject;
    return place < UJ_REJECT_COUNT && WORDS[place].name != NULL ? &WORDS[place] : &UNKNOWN;
}

const char *uj_reject_name(enum uj_reject reject)
{
    return words_of(reject)->name;
}

const char *uj_reject_sentence(enum uj_reject reject)
{
    return words_of(reject)->sentence;
}
