/* The arm's key, from its file. */
#ifndef KEY_FILE_H
#define KEY_FILE_H

#include <stdbool.h>

#include "keys.h"

/* Reads the key. False, having told why on standard error, where there is no such file, it holds no key, or other
 * users of the machine may read it. */
bool key_file_read(const char *path, uint8_t key[UJ_KEY_BYTES]);

#endif
