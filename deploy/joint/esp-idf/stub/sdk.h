/* A stand-in for the SDK, to compile the port where there is none: only what the port uses, written for this purpose by
 * the SDK's published documentation, and only as true as that. It shows slips in the port's own code. Whether names and
 * types are the SDK's is shown by compiling against the SDK itself. */
#ifndef UJ_SDK_STUB_H
#define UJ_SDK_STUB_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/time.h>
#include <sys/types.h>

/* The chip: one of -DCONFIG_IDF_TARGET_ESP32, …_ESP32S3, …_ESP32C3. */
#if defined(CONFIG_IDF_TARGET_ESP32)
#define SOC_TOUCH_SENSOR_SUPPORTED 1
#define SOC_TOUCH_SENSOR_VERSION 1
#define SOC_RMT_MEM_WORDS_PER_CHANNEL 64
#define portNUM_PROCESSORS 2
#elif defined(CONFIG_IDF_TARGET_ESP32S3)
#define SOC_TOUCH_SENSOR_SUPPORTED 1
#define SOC_TOUCH_SENSOR_VERSION 2
#define SOC_USB_SERIAL_JTAG_SUPPORTED 1
#define SOC_RMT_MEM_WORDS_PER_CHANNEL 48
#define ADC_CALI_SCHEME_CURVE_FITTING_SUPPORTED 1
#define portNUM_PROCESSORS 2
#else
#define SOC_USB_SERIAL_JTAG_SUPPORTED 1
#define SOC_RMT_MEM_WORDS_PER_CHANNEL 48
#define ADC_CALI_SCHEME_CURVE_FITTING_SUPPORTED 1
#define portNUM_PROCESSORS 1
#endif

/* Errors, log, chip */
typedef int esp_err_t;
#define ESP_OK 0
#define ESP_FAIL (-1)
#define ESP_ERR_NO_MEM 0x101
#define ESP_ERR_TIMEOUT 0x107
#define ESP_ERR_NVS_NOT_FOUND 0x1102
const char *esp_err_to_name(esp_err_t error);
void stub_check(esp_err_t error);
#define ESP_ERROR_CHECK(expression) stub_check(expression)
__attribute__((format(printf, 2, 3))) void stub_log(const char *tag, const char *format, ...);
#define ESP_LOGE(tag, ...) stub_log(tag, __VA_ARGS__)
typedef enum { ESP_LOG_NONE } esp_log_level_t;
void esp_log_level_set(const char *tag, esp_log_level_t level);
#define IRAM_ATTR
void esp_restart(void) __attribute__((noreturn));
uint32_t esp_random(void);
void esp_fill_random(void *bytes, size_t length);
int64_t esp_timer_get_time(void);
typedef enum { ESP_MAC_WIFI_STA } esp_mac_type_t;
esp_err_t esp_read_mac(uint8_t *mac, esp_mac_type_t type);
typedef struct {
    char version[32];
} esp_app_desc_t;
const esp_app_desc_t *esp_app_get_description(void);
typedef struct {
    uint32_t timeout_ms;
    uint32_t idle_core_mask;
    bool trigger_panic;
} esp_task_wdt_config_t;

/* Tasks */
typedef int BaseType_t;
typedef unsigned UBaseType_t;
typedef uint32_t TickType_t;
typedef struct stub_task *TaskHandle_t;
typedef struct stub_queue *QueueHandle_t;
typedef struct {
    int taken;
} portMUX_TYPE;
#define portMUX_INITIALIZER_UNLOCKED {0}
#define pdTRUE ((BaseType_t)1)
#define pdFALSE ((BaseType_t)0)
#define pdPASS pdTRUE
#define portMAX_DELAY UINT32_MAX
#define pdMS_TO_TICKS(ms) ((TickType_t)(ms))
#define configMAX_PRIORITIES 25
#define tskIDLE_PRIORITY 0
void stub_critical(portMUX_TYPE *lock);
#define portENTER_CRITICAL(lock) stub_critical(lock)
#define portEXIT_CRITICAL(lock) stub_critical(lock)
#define portENTER_CRITICAL_SAFE(lock) stub_critical(lock)
#define portEXIT_CRITICAL_SAFE(lock) stub_critical(lock)
void stub_yield(BaseType_t woken);
#define portYIELD_FROM_ISR(woken) stub_yield(woken)
BaseType_t xTaskCreate(void (*run)(void *), const char *name, uint32_t stack, void *argument, UBaseType_t priority,
                       TaskHandle_t *task);
