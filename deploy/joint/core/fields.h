/* An object's fields, as a table: which there are, how each is read, and where it goes. */
#ifndef UJ_FIELDS_H
#define UJ_FIELDS_H

#include "json.h"

#define UJ_MAX_FIELDS 32 /* of one object */

struct uj_field {
    const char *name;
    /* Reads a value to `into`; false where it is not one of this field. */
    bool (*read)(const struct uj_field *field, struct uj_json value, void *into);
    size_t offset;  /* of `into` in the object's struct */
    bool optional;  /* may be left out: then nothing is written */
    int64_t low;    /* of an integer; of hex and of what else has one, the number of bytes */
    int64_t high;
};

/* Reads an object into a struct. False where it is no object, lacks a field, has a wrong or an unknown one. */
bool uj_fields_read(struct uj_json object, const struct uj_field *fields, size_t count, void *into);

/* For `read`: an int64_t from low to high; a uint32_t from low to high; hex of `low` bytes. */
bool uj_field_integer(const struct uj_field *field, struct uj_json value, void *into);
bool uj_field_u32(const struct uj_field *field, struct uj_json value, void *into);
bool uj_field_hex(const struct uj_field *field, struct uj_json value, void *into);
/* A string that was looked at already, such as a message's type. */
bool uj_field_known(const struct uj_field *field, struct uj_json value, void *into);

#endif
