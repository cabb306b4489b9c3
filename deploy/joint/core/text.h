/* Sentences for people, put together without a library for it. */
#ifndef UJ_TEXT_H
#define UJ_TEXT_H

#include <stddef.h>
#include <stdint.h>

#include "reports.h"

/* A sentence that is being written; what does not fit is cut off. `bytes` ends with 0 at all times. */
struct uj_text {
    size_t length;
    char bytes[UJ_SENTENCE_BYTES];
};

/* Begins with these words. */
struct uj_text uj_text(const char *words);

void uj_text_words(struct uj_text *text, const char *words);

void uj_text_number(struct uj_text *text, int64_t number);

/* Copies a finished sentence. */
void uj_text_copy(char to[UJ_SENTENCE_BYTES], const char *words);

#endif
