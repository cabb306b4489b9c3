/* A stand-in for libsodium's header, of the same kind as sdk.h: what the port uses of it. */
#ifndef UJ_SODIUM_STUB_H
#define UJ_SODIUM_STUB_H

#define crypto_sign_PUBLICKEYBYTES 32U
#define crypto_sign_BYTES 64U
int sodium_init(void);
int crypto_sign_verify_detached(const unsigned char *signature, const unsigned char *message, unsigned long long length,
                                const unsigned char *key);

#endif
