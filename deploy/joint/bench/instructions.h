/* Instructions that this controller has carried out. */
#ifndef UJ_BENCH_INSTRUCTIONS_H
#define UJ_BENCH_INSTRUCTIONS_H

#include <stdint.h>

static inline uint64_t instructions(void)
{
    uint32_t high;
    uint32_t low;
    uint32_t again;
    do {
        __asm__ volatile("csrr %0, minstreth" : "=r"(high));
        __asm__ volatile("csrr %0, minstret" : "=r"(low));
        __asm__ volatile("csrr %0, minstreth" : "=r"(again));
    } while (high != again);
    return (uint64_t)high << 32 | low;
}

#endif
