/* SHA-256 as FIPS 180-4 has it, section 6.2. Left out where a platform links functions of its own. */
#include <string.h>

#include "bytes.h"
#include "crypto.h"

#define BLOCK_BYTES UJ_SHA256_BLOCK_BYTES

static const uint32_t ROUND[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
};

static uint32_t rotate(uint32_t x, unsigned by)
{
    return x >> by | x << (32 - by);
}

static void take_block(uint32_t hash[8], const uint8_t block[BLOCK_BYTES])
{
    uint32_t schedule[64];
    uint32_t work[8]; /* a to h of the standard */
    for (size_t t = 0; t < 16; t++) {
        schedule[t] = uj_get_u32(block + 4 * t);
    }
    for (size_t t = 16; t < 64; t++) {
        const uint32_t far = schedule[t - 15];
        const uint32_t near = schedule[t - 2];
        schedule[t] = (rotate(near, 17) ^ rotate(near, 19) ^ near >> 10) + schedule[t - 7] +
                      (rotate(far, 7) ^ rotate(far, 18) ^ far >> 3) + schedule[t - 16];
    }
    memcpy(work, hash, sizeof work);
    for (size_t t = 0; t < 64; t++) {
        const uint32_t a = work[0];
        const uint32_t e = work[4];
        const uint32_t choice = (e & work[5]) ^ (~e & work[6]);
        const uint32_t majority = (a & work[1]) ^ (a & work[2]) ^ (work[1] & work[2]);
        const uint32_t first =
            work[7] + (rotate(e, 6) ^ rotate(e, 11) ^ rotate(e, 25)) + choice + ROUND[t] + schedule[t];
        const uint32_t second = (rotate(a, 2) ^ rotate(a, 13) ^ rotate(a, 22)) + majority;
        memmove(work + 1, work, 7 * sizeof work[0]);
        work[4] += first;
        work[0] = first + second;
    }
    for (size_t i = 0; i < 8; i++) {
        hash[i] += work[i];
    }
}

void uj_sha256_begin(struct uj_sha256 *sha)
{
    static const uint32_t START[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                      0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    memcpy(sha->hash, START, sizeof sha->hash);
    sha->total = 0;
}

void uj_sha256_add(struct uj_sha256 *sha, const uint8_t *bytes, size_t length)
{
    size_t used = sha->total % BLOCK_BYTES;
    sha->total += length;
    while (length > 0) {
        const size_t room = BLOCK_BYTES - used;
        const size_t some = length < room ? length : room;
        memcpy(sha->block + used, bytes, some);
        used += some;
        bytes += some;
        length -= some;
        if (used == BLOCK_BYTES) {
            take_block(sha->hash, sha->block);
            used = 0;
        }
    }
}

void uj_sha256_end(struct uj_sha256 *sha, uint8_t digest[UJ_SHA256_BYTES])
{
    size_t used = sha->total % BLOCK_BYTES;
    sha->block[used++] = 0x80;
    if (used > BLOCK_BYTES - 8) { /* no room for the length: it goes into a block of its own */
        memset(sha->block + used, 0, BLOCK_BYTES - used);
        take_block(sha->hash, sha->block);
        used = 0;
    }
    memset(sha->block + used, 0, BLOCK_BYTES - 8 - used);
    uj_put_u64(sha->block + BLOCK_BYTES - 8, sha->total * 8);
    take_block(sha->hash, sha->block);
    for (size_t i = 0; i < 8; i++) {
        uj_put_u32(digest + 4 * i, sha->hash[i]);
    }
}

void uj_crypto_sha256(const struct uj_piece *pieces, size_t count, uint8_t digest[UJ_SHA256_BYTES])
{
    struct uj_sha256 sha;
    uj_sha256_begin(&sha);
    for (size_t i = 0; i < count; i++) {
        uj_sha256_add(&sha, pieces[i].bytes, pieces[i].length);
    }
    uj_sha256_end(&sha, digest);
}
