#include "ntc.h"

#define COLDEST_C (-20)
#define STEP_CENTI_C 500
#define ROWS 29

/* Voltage ÷ full voltage in 1/65536 at −20 °C, −15 °C, … 120 °C: R ÷ (R + 10 kΩ) with
 * R = 10 kΩ · exp(3950 K · (1/T − 1/298.15 K)). */
static const uint16_t shares[ROWS] = {
    59856, 58080, 55933, 53406, 50512, 47293, 43817, 40171, 36455, 32768,
    29202, 25831, 22706, 19860, 17306, 15040, 13049, 11313, 9807, 8507,
    7387, 6424, 5596, 4885, 4273, 3747, 3294, 2902, 2564,
};

bool uj_ntc_read(int32_t millivolts, int32_t full_mv, int16_t *centi_c)
{
    if (full_mv <= 0 || millivolts < 0 || millivolts > full_mv) {
        return false;
    }
    const int32_t share = (int32_t)((int64_t)millivolts * 65536 / full_mv);
    if (share > shares[0] || share < shares[ROWS - 1]) {
        return false;
    }
    int row = 1;
    while (row < ROWS - 1 && share < shares[row]) {
        row++;
    }
    const int32_t above = shares[row - 1];
    const int32_t span = above - shares[row];
    *centi_c = (int16_t)(100 * COLDEST_C + (row - 1) * STEP_CENTI_C + (above - share) * STEP_CENTI_C / span);
    return true;
}
