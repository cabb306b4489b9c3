#include "utf8.h"

bool uj_utf8(const uint8_t *bytes, size_t length)
{
    for (size_t at = 0; at < length;) {
        const uint8_t first = bytes[at++];
        size_t more;
        uint32_t character;
        uint32_t least; /* that needs so many bytes */
        if (first < 0x80) {
            continue;
        } else if (first >> 5 == 6) {
            more = 1;
            character = first & 0x1f;
            least = 0x80;
        } else if (first >> 4 == 14) {
            more = 2;
            character = first & 0x0f;
            least = 0x800;
        } else if (first >> 3 == 30) {
            more = 3;
            character = first & 0x07;
            least = 0x10000;
        } else {
            return false;
        }
        if (length - at < more) {
            return false;
        }
        for (; more > 0; more--, at++) {
            if (bytes[at] >> 6 != 2) {
                return false;
            }
            character = character << 6 | (bytes[at] & 0x3f);
        }
        if (character < least || character > 0x10ffff || (character >= 0xd800 && character <= 0xdfff)) {
            return false;
        }
    }
    return true;
}
