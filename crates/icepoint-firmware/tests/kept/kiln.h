/* kiln.h: burn-out kiln
 *
 * Made by icepoint 0.1.0 from the chain with fingerprint none.
 * Made, not written: changes are lost when it is made again.
 *
 * Type N, 20 to 1100 degC asked, -1.6 to 1121.6 degC told; 12-bit converter.
 * Result: steps of 1/16 K from 0 degC.
 * Reference junction: 0.0 to 60.0 degC, added as emf.
 * Largest error against the exact inverse of the chain: 0.0948 K, every code walked at 9 reference-junction
 * inputs; at most 0.0981 K for any pair of them.
 * Beside it: one code is 0.297 to 0.448 K, and the parts' own errors (icepoint budget).
 *
 * CAUTION: this is a measurement, not a safety cut-out. A cut-out must be independent of it:
 * own sensor, own circuit, no software. Local codes and licensed practice come first.
 */
#ifndef KILN_H
#define KILN_H

#include <stdint.h>

/* What a result is when there is no temperature: no temperature of the range has it. */
#define KILN_INVALID INT16_MIN
/* Steps of the result in one kelvin; 0 is 0 degC. */
#define KILN_STEPS_PER_KELVIN 16

typedef uint8_t kiln_state;
enum {
    KILN_IN_RANGE = 0, /* the result is a temperature */
    KILN_BELOW = 1, /* colder than the range */
    KILN_ABOVE = 2, /* hotter than the range */
    KILN_SENSOR_OPEN = 3, /* the sensor or its lead is broken */
    KILN_SENSOR_REVERSED = 4, /* below every code of the range: reversed, or colder than the range (a shorted one reads the board's temperature) */
    KILN_CONVERTER_SATURATED = 5, /* the converter is at the end of its codes */
    KILN_JUNCTION_OUT_OF_RANGE = 6, /* the reference junction is outside its range */
    KILN_CALIBRATION_INVALID = 7 /* check value or version of the constants is wrong */
};

/* Constants of one board, for memory that keeps them. */
typedef struct {
    uint16_t version; /* of this layout: 1 */
    uint16_t gain;    /* steps of emf over the converter's span, / 256 */
    int32_t offset;   /* steps of emf */
    uint16_t check;   /* kiln_calibration_check of the eight bytes before it */
} kiln_calibration;

/* As designed; one step of emf is 3.1166 nV. The check is over bytes as they lie in memory. */
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
#define KILN_CALIBRATION_NOMINAL { 1u, 60000u, -1510151L, 0x7eb9u }
#else
#define KILN_CALIBRATION_NOMINAL { 1u, 60000u, -1510151L, 0x8014u }
#endif

/* CRC-16, polynomial 0x1021 from 0xffff, over version, gain and offset as they lie in memory. */
uint16_t kiln_calibration_check(const kiln_calibration *calibration);

/* Temperature for a code of the converter, 0 to 4095.
 * The result is a temperature only when the state is 0; else it is the invalid number.
 * junction: temperature of the reference junction, 1/256 K from 0 degC, 0 to 15360.
 */
kiln_state kiln_temperature(uint16_t code, int16_t junction, const kiln_calibration *calibration, int16_t *result);

/* The same for a code in steps of 1/16, as the filter gives. */
kiln_state kiln_temperature_fine(uint16_t code, int16_t junction, const kiln_calibration *calibration, int16_t *result);

/* The digital filter. Begin with all zeros.
 * One code every 1.0000 ms; the mean of 20 codes spans 20.000 ms, 1.0000 periods of 50 Hz; a result
 * every 20.000 ms.
 */
typedef struct {
    uint32_t sum;
    uint32_t count;
} kiln_filter;

/* Takes a code of the converter; 1 when there is a result for kiln_temperature_fine. */
uint8_t kiln_filter_add(kiln_filter *filter, uint16_t code, uint16_t *fine);

#endif
