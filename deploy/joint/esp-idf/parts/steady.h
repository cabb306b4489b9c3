/* Contacts bounce: a value counts once it has read alike for a while. */
#ifndef UJ_STEADY_H
#define UJ_STEADY_H

#include <stdbool.h>
#include <stdint.h>

#define UJ_STEADY_READINGS 5 /* alike, one after the other */

/* Begin with all of it 0. */
struct uj_steady {
    uint8_t read;
    uint8_t alike;
    uint8_t told; /* its owner's: what was told last */
};

/* Takes a reading; whether it is steady and another than `told`. */
bool uj_steady_take(struct uj_steady *steady, uint8_t now);

#endif
