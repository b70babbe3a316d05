/* Written by focalrow; focalrow_sun.h says what this is, where it is from and how exact it is. */
#include "focalrow_sun.h"

#include <math.h>

#define DEGREE 0.017453292519943295
#define SECONDS_TO_2000 UINT32_C(946728000) /* 2000-01-01T12:00:00 UTC */

static double wrapped(double angle)
{
    double turned = fmod(angle, 360.0);
    return turned < 0.0 ? turned + 360.0 : turned;
}

focalrow_sun_position focalrow_sun(uint32_t utc, double latitude, double longitude)
{
    focalrow_sun_position found;
    /* Days since noon of 1 January 2000 UTC. */
    double seconds = utc >= SECONDS_TO_2000 ? (double)(utc - SECONDS_TO_2000) : -(double)(SECONDS_TO_2000 - utc);
    double days = seconds / 86400.0;
    double hours = (double)(utc % UINT32_C(86400)) / 3600.0;

    /* Mean longitude, mean anomaly, ecliptic longitude, obliquity. */
    double mean_longitude = wrapped(280.460 + 0.9856474 * days);
    double anomaly = wrapped(357.528 + 0.9856003 * days) * DEGREE;
    double ecliptic = (mean_longitude + 1.915 * sin(anomaly) + 0.020 * sin(2.0 * anomaly)) * DEGREE;
    double obliquity = (23.439 - 0.0000004 * days) * DEGREE;

    double right_ascension = atan2(cos(obliquity) * sin(ecliptic), cos(ecliptic)) / DEGREE;
    double declination = asin(sin(obliquity) * sin(ecliptic));

    /* Sidereal time at Greenwich in deg: 6.697375 h + 0.0657098242 h a day + UT. */
    double sidereal = wrapped(15.0 * (6.697375 + 0.0657098242 * days + hours));
    double hour_angle = wrapped(sidereal + longitude - right_ascension) * DEGREE;

    double phi = latitude * DEGREE;
    double east = -cos(declination) * sin(hour_angle);
    double north = cos(phi) * sin(declination) - sin(phi) * cos(declination) * cos(hour_angle);
    double up = sin(phi) * sin(declination) + cos(phi) * cos(declination) * cos(hour_angle);
    double level = sqrt(east * east + north * north);

    found.azimuth = wrapped(atan2(east, north) / DEGREE);
    found.true_elevation = atan2(up, level) / DEGREE;
    found.elevation = found.true_elevation;
    if (found.true_elevation > -1.0) {
        double bent = (found.true_elevation + 10.3 / (found.true_elevation + 5.11)) * DEGREE;
        found.elevation += 1.02 / tan(bent) / 60.0;
    }
    return found;
}
