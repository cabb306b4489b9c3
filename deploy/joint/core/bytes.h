/* Numbers in bytes: big-endian, signed ones in two's complement. The caller answers for the bounds. */
#ifndef UJ_BYTES_H
#define UJ_BYTES_H

#include <stdint.h>

static inline uint16_t uj_get_u16(const uint8_t *bytes)
{
    return (uint16_t)((uint16_t)bytes[0] << 8 | bytes[1]);
}

static inline uint32_t uj_get_u32(const uint8_t *bytes)
{
    return (uint32_t)uj_get_u16(bytes) << 16 | uj_get_u16(bytes + 2);
}

static inline uint64_t uj_get_u64(const uint8_t *bytes)
{
    return (uint64_t)uj_get_u32(bytes) << 32 | uj_get_u32(bytes + 4);
}

/* A cast of a number that does not fit is the compiler's own affair in C11, so the sign is worked out. */
static inline int32_t uj_get_i32(const uint8_t *bytes)
{
    const uint32_t raw = uj_get_u32(bytes);
    return raw <= INT32_MAX ? (int32_t)raw : -(int32_t)(UINT32_MAX - raw) - 1;
}

static inline int64_t uj_get_i64(const uint8_t *bytes)
{
    const uint64_t raw = uj_get_u64(bytes);
    return raw <= INT64_MAX ? (int64_t)raw : -(int64_t)(UINT64_MAX - raw) - 1;
}

static inline void uj_put_u16(uint8_t *bytes, uint16_t value)
{
    bytes[0] = (uint8_t)(value >> 8);
    bytes[1] = (uint8_t)value;
}

static inline void uj_put_u32(uint8_t *bytes, uint32_t value)
{
    uj_put_u16(bytes, (uint16_t)(value >> 16));
    uj_put_u16(bytes + 2, (uint16_t)value);
}

static inline void uj_put_u64(uint8_t *bytes, uint64_t value)
{
    uj_put_u32(bytes, (uint32_t)(value >> 32));
    uj_put_u32(bytes + 4, (uint32_t)value);
}

/* From signed to unsigned the standard says what happens: two's complement. */
static inline void uj_put_i16(uint8_t *bytes, int16_t value)
{
    uj_put_u16(bytes, (uint16_t)value);
}

static inline void uj_put_i32(uint8_t *bytes, int32_t value)
{
    uj_put_u32(bytes, (uint32_t)value);
}

static inline void uj_put_i64(uint8_t *bytes, int64_t value)
{
    uj_put_u64(bytes, (uint64_t)value);
}

#endif
