/* Any bytes as what comes by the cable, in steps of 1 to 256 bytes by the first one, with a pause after each. Frames
 * are obeyed too, whatever they are: the body that the reader gives is in its own buffer, so each is copied to memory
 * of just its size before. */
#include <stdlib.h>
#include <string.h>

#include "cable_board.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void tell_who(void *owner, struct uj_cable_who *who)
{
    (void)owner;
    who->has_key = true;
}

static void tell_wifi(void *owner, struct uj_cable_wifi *wifi)
{
    (void)owner;
    wifi->rssi_dbm = -1;
}

static bool no(void *owner)
{
    (void)owner;
    return false;
}

static enum uj_cable_key compare_key(void *owner, const uint8_t key[UJ_KEY_BYTES])
{
    (void)owner;
    return key[UJ_KEY_BYTES - 1] == 0 ? UJ_CABLE_OTHER_KEY : UJ_CABLE_NO_KEY;
}

static bool read_all(struct uj_cable_text text)
{
    uint8_t sum = 0;
    for (size_t i = 0; i < text.length; i++) {
        sum = (uint8_t)(sum + text.bytes[i]);
    }
    return sum != 0;
}

static bool set_wifi(void *owner, struct uj_cable_text ssid, struct uj_cable_text password)
{
    (void)owner;
    if (ssid.length == 0 || ssid.length > UJ_CABLE_SSID_MAX || password.length > UJ_CABLE_PASSWORD_MAX) {
        __builtin_trap();
    }
    return read_all(ssid) && read_all(password);
}

static bool set_key(void *owner, const uint8_t key[UJ_KEY_BYTES])
{
    (void)owner;
    return key[0] != 0;
}

static bool set_name(void *owner, struct uj_cable_text name)
{
    (void)owner;
    if (name.length == 0 || name.length > UJ_CABLE_TEXT_MAX) {
        __builtin_trap();
    }
    return read_all(name);
}

static uint32_t number(void *owner)
{
    (void)owner;
    return 4;
}

static void obey(struct uj_cable_board *board, struct uj_cable_frame frame)
{
    struct uj_cable_answer answer;
    uint8_t *const body = malloc(frame.length + (frame.length == 0));
    if (body == NULL) {
        return;
    }
    memcpy(body, frame.body, frame.length);
    frame.body = body;
    uj_cable_obey(board, &frame, &answer);
    if ((answer.length == 0) != (frame.kind >= 0x80) || answer.length > UJ_CABLE_FRAME_MAX) {
        __builtin_trap();
    }
    free(body);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uj_cable cable = {.used = 0};
    struct uj_cable_board board = {.hooks = {NULL, tell_who, tell_wifi, no, compare_key, set_wifi, set_key, set_name,
                                             no, number, compare_key, set_key}};
    struct uj_cable_frame frame;
    if (size < 1) {
        return 0;
    }
    const size_t step = (size_t)data[0] + 1;
    for (size_t at = 1; at < size;) {
        const size_t some = size - at < step ? size - at : step;
        bool found;
        size_t taken = 0;
        do {
            taken += uj_cable_feed(&cable, data + at + taken, some - taken, &frame, &found);
            if (found) {
                obey(&board, frame);
            }
        } while (found || taken < some);
        at += some;
        while (uj_cable_pause(&cable, &frame)) {
            obey(&board, frame);
        }
    }
    return 0;
}