BaseType_t xTaskCreatePinnedToCore(void (*run)(void *), const char *name, uint32_t stack, void *argument,
                                   UBaseType_t priority, TaskHandle_t *task, BaseType_t core);
TickType_t xTaskGetTickCount(void);
void vTaskDelay(TickType_t ticks);
BaseType_t xTaskDelayUntil(TickType_t *wake, TickType_t ticks);
QueueHandle_t xQueueCreate(UBaseType_t length, UBaseType_t size);
BaseType_t xQueueSend(QueueHandle_t queue, const void *item, TickType_t wait);
BaseType_t xQueuePeek(QueueHandle_t queue, void *item, TickType_t wait);
BaseType_t xQueueReceive(QueueHandle_t queue, void *item, TickType_t wait);
BaseType_t xQueueSendFromISR(QueueHandle_t queue, const void *item, BaseType_t *woken);
esp_err_t esp_task_wdt_reconfigure(const esp_task_wdt_config_t *configuration);
esp_err_t esp_task_wdt_add(TaskHandle_t task);
esp_err_t esp_task_wdt_reset(void);

/* Partitions, and which of them is started */
typedef struct {
    uint32_t address;
    uint32_t size;
    uint32_t erase_size;
    char label[17];
} esp_partition_t;
esp_err_t esp_partition_read(const esp_partition_t *partition, size_t offset, void *bytes, size_t count);
esp_err_t esp_partition_write(const esp_partition_t *partition, size_t offset, const void *bytes, size_t count);
esp_err_t esp_partition_erase_range(const esp_partition_t *partition, size_t offset, size_t count);
typedef enum {
    ESP_OTA_IMG_NEW = 0,
    ESP_OTA_IMG_PENDING_VERIFY = 1,
    ESP_OTA_IMG_VALID = 2,
    ESP_OTA_IMG_INVALID = 3,
    ESP_OTA_IMG_ABORTED = 4,
    ESP_OTA_IMG_UNDEFINED = 0xffffffff
} esp_ota_img_states_t;
const esp_partition_t *esp_ota_get_running_partition(void);
const esp_partition_t *esp_ota_get_boot_partition(void);
const esp_partition_t *esp_ota_get_next_update_partition(const esp_partition_t *from);
esp_err_t esp_ota_get_state_partition(const esp_partition_t *partition, esp_ota_img_states_t *state);
esp_err_t esp_ota_set_boot_partition(const esp_partition_t *partition);
esp_err_t esp_ota_mark_app_valid_cancel_rollback(void);
esp_err_t esp_ota_invalidate_inactive_ota_data_slot(void);

/* Pins, pulse width */
typedef enum { GPIO_NUM_0, GPIO_NUM_MAX = 49 } gpio_num_t;
typedef enum { GPIO_MODE_INPUT = 1, GPIO_MODE_OUTPUT = 2 } gpio_mode_t;
typedef enum { GPIO_PULLUP_DISABLE, GPIO_PULLUP_ENABLE } gpio_pullup_t;
typedef enum { GPIO_PULLDOWN_DISABLE, GPIO_PULLDOWN_ENABLE } gpio_pulldown_t;
typedef enum { GPIO_INTR_DISABLE, GPIO_INTR_ANYEDGE = 3 } gpio_int_type_t;
typedef struct {
    uint64_t pin_bit_mask;
    gpio_mode_t mode;
    gpio_pullup_t pull_up_en;
    gpio_pulldown_t pull_down_en;
    gpio_int_type_t intr_type;
} gpio_config_t;
esp_err_t gpio_config(const gpio_config_t *configuration);
esp_err_t gpio_set_level(gpio_num_t pin, uint32_t level);
int gpio_get_level(gpio_num_t pin);
esp_err_t gpio_install_isr_service(int flags);
esp_err_t gpio_isr_handler_add(gpio_num_t pin, void (*handler)(void *), void *argument);
typedef enum { LEDC_LOW_SPEED_MODE } ledc_mode_t;
typedef enum { LEDC_TIMER_0, LEDC_TIMER_1 } ledc_timer_t;
typedef enum { LEDC_CHANNEL_0, LEDC_CHANNEL_1 } ledc_channel_t;
typedef enum { LEDC_TIMER_10_BIT = 10 } ledc_timer_bit_t;
typedef enum { LEDC_AUTO_CLK } ledc_clk_cfg_t;
typedef struct {
    ledc_mode_t speed_mode;
    ledc_timer_bit_t duty_resolution;
    ledc_timer_t timer_num;
    uint32_t freq_hz;
    ledc_clk_cfg_t clk_cfg;
} ledc_timer_config_t;
typedef struct {
    int gpio_num;
    ledc_mode_t speed_mode;
    ledc_channel_t channel;
    ledc_timer_t timer_sel;
    uint32_t duty;
    int hpoint;
} ledc_channel_config_t;
esp_err_t ledc_timer_config(const ledc_timer_config_t *configuration);
esp_err_t ledc_channel_config(const ledc_channel_config_t *configuration);
esp_err_t ledc_set_duty(ledc_mode_t mode, ledc_channel_t channel, uint32_t duty);
esp_err_t ledc_update_duty(ledc_mode_t mode, ledc_channel_t channel);

