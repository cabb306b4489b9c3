/* The serial port that the cable is at: the chip's own USB where it has one, else its first UART. */
#ifndef SERIAL_H
#define SERIAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void serial_begin(void);

/* Waits for a byte, so many ms at most; false where none came. */
bool serial_read(uint8_t *byte, uint32_t ms);

/* Writes all of it, or as much as the other end takes within 1 s. */
void serial_write(const uint8_t *bytes, size_t length);

/* Returns once all is out, or after 1 s. */
void serial_drain(void);

#endif
