/* What a call costs on an emulated machine: instructions, and the deepest that the stack was. */
#ifndef METER_H
#define METER_H

void meter_begin(void);
void meter_end(void);

/* Prints what was measured since the last time, as members of a JSON object that has some already. */
void meter_say(void);

#define MEASURED(call) \
    do {               \
        meter_begin(); \
        call;          \
        meter_end();   \
    } while (0)
#define METER_SAY() meter_say()

#endif
