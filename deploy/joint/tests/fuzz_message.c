/* Any bytes as a request and as an opening, and as JSON that is walked through to its last value. */
#include "json.h"
#include "messages.h"
#include "numbers.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Goes down no further than a text that was checked can go. */
static void walk(struct uj_json container, unsigned depth)
{
    struct uj_json key;
    struct uj_json value;
    if (depth > UJ_JSON_DEPTH) {
        __builtin_trap();
    }
    for (size_t at = 0; uj_json_next(container, &at, &key, &value);) {
        int64_t number;
        uint8_t bytes[32];
        struct uj_json found;
        if (value.length < 1 || value.text < container.text ||
            value.text + value.length >= container.text + container.length) {
            __builtin_trap();
        }
        (void)uj_json_integer(value, -UJ_MAX_INTEGER, UJ_MAX_INTEGER, &number);
        (void)uj_json_hex(value, bytes, sizeof bytes);
        (void)uj_json_member(value, "type", &found);
        walk(value, depth + 1);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct uj_request request;
    struct uj_opening opening;
    struct uj_json value;
    if (size > UJ_MAX_FRAME_BYTES) {
        return 0;
    }
    if (uj_request_read(data, size, &request) == UJ_ACCEPTED && request.type == UJ_REQUEST_CONFIGURE &&
        (request.of.configuration.ramp_rows > UJ_MAX_RAMP_ROWS ||
         !uj_configuration_holds(&request.of.configuration))) {
        __builtin_trap();
    }
    (void)uj_opening_read(data, size, &opening);
    if (uj_json_check(data, size, &value)) {
        walk(value, 0);
    }
    return 0;
}
