/*
 * Position of the sun for devices that compute for themselves. This file alone uses floating point.
 *
 * After the low-precision formulas of the Astronomical Almanac as given by J. J. Michalsky, "The Astronomical Almanac's
 * algorithm for approximate solar position (1950-2050)", Solar Energy 40 (1988) 227-235. Stated accuracy here: 0.015 deg
 * in direction from 1950 to 2050, without refraction, with 64-bit double. Where double has 32 bits, as on some 8-bit
 * controllers, the days since 2000 lose their last digits: expect 0.05 deg.
 * Refraction after G. G. Bennett, "The calculation of astronomical refraction in marine navigation", J. Navigation 35
 * (1982) 255-259, in the form for true altitudes of T. Saemundsson (1986); constants from memory, to be confirmed.
 *
 * Caution: a wrong clock or place points the focus elsewhere. Concentrated light burns and starts fires within seconds.
 */
#ifndef FOCALROW_SUN_H
#define FOCALROW_SUN_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

typedef struct {
    double azimuth;   /* deg, clockwise from true north, 0 to 360 */
    double elevation; /* deg above the horizon, with refraction at sea level and 10 degC */
    double true_elevation; /* deg, without refraction */
} focalrow_sun_position;

/* The sun at a time in seconds since 1970-01-01T00:00:00 UTC; latitude north and longitude east positive, in deg. */
focalrow_sun_position focalrow_sun(uint32_t utc, double latitude, double longitude);

#ifdef __cplusplus
}
#endif

#endif
