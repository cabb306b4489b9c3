#include "steady.h"

bool uj_steady_take(struct uj_steady *steady, uint8_t now)
{
    if (now != steady->read) {
        steady->read = now;
        steady->alike = 0;
    }
    if (steady->alike < UJ_STEADY_READINGS) {
        steady->alike++;
    }
    return steady->alike == UJ_STEADY_READINGS && now != steady->told;
}
