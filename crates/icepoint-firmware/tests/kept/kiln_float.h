/* kiln_float.h: burn-out kiln
 *
 * Made by icepoint 0.1.0 from the chain with fingerprint none.
 * Made, not written: changes are lost when it is made again.
 *
 * Type N, 20 to 1100 degC asked, -1.6 to 1121.6 degC told; 12-bit converter.
 * Result: degC in a float (IEEE 754 single).
 * Largest error against the exact inverse of the chain: 0.0399 K, walked with correctly rounded float.
 * A float that rounds otherwise was measured where it was proved (icepoint firmware --prove).
 * Beside it: one code is 0.297 to 0.448 K, and the parts' own errors (icepoint budget).
 *
 * CAUTION: this is a measurement, not a safety cut-out. A cut-out must be independent of it:
 * own sensor, own circuit, no software. Local codes and licensed practice come first.
 */
#ifndef KILN_FLOAT_H
#define KILN_FLOAT_H

#include <stdint.h>

/* What a result is when there is no temperature: below absolute zero. */
#define KILN_FLOAT_INVALID (-1e3f)

typedef uint8_t kiln_float_state;
enum {
    KILN_FLOAT_IN_RANGE = 0, /* the result is a temperature */
    KILN_FLOAT_BELOW = 1, /* colder than the range */
    KILN_FLOAT_ABOVE = 2, /* hotter than the range */
    KILN_FLOAT_SENSOR_OPEN = 3, /* the sensor or its lead is broken */
    KILN_FLOAT_SENSOR_REVERSED = 4, /* below every code of the range: reversed, or colder than the range (a shorted one reads the board's temperature) */
    KILN_FLOAT_CONVERTER_SATURATED = 5, /* the converter is at the end of its codes */
    KILN_FLOAT_JUNCTION_OUT_OF_RANGE = 6, /* the reference junction is outside its range */
    KILN_FLOAT_CALIBRATION_INVALID = 7 /* check value or version of the constants is wrong */
};

/* Constants of one board, for memory that keeps them. */
typedef struct {
    float gain;       /* mV for a step of the code as the fine entry takes it */
    float offset;     /* mV at a code of 0 */
    uint16_t version; /* of this layout: 1 */
    uint16_t check;   /* kiln_float_calibration_check of the ten bytes before it */
} kiln_float_calibration;

/* As designed. The check is over bytes as they lie in memory. */
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
#define KILN_FLOAT_CALIBRATION_NOMINAL { 7.304464e-4f, -4.7479234e0f, 1u, 0x3bf8u }
#else
#define KILN_FLOAT_CALIBRATION_NOMINAL { 7.304464e-4f, -4.7479234e0f, 1u, 0xa048u }
#endif

/* CRC-16, polynomial 0x1021 from 0xffff, over gain, offset and version as they lie in memory. */
uint16_t kiln_float_calibration_check(const kiln_float_calibration *calibration);

/* Temperature in degC for a code of the converter, 0 to 4095.
 * The result is a temperature only when the state is 0; else it is the invalid number.
 * junction: temperature of the reference junction, 1/256 K from 0 degC.
 */
kiln_float_state kiln_float_temperature(uint16_t code, int16_t junction, const kiln_float_calibration *calibration, float *result);

/* The same for a code in steps of 1/16, as the integer firmware's filter gives. */
kiln_float_state kiln_float_temperature_fine(uint16_t code, int16_t junction, const kiln_float_calibration *calibration, float *result);

#endif
