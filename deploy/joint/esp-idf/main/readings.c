#include "readings.h"

#include "ntc.h"
#include "pins.h"

#define SAMPLES 16

static adc_oneshot_unit_handle_t unit;

struct input {
    int channel; /* of converter 1; −1: none */
    adc_cali_handle_t calibration; /* null: its chip was never calibrated, and there is no reading */
};

static struct input temperature = {.channel = CONFIG_UJ_ADC_TEMPERATURE};
static struct input supply = {.channel = CONFIG_UJ_ADC_SUPPLY};

static void begin(struct input *input)
{
    const adc_oneshot_chan_cfg_t channel = {.atten = ADC_ATTEN_DB_12, .bitwidth = ADC_BITWIDTH_DEFAULT};
    if (input->channel < 0) {
        return;
    }
    ESP_ERROR_CHECK(adc_oneshot_config_channel(unit, (adc_channel_t)input->channel, &channel));
#if ADC_CALI_SCHEME_CURVE_FITTING_SUPPORTED
    const adc_cali_curve_fitting_config_t fitting = {.unit_id = ADC_UNIT_1,
                                                     .chan = (adc_channel_t)input->channel,
                                                     .atten = ADC_ATTEN_DB_12,
                                                     .bitwidth = ADC_BITWIDTH_DEFAULT};
    const esp_err_t made = adc_cali_create_scheme_curve_fitting(&fitting, &input->calibration);
#else
    const adc_cali_line_fitting_config_t fitting = {
        .unit_id = ADC_UNIT_1, .atten = ADC_ATTEN_DB_12, .bitwidth = ADC_BITWIDTH_DEFAULT};
    const esp_err_t made = adc_cali_create_scheme_line_fitting(&fitting, &input->calibration);
#endif
    if (made != ESP_OK) {
        ESP_LOGE("readings", "Input %d of the converter has no calibration: %s.", input->channel, esp_err_to_name(made));
        input->calibration = NULL;
    }
}

void readings_begin(void)
{
    const adc_oneshot_unit_init_cfg_t configuration = {.unit_id = ADC_UNIT_1, .ulp_mode = ADC_ULP_MODE_DISABLE};
    ESP_ERROR_CHECK(adc_oneshot_new_unit(&configuration, &unit));
    begin(&temperature);
    begin(&supply);
}

/* The mean of some samples, mV at the pin. */
static bool measure(const struct input *input, int *millivolts)
{
    int sum = 0;
    if (input->channel < 0 || input->calibration == NULL) {
        return false;
    }
    for (int i = 0; i < SAMPLES; i++) {
        int raw;
        int one;
        if (adc_oneshot_read(unit, (adc_channel_t)input->channel, &raw) != ESP_OK ||
            adc_cali_raw_to_voltage(input->calibration, raw, &one) != ESP_OK) {
            return false;
        }
        sum += one;
    }
    *millivolts = sum / SAMPLES;
    return true;
}

bool readings_temperature(int16_t *centi_c)
{
    int millivolts;
    return measure(&temperature, &millivolts) && uj_ntc_read(millivolts, CONFIG_UJ_ADC_FULL_MV, centi_c);
}

bool readings_supply(uint16_t *millivolts)
{
    int at_pin;
    if (!measure(&supply, &at_pin)) {
        return false;
    }
    const int64_t before = (int64_t)at_pin * CONFIG_UJ_SUPPLY_DIVIDER_PERCENT / 100;
    *millivolts = before > UINT16_MAX ? UINT16_MAX : (uint16_t)before;
    return true;
}

int8_t readings_rssi(void)
{
    wifi_ap_record_t station;
    return esp_wifi_sta_get_ap_info(&station) == ESP_OK ? station.rssi : 0;
}