/* Pulses */
typedef struct stub_rmt_channel *rmt_channel_handle_t;
typedef struct stub_rmt_encoder *rmt_encoder_handle_t;
typedef enum { RMT_CLK_SRC_DEFAULT } rmt_clock_source_t;
typedef union {
    struct {
        uint32_t duration0 : 15;
        uint32_t level0 : 1;
        uint32_t duration1 : 15;
        uint32_t level1 : 1;
    };
    uint32_t val;
} rmt_symbol_word_t;
typedef size_t (*rmt_encode_simple_cb_t)(const void *data, size_t size, size_t written, size_t space,
                                         rmt_symbol_word_t *symbols, bool *done, void *argument);
typedef struct {
    rmt_encode_simple_cb_t callback;
    void *arg;
    size_t min_chunk_size;
} rmt_simple_encoder_config_t;
typedef struct {
    rmt_symbol_word_t bit0;
    rmt_symbol_word_t bit1;
    struct {
        uint32_t msb_first : 1;
    } flags;
} rmt_bytes_encoder_config_t;
typedef struct {
    gpio_num_t gpio_num;
    rmt_clock_source_t clk_src;
    uint32_t resolution_hz;
    size_t mem_block_symbols;
    size_t trans_queue_depth;
    int intr_priority;
    struct {
        uint32_t invert_out : 1;
    } flags;
} rmt_tx_channel_config_t;
typedef struct {
    int loop_count;
    struct {
        uint32_t eot_level : 1;
        uint32_t queue_nonblocking : 1;
    } flags;
} rmt_transmit_config_t;
esp_err_t rmt_new_tx_channel(const rmt_tx_channel_config_t *configuration, rmt_channel_handle_t *channel);
esp_err_t rmt_new_simple_encoder(const rmt_simple_encoder_config_t *configuration, rmt_encoder_handle_t *encoder);
esp_err_t rmt_new_bytes_encoder(const rmt_bytes_encoder_config_t *configuration, rmt_encoder_handle_t *encoder);
esp_err_t rmt_encoder_reset(rmt_encoder_handle_t encoder);
esp_err_t rmt_enable(rmt_channel_handle_t channel);
esp_err_t rmt_disable(rmt_channel_handle_t channel);
esp_err_t rmt_transmit(rmt_channel_handle_t channel, rmt_encoder_handle_t encoder, const void *payload, size_t size,
                       const rmt_transmit_config_t *configuration);

/* Converter */
typedef enum { ADC_UNIT_1 } adc_unit_t;
typedef enum { ADC_CHANNEL_0, ADC_CHANNEL_9 = 9 } adc_channel_t;
typedef enum { ADC_ATTEN_DB_12 = 3 } adc_atten_t;
typedef enum { ADC_BITWIDTH_DEFAULT } adc_bitwidth_t;
typedef enum { ADC_ULP_MODE_DISABLE } adc_ulp_mode_t;
typedef struct stub_adc *adc_oneshot_unit_handle_t;
typedef struct stub_calibration *adc_cali_handle_t;
typedef struct {
    adc_unit_t unit_id;
    adc_ulp_mode_t ulp_mode;
} adc_oneshot_unit_init_cfg_t;
typedef struct {
    adc_atten_t atten;
    adc_bitwidth_t bitwidth;
} adc_oneshot_chan_cfg_t;
typedef struct {
    adc_unit_t unit_id;
    adc_channel_t chan;
    adc_atten_t atten;
    adc_bitwidth_t bitwidth;
} adc_cali_curve_fitting_config_t;
typedef struct {
    adc_unit_t unit_id;
    adc_atten_t atten;
    adc_bitwidth_t bitwidth;
} adc_cali_line_fitting_config_t;
esp_err_t adc_oneshot_new_unit(const adc_oneshot_unit_init_cfg_t *configuration, adc_oneshot_unit_handle_t *unit);
esp_err_t adc_oneshot_config_channel(adc_oneshot_unit_handle_t unit, adc_channel_t channel,
                                     const adc_oneshot_chan_cfg_t *configuration);
