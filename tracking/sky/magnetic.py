"""How far a compass points away from true north, from the World Magnetic Model."""

import datetime as dt
import math
from dataclasses import dataclass

from tracking.sky.site import Site

FIRST_YEAR, LAST_YEAR = 2025.0, 2030.0
"""Years of WMM2025: A. Chulliat et al., The US/UK World Magnetic Model for 2025-2030, NOAA NCEI, 2025."""
COEFFICIENTS = "wmm/WMM_2025.COF"
LEAST_FIELD = 6000.0
"""Level field below which a compass is not to be trusted [nT]: the report's caution zone, where the declination's own
error is above a degree."""
CONSTANT_ERROR, FIELD_ERROR = 0.26, 5417.0
"""The report's error of the declination is sqrt(CONSTANT_ERROR^2 + (FIELD_ERROR / H)^2) deg, H the level field in
[nT]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Declination:
    """Angle from true to magnetic north, east positive, and its standard error, [deg]; level field in [nT]."""

    value: float
    standard_error: float
    level_field: float

    @property
    def compass_is_weak(self) -> bool:
        """Whether the field is so steep here that a compass hardly shows north."""
        return self.level_field < LEAST_FIELD

    def magnetic_azimuth(self, true_azimuth: float) -> float:
        """What a compass reads, in [0, 360), for an azimuth counted from true north [deg].

        Where the needle points 7 deg east of true north, it reads 7 deg less: 93 for true east.
        """
        return (true_azimuth - self.value) % 360.0


def magnetic_declination(site: Site, date: dt.date) -> Declination:
    """Declination at the site on a day, at its altitude [deg].

    Raises
    ------
    ValueError
        If the day lies outside the model's years: the field drifts, and no model foresees it for long.
    """
    first = dt.date(date.year, 1, 1)
    year = date.year + (date - first).days / (dt.date(date.year + 1, 1, 1) - first).days
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(
            f"the magnetic declination is known from {FIRST_YEAR:.0f} to the end of {LAST_YEAR - 1.0:.0f} only (World "
            f"Magnetic Model 2025), got {date.isoformat()}: leave the compass aside and use the sun's shadow."
        )
    return declination_at(site.latitude, site.longitude, site.altitude, year)


def declination_at(latitude: float, longitude: float, altitude: float, year: float) -> Declination:
    """Declination at a latitude and longitude [deg], a height above the ellipsoid [m] and a decimal year."""
    from pygeomag import GeoMag

    field = GeoMag(coefficients_file=COEFFICIENTS).calculate(
        glat=latitude, glon=longitude, alt=altitude / 1e3, time=year
    )
    level = float(field.h)
    return Declination(
        value=float(field.d),
        standard_error=math.hypot(CONSTANT_ERROR, FIELD_ERROR / max(level, 1.0)),
        level_field=level,
    )
