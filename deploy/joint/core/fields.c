#include "fields.h"

bool uj_fields_read(struct uj_json object, const struct uj_field *fields, size_t count, void *into)
{
    uint32_t seen = 0;
    struct uj_json key;
    struct uj_json value;
    if (!uj_json_is_object(object) || count > UJ_MAX_FIELDS) {
        return false;
    }
    for (size_t at = 0; uj_json_next(object, &at, &key, &value);) {
        size_t i = 0;
        while (i < count && !uj_json_is(key, fields[i].name)) {
            i++;
        }
        if (i == count || !fields[i].read(&fields[i], value, (uint8_t *)into + fields[i].offset)) {
            return false;
        }
        seen |= UINT32_C(1) << i;
    }
    for (size_t i = 0; i < count; i++) {
        if (!fields[i].optional && (seen >> i & 1) == 0) {
            return false;
        }
    }
    return true;
}

bool uj_field_integer(const struct uj_field *field, struct uj_json value, void *into)
{
    return uj_json_integer(value, field->low, field->high, into);
}

bool uj_field_u32(const struct uj_field *field, struct uj_json value, void *into)
{
    int64_t number;
    if (!uj_json_integer(value, field->low, field->high, &number)) {
        return false;
    }
    *(uint32_t *)into = (uint32_t)number;
    return true;
}

bool uj_field_hex(const struct uj_field *field, struct uj_json value, void *into)
{
    return uj_json_hex(value, into, (size_t)field->low);
}

bool uj_field_known(const struct uj_field *field, struct uj_json value, void *into)
{
    (void)field;
    (void)value;
    (void)into;
    return true;
}