esp_err_t adc_oneshot_read(adc_oneshot_unit_handle_t unit, adc_channel_t channel, int *raw);
esp_err_t adc_cali_raw_to_voltage(adc_cali_handle_t calibration, int raw, int *millivolts);
esp_err_t adc_cali_create_scheme_curve_fitting(const adc_cali_curve_fitting_config_t *configuration,
                                               adc_cali_handle_t *calibration);
esp_err_t adc_cali_create_scheme_line_fitting(const adc_cali_line_fitting_config_t *configuration,
                                              adc_cali_handle_t *calibration);

/* Touch */
#if SOC_TOUCH_SENSOR_SUPPORTED
typedef struct stub_touch_sensor *touch_sensor_handle_t;
typedef struct stub_touch_channel *touch_channel_handle_t;
typedef enum { TOUCH_VOLT_LIM_L_0V5 } touch_volt_lim_l_t;
typedef enum { TOUCH_VOLT_LIM_H_1V7, TOUCH_VOLT_LIM_H_2V2 } touch_volt_lim_h_t;
typedef enum { TOUCH_CHARGE_SPEED_7 = 7 } touch_charge_speed_t;
typedef enum { TOUCH_INIT_CHARGE_VOLT_DEFAULT } touch_init_charge_volt_t;
typedef enum { TOUCH_CHAN_TRIG_GROUP_BOTH = 3 } touch_chan_trig_group_t;
typedef enum { TOUCH_CHAN_DATA_TYPE_SMOOTH = 1 } touch_chan_data_type_t;
typedef struct {
    float duration;
    touch_volt_lim_l_t low;
    touch_volt_lim_h_t high;
} touch_sensor_sample_config_t;
typedef struct {
    uint32_t samples;
    touch_sensor_sample_config_t *sample;
} touch_sensor_config_t;
typedef struct {
    uint32_t interval;
} touch_sensor_filter_config_t;
typedef struct {
#if SOC_TOUCH_SENSOR_VERSION == 1
    uint32_t abs_active_thresh[1];
    touch_chan_trig_group_t group;
#else
    uint32_t active_thresh[1];
#endif
    touch_charge_speed_t charge_speed;
    touch_init_charge_volt_t init_charge_volt;
} touch_channel_config_t;
#define TOUCH_SENSOR_V1_DEFAULT_SAMPLE_CONFIG(duration, low, high) {(duration), (low), (high)}
#define TOUCH_SENSOR_V2_DEFAULT_SAMPLE_CONFIG(duration, low, high) {(duration), (low), (high)}
#define TOUCH_SENSOR_DEFAULT_BASIC_CONFIG(samples, sample) {(samples), (sample)}
#define TOUCH_SENSOR_DEFAULT_FILTER_CONFIG() {10}
esp_err_t touch_sensor_new_controller(const touch_sensor_config_t *configuration, touch_sensor_handle_t *sensor);
esp_err_t touch_sensor_new_channel(touch_sensor_handle_t sensor, int number, const touch_channel_config_t *configuration,
                                   touch_channel_handle_t *channel);
esp_err_t touch_sensor_config_filter(touch_sensor_handle_t sensor, const touch_sensor_filter_config_t *filter);
esp_err_t touch_sensor_enable(touch_sensor_handle_t sensor);
esp_err_t touch_sensor_start_continuous_scanning(touch_sensor_handle_t sensor);
esp_err_t touch_channel_read_data(touch_channel_handle_t channel, touch_chan_data_type_t type, uint32_t *data);
#endif

