#include "status.h"

#include "bytes.h"

#define FIELD_TYPE 0xF002
#define FIELD_BYTES (UJ_FIELD_HEAD_BYTES + UJ_STATUS_BYTES)

void uj_status_write(const struct uj_status *status, uint8_t value[UJ_STATUS_BYTES])
{
    uj_put_u32(value, status->boot);
    uj_put_u32(value + 4, status->sequence);
    value[8] = status->state;
    value[9] = status->flags;
    value[10] = status->stop;
    value[11] = status->reason;
    uj_put_u32(value + 12, status->plan);
    uj_put_i64(value + 16, status->permit_us);
    uj_put_u32(value + 24, status->map_number);
    uj_put_i32(value + 28, status->remainder_us);
    uj_put_i64(value + 32, status->position);
    uj_put_i32(value + 40, status->velocity);
    uj_put_i64(value + 44, status->path_us);
    uj_put_u32(value + 52, status->trajectory);
    uj_put_u32(value + 56, status->next_index);
    uj_put_i64(value + 60, status->buffered_us);
    uj_put_i16(value + 68, status->temperature_centi_c);
    uj_put_u16(value + 70, status->supply_mv);
    value[72] = status->fan_percent;
    value[73] = (uint8_t)status->rssi_dbm;
    uj_put_u16(value + 74, status->faults);
    value[76] = status->inputs;
    value[77] = status->outputs;
    uj_put_i16(value + 78, status->touch_turn);
    uj_put_u16(value + 80, status->touch_presses);
    uj_put_u16(value + 82, status->touch_long_presses);
    uj_put_u32(value + 84, status->homing_number);
}

void uj_status_seal(const uint8_t key[UJ_KEY_BYTES], const struct uj_ntp_request *request, int64_t receive_us,
                    int64_t transmit_us, const struct uj_status *status,
                    uint8_t datagram[UJ_STATUS_DATAGRAM_BYTES])
{
    uint8_t *field = datagram + UJ_PACKET_BYTES;
    uint8_t *mac = field + FIELD_BYTES;
    const struct uj_piece message = {datagram, UJ_STATUS_DATAGRAM_BYTES - UJ_TAG_BYTES};
    uj_ntp_reply(request, receive_us, transmit_us, datagram);
    uj_put_u16(field, FIELD_TYPE);
    uj_put_u16(field + 2, FIELD_BYTES);
    uj_status_write(status, field + UJ_FIELD_HEAD_BYTES);
    uj_put_u32(mac, UJ_KEY_IDENTIFIER);
    uj_tag(key, UJ_TO_COORDINATOR, UJ_CHANNEL_DATAGRAMS, &message, 1, mac + 4);
}
