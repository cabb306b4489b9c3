/* A board's side of the cable: a request's frame in, its answer's bytes out. Where things are kept is its owner's.
 * What is asked and answered says protocol/CABLE.md, "Requests". */
#ifndef UJ_CABLE_BOARD_H
#define UJ_CABLE_BOARD_H

#include "cable.h"
#include "keys.h"

#define UJ_CABLE_SSID_MAX 32
#define UJ_CABLE_PASSWORD_MAX 64
#define UJ_CABLE_TEXT_MAX 32 /* firmware, name */

enum uj_cable_wifi_state { UJ_WIFI_UNSET, UJ_WIFI_TRYING, UJ_WIFI_CONNECTED, UJ_WIFI_FAILED };
enum uj_cable_wifi_reason {
    UJ_WIFI_NO_REASON,
    UJ_WIFI_NOT_FOUND,
    UJ_WIFI_PASSWORD,
    UJ_WIFI_NO_ADDRESS,
    UJ_WIFI_OTHER
};
enum uj_cable_key { UJ_CABLE_NO_KEY, UJ_CABLE_SAME_KEY, UJ_CABLE_OTHER_KEY };

struct uj_cable_text {
    const uint8_t *bytes;
    size_t length;
};

struct uj_cable_who {
    uint8_t id[UJ_JOINT_ID_BYTES];
    uint32_t boot; /* not 0 */
    bool has_key;
    struct uj_cable_text firmware; /* texts: at most UJ_CABLE_TEXT_MAX bytes */
    struct uj_cable_text ssid;     /* empty without a network */
    struct uj_cable_text name;     /* empty without one */
    bool has_update_key;
};

struct uj_cable_wifi {
    enum uj_cable_wifi_state state;
    enum uj_cable_wifi_reason reason;
    uint8_t address[4];
    int8_t rssi_dbm;
};

/* What the owner does. Each `set_…` and `forget` returns once all of it is stored for good, or false with what was
 * there before untouched. What they are given is gone once they return: a key is to be copied nowhere else. */
struct uj_cable_hooks {
    void *owner;
    void (*who)(void *owner, struct uj_cable_who *who);
    void (*wifi)(void *owner, struct uj_cable_wifi *wifi);
    bool (*drivers_on)(void *owner);
    enum uj_cable_key (*compare_key)(void *owner, const uint8_t key[UJ_KEY_BYTES]); /* with the one it has */
    bool (*set_wifi)(void *owner, struct uj_cable_text ssid, struct uj_cable_text password);
    bool (*set_key)(void *owner, const uint8_t key[UJ_KEY_BYTES]);
    bool (*set_name)(void *owner, struct uj_cable_text name);
    bool (*forget)(void *owner);
    uint32_t (*random)(void *owner);
    /* Of the key that signs updates, its public half; both null where none are taken. */
    enum uj_cable_key (*compare_update_key)(void *owner, const uint8_t key[UJ_KEY_BYTES]);
    bool (*set_update_key)(void *owner, const uint8_t key[UJ_KEY_BYTES]);
};

struct uj_cable_board {
    struct uj_cable_hooks hooks;
    uint32_t confirm; /* what `forget` must bring; 0 while nobody has asked */
};

struct uj_cable_answer {
    uint8_t bytes[UJ_CABLE_FRAME_MAX];
    size_t length; /* 0: the frame was none for a board */
    bool restart;  /* once the answer is out */
};

/* Carries out one request. */
void uj_cable_obey(struct uj_cable_board *board, const struct uj_cable_frame *frame, struct uj_cable_answer *answer);

#endif