/* Serial ports */
#if SOC_USB_SERIAL_JTAG_SUPPORTED
typedef struct {
    uint32_t tx_buffer_size;
    uint32_t rx_buffer_size;
} usb_serial_jtag_driver_config_t;
esp_err_t usb_serial_jtag_driver_install(usb_serial_jtag_driver_config_t *configuration);
int usb_serial_jtag_read_bytes(void *bytes, uint32_t length, uint32_t wait);
int usb_serial_jtag_write_bytes(const void *bytes, size_t length, uint32_t wait);
esp_err_t usb_serial_jtag_wait_tx_done(uint32_t wait);
#else
typedef enum { UART_NUM_0 } uart_port_t;
typedef enum { UART_DATA_8_BITS = 3 } uart_word_length_t;
typedef enum { UART_PARITY_DISABLE } uart_parity_t;
typedef enum { UART_STOP_BITS_1 = 1 } uart_stop_bits_t;
typedef enum { UART_HW_FLOWCTRL_DISABLE } uart_hw_flowcontrol_t;
typedef enum { UART_SCLK_DEFAULT = 1 } uart_sclk_t;
typedef struct {
    int baud_rate;
    uart_word_length_t data_bits;
    uart_parity_t parity;
    uart_stop_bits_t stop_bits;
    uart_hw_flowcontrol_t flow_ctrl;
    uart_sclk_t source_clk;
} uart_config_t;
esp_err_t uart_driver_install(uart_port_t port, int in, int out, int events, QueueHandle_t *queue, int flags);
esp_err_t uart_param_config(uart_port_t port, const uart_config_t *configuration);
int uart_read_bytes(uart_port_t port, void *bytes, uint32_t length, uint32_t wait);
int uart_write_bytes(uart_port_t port, const void *bytes, size_t length);
esp_err_t uart_wait_tx_done(uart_port_t port, uint32_t wait);
#endif

/* Store */
typedef uint32_t nvs_handle_t;
typedef enum { NVS_READONLY, NVS_READWRITE, NVS_READWRITE_PURGE } nvs_open_mode_t;
esp_err_t nvs_flash_init(void);
esp_err_t nvs_open(const char *name, nvs_open_mode_t mode, nvs_handle_t *handle);
esp_err_t nvs_get_blob(nvs_handle_t handle, const char *name, void *value, size_t *length);
esp_err_t nvs_set_blob(nvs_handle_t handle, const char *name, const void *value, size_t length);
esp_err_t nvs_commit(nvs_handle_t handle);
void nvs_close(nvs_handle_t handle);

/* Radio, announcement */
typedef const char *esp_event_base_t;
typedef void (*esp_event_handler_t)(void *argument, esp_event_base_t base, int32_t event, void *data);
typedef void *esp_event_handler_instance_t;
typedef struct stub_netif esp_netif_t;
extern esp_event_base_t const WIFI_EVENT, IP_EVENT;
#define ESP_EVENT_ANY_ID (-1)
enum { WIFI_EVENT_STA_START = 2, WIFI_EVENT_STA_CONNECTED = 4, WIFI_EVENT_STA_DISCONNECTED = 5 };
enum { IP_EVENT_STA_GOT_IP = 0, IP_EVENT_STA_LOST_IP = 1 };
typedef enum {
    WIFI_REASON_MIC_FAILURE = 14,
    WIFI_REASON_4WAY_HANDSHAKE_TIMEOUT = 15,
    WIFI_REASON_NO_AP_FOUND = 201,
    WIFI_REASON_AUTH_FAIL = 202,
    WIFI_REASON_HANDSHAKE_TIMEOUT = 204
} wifi_err_reason_t;
esp_err_t esp_event_loop_create_default(void);
esp_err_t esp_event_handler_instance_register(esp_event_base_t base, int32_t event, esp_event_handler_t handler,
                                              void *argument, esp_event_handler_instance_t *instance);
