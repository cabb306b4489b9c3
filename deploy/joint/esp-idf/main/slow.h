/* The task of all that has time: readings once a second, the fan, the light, the touch control. */
#ifndef SLOW_H
#define SLOW_H

void slow_begin(void);

#endif
