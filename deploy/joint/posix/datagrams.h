/* The joint's UDP port: a datagram is taken with the time at which it came, and answered. */
#ifndef DATAGRAMS_H
#define DATAGRAMS_H

#include <stdint.h>

#include "machine.h"
#include "times.h"

struct datagrams {
    struct uj_machine *machine;
    struct crystal crystal;
    int file;
    double real_ahead_us; /* the kernel's clock against true time, before the last wait */
};

/* Takes a free port of an address; returns it, 0 where there is none to be had. */
uint16_t datagrams_begin(struct datagrams *datagrams, struct uj_machine *machine, const struct crystal *crystal,
                         uint32_t address);

/* To be called right before waiting: what comes from then on has its times measured from here. */
void datagrams_wait(struct datagrams *datagrams);

/* Takes and answers what has come. */
void datagrams_take(struct datagrams *datagrams);

#endif
