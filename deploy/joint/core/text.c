#include "text.h"

struct uj_text uj_text(const char *words)
{
    struct uj_text text = {.length = 0};
    uj_text_words(&text, words);
    return text;
}

void uj_text_words(struct uj_text *text, const char *words)
{
    while (text->length < UJ_SENTENCE_BYTES - 1 && *words != '\0') {
        text->bytes[text->length++] = *words++;
    }
    text->bytes[text->length] = '\0';
}

void uj_text_number(struct uj_text *text, int64_t number)
{
    char digits[21];
    size_t at = sizeof digits - 1;
    digits[at] = '\0';
    uint64_t rest = number < 0 ? 0 - (uint64_t)number : (uint64_t)number;
    do {
        digits[--at] = (char)('0' + rest % 10);
        rest /= 10;
    } while (rest != 0);
    if (number < 0) {
        digits[--at] = '-';
    }
    uj_text_words(text, &digits[at]);
}

void uj_text_copy(char to[UJ_SENTENCE_BYTES], const char *words)
{
    size_t length = 0;
    while (length < UJ_SENTENCE_BYTES - 1 && words[length] != '\0') {
        to[length] = words[length];
        length++;
    }
    to[length] = '\0';
}
