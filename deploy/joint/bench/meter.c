#include "meter.h"

#include <inttypes.h>
#include <stddef.h>
#include <stdio.h>

#include "instructions.h"

#define STACK_BYTES 0x4000
#define PAINT UINT32_C(0x5aa55aa5)
#define SPARED 256 /* bytes below the stack pointer that meter_begin itself may be using */

extern uint32_t __stack[]; /* its end, from the linker */

static uint64_t spent;
static uint32_t deepest; /* bytes */
static uint64_t begun;
static uint32_t *top;

static uint32_t *bottom(void)
{
    return __stack - STACK_BYTES / sizeof(uint32_t);
}

void meter_begin(void)
{
    uint32_t *pointer;
    __asm__ volatile("mv %0, sp" : "=r"(pointer));
    top = pointer;
    for (uint32_t *word = bottom(); word < top - SPARED / sizeof(uint32_t); word++) {
        *word = PAINT;
    }
    begun = instructions();
}

void meter_end(void)
{
    const uint32_t *word = bottom();
    spent += instructions() - begun;
    while (word < top && *word == PAINT) {
        word++;
    }
    const uint32_t depth = (uint32_t)(top - word) * (uint32_t)sizeof(uint32_t);
    deepest = depth > deepest ? depth : deepest;
}

void meter_say(void)
{
    printf(",\"instructions\":%" PRIu64 ",\"stack\":%" PRIu32, spent, deepest);
    spent = 0;
    deepest = 0;
}
