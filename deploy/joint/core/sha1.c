#include "sha1.h"

#include <string.h>

#include "bytes.h"

#define BLOCK_BYTES 64

static uint32_t rotate(uint32_t x, unsigned by)
{
    return x << by | x >> (32 - by);
}

static void take_block(uint32_t hash[5], const uint8_t block[BLOCK_BYTES])
{
    uint32_t schedule[80];
    uint32_t a = hash[0];
    uint32_t b = hash[1];
    uint32_t c = hash[2];
    uint32_t d = hash[3];
    uint32_t e = hash[4];
    for (size_t t = 0; t < 16; t++) {
        schedule[t] = uj_get_u32(block + 4 * t);
    }
    for (size_t t = 16; t < 80; t++) {
        schedule[t] = rotate(schedule[t - 3] ^ schedule[t - 8] ^ schedule[t - 14] ^ schedule[t - 16], 1);
    }
    for (size_t t = 0; t < 80; t++) {
        uint32_t mixed;
        if (t < 20) {
            mixed = ((b & c) | (~b & d)) + 0x5a827999;
        } else if (t < 40) {
            mixed = (b ^ c ^ d) + 0x6ed9eba1;
        } else if (t < 60) {
            mixed = ((b & c) | (b & d) | (c & d)) + 0x8f1bbcdc;
        } else {
            mixed = (b ^ c ^ d) + 0xca62c1d6;
        }
        mixed += rotate(a, 5) + e + schedule[t];
        e = d;
        d = c;
        c = rotate(b, 30);
        b = a;
        a = mixed;
    }
    hash[0] += a;
    hash[1] += b;
    hash[2] += c;
    hash[3] += d;
    hash[4] += e;
}

void uj_sha1(const uint8_t *bytes, size_t length, uint8_t digest[UJ_SHA1_BYTES])
{
    uint32_t hash[5] = {0x67452301, 0xefcdab89, 0x98badcfe, 0x10325476, 0xc3d2e1f0};
    uint8_t block[BLOCK_BYTES] = {0};
    size_t at = 0;
    for (; length - at >= BLOCK_BYTES; at += BLOCK_BYTES) {
        take_block(hash, bytes + at);
    }
    const size_t rest = length - at;
    if (rest > 0) {
        memcpy(block, bytes + at, rest);
    }
    block[rest] = 0x80;
    if (rest >= BLOCK_BYTES - 8) { /* no room for the length */
        take_block(hash, block);
        memset(block, 0, sizeof block);
    }
    uj_put_u64(block + BLOCK_BYTES - 8, (uint64_t)length * 8);
    take_block(hash, block);
    for (size_t i = 0; i < 5; i++) {
        uj_put_u32(digest + 4 * i, hash[i]);
    }
}
