/* CRC-32 as in IEEE 802.3: reflected polynomial 0xEDB88320, initial value and final exclusive or 0xFFFFFFFF. */
#ifndef UJ_CRC32_H
#define UJ_CRC32_H

#include <stddef.h>
#include <stdint.h>

uint32_t uj_crc32(const uint8_t *bytes, size_t length);

#endif
