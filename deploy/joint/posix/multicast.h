/* The socket of multicast DNS on one interface. */
#ifndef MULTICAST_H
#define MULTICAST_H

#include <stdint.h>

#include "announce.h"

struct multicast {
    int file;
    struct announce announce;
};

/* Joins the group on the interface with this address. Returns 0, or -1 with errno. */
int multicast_begin(struct multicast *multicast, uint32_t address);

/* Hands over what has come. */
void multicast_take(struct multicast *multicast, double true_us);

#endif
