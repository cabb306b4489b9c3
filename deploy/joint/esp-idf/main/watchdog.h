/* The watchdog of tasks. One that hangs ends in a restart: then the drivers are off, and a raised arm may fall. */
#ifndef WATCHDOG_H
#define WATCHDOG_H

#include <stdint.h>

#define WATCHDOG_MS 1000

/* How long a task may be silent from now on. */
void watchdog_allow(uint32_t ms);

/* The calling task is alive; nothing where it is not watched. */
void watchdog_feed(void);

#endif
