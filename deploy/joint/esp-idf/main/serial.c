#include "serial.h"

#include "sdk.h"

#define BUFFER_BYTES 256
#define OUT_MS 1000

#if SOC_USB_SERIAL_JTAG_SUPPORTED

void serial_begin(void)
{
    usb_serial_jtag_driver_config_t buffers = {.tx_buffer_size = BUFFER_BYTES, .rx_buffer_size = BUFFER_BYTES};
    ESP_ERROR_CHECK(usb_serial_jtag_driver_install(&buffers));
}

bool serial_read(uint8_t *byte, uint32_t ms)
{
    return usb_serial_jtag_read_bytes(byte, 1, pdMS_TO_TICKS(ms)) == 1;
}

void serial_write(const uint8_t *bytes, size_t length)
{
    (void)usb_serial_jtag_write_bytes(bytes, length, pdMS_TO_TICKS(OUT_MS));
}

void serial_drain(void)
{
    (void)usb_serial_jtag_wait_tx_done(pdMS_TO_TICKS(OUT_MS));
}

#else

void serial_begin(void)
{
    const uart_config_t line = {
        .baud_rate = 115200,
        .data_bits = UART_DATA_8_BITS,
        .parity = UART_PARITY_DISABLE,
        .stop_bits = UART_STOP_BITS_1,
        .flow_ctrl = UART_HW_FLOWCTRL_DISABLE,
        .source_clk = UART_SCLK_DEFAULT,
    };
    ESP_ERROR_CHECK(uart_driver_install(UART_NUM_0, BUFFER_BYTES, 0, 0, NULL, 0));
    ESP_ERROR_CHECK(uart_param_config(UART_NUM_0, &line));
}

bool serial_read(uint8_t *byte, uint32_t ms)
{
    return uart_read_bytes(UART_NUM_0, byte, 1, pdMS_TO_TICKS(ms)) == 1;
}

void serial_write(const uint8_t *bytes, size_t length)
{
    (void)uart_write_bytes(UART_NUM_0, bytes, length);
}

void serial_drain(void)
{
    (void)uart_wait_tx_done(UART_NUM_0, pdMS_TO_TICKS(OUT_MS));
}

#endif