esp_err_t esp_netif_init(void);
esp_netif_t *esp_netif_create_default_wifi_sta(void);
typedef struct {
    uint32_t addr;
} esp_ip4_addr_t;
typedef struct {
    struct {
        esp_ip4_addr_t ip;
    } ip_info;
} ip_event_got_ip_t;
typedef struct {
    uint8_t reason;
} wifi_event_sta_disconnected_t;
typedef struct {
    int magic;
} wifi_init_config_t;
#define WIFI_INIT_CONFIG_DEFAULT() {0}
typedef enum { WIFI_ALL_CHANNEL_SCAN = 1 } wifi_scan_method_t;
typedef enum { WIFI_CONNECT_AP_BY_SIGNAL } wifi_sort_method_t;
typedef enum { WIFI_AUTH_OPEN, WIFI_AUTH_WPA2_PSK = 3 } wifi_auth_mode_t;
typedef enum { WPA3_SAE_PWE_BOTH = 2 } wifi_sae_pwe_method_t;
typedef enum { WIFI_STORAGE_RAM = 1 } wifi_storage_t;
typedef enum { WIFI_MODE_STA = 1 } wifi_mode_t;
typedef enum { WIFI_IF_STA } wifi_interface_t;
typedef enum { WIFI_PS_NONE } wifi_ps_type_t;
typedef union {
    struct {
        uint8_t ssid[32];
        uint8_t password[64];
        wifi_scan_method_t scan_method;
        wifi_sort_method_t sort_method;
        struct {
            wifi_auth_mode_t authmode;
        } threshold;
        struct {
            bool capable;
            bool required;
        } pmf_cfg;
        wifi_sae_pwe_method_t sae_pwe_h2e;
    } sta;
} wifi_config_t;
typedef struct {
    int8_t rssi;
} wifi_ap_record_t;
esp_err_t esp_wifi_init(const wifi_init_config_t *configuration);
esp_err_t esp_wifi_set_storage(wifi_storage_t storage);
esp_err_t esp_wifi_set_mode(wifi_mode_t mode);
esp_err_t esp_wifi_set_config(wifi_interface_t interface, wifi_config_t *configuration);
esp_err_t esp_wifi_start(void);
esp_err_t esp_wifi_connect(void);
esp_err_t esp_wifi_set_ps(wifi_ps_type_t type);
esp_err_t esp_wifi_sta_get_ap_info(wifi_ap_record_t *station);
typedef struct {
    const char *key;
    const char *value;
} mdns_txt_item_t;
esp_err_t mdns_init(void);
esp_err_t mdns_hostname_set(const char *name);
esp_err_t mdns_instance_name_set(const char *name);
esp_err_t mdns_service_add(const char *instance, const char *service, const char *protocol, uint16_t port,
                           mdns_txt_item_t keys[], size_t count);

/* Sockets: POSIX.1 names */
typedef uint32_t socklen_t;
struct in_addr {
    uint32_t s_addr;
};
struct sockaddr {
    uint8_t sa_family;
    char sa_data[14];
};
struct sockaddr_in {
    uint8_t sin_family;
    uint16_t sin_port;
    struct in_addr sin_addr;
};
enum { AF_INET = 2, SOCK_STREAM = 1, SOCK_DGRAM = 2, INADDR_ANY = 0, SOL_SOCKET = 0xfff, SO_REUSEADDR = 4 };
enum { IPPROTO_IP = 0, IPPROTO_TCP = 6, IP_TOS = 1, TCP_NODELAY = 1, MSG_DONTWAIT = 8, MSG_MORE = 16 };
enum { SHUT_WR = 1, SHUT_RDWR = 2 };
#ifndef O_NONBLOCK
#define O_NONBLOCK 1
#endif
#ifndef F_SETFL
#define F_SETFL 4
#endif
uint16_t htons(uint16_t value);
uint32_t htonl(uint32_t value);
uint32_t ntohl(uint32_t value);
int socket(int domain, int kind, int protocol);
int setsockopt(int socket, int level, int option, const void *value, socklen_t length);
int bind(int socket, const struct sockaddr *address, socklen_t length);
int listen(int socket, int waiting);
int accept(int socket, struct sockaddr *address, socklen_t *length);
int shutdown(int socket, int how);
int close(int file);
int fcntl(int file, int command, ...);
ssize_t send(int socket, const void *bytes, size_t length, int flags);
ssize_t recv(int socket, void *bytes, size_t length, int flags);
ssize_t sendto(int socket, const void *bytes, size_t length, int flags, const struct sockaddr *to, socklen_t size);
ssize_t recvfrom(int socket, void *bytes, size_t length, int flags, struct sockaddr *from, socklen_t *size);
int select(int highest, fd_set *readable, fd_set *writable, fd_set *failed, struct timeval *wait);

#endif
