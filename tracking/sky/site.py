"""A place on the earth and its clock."""

import difflib
import math
import zoneinfo
from dataclasses import dataclass

ALTITUDE_RANGE = (-450.0, 6000.0)
"""Altitudes accepted [m]: a little beyond the lowest shore and the highest towns. Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Site:
    """Where the lens stands: latitude (north positive) and longitude (east positive) in [deg], altitude in [m].

    `timezone` is a name of the IANA time zone database, such as "America/Santiago"; it gives the civil clock,
    daylight saving included.

    Raises
    ------
    ValueError
        If a number lies outside its range or the time zone is not known.
    """

    latitude: float
    longitude: float
    timezone: str
    name: str = ""
    altitude: float = 0.0

    def __post_init__(self) -> None:
        _require_between("Site.latitude", self.latitude, -90.0, 90.0, "deg", "north is positive")
        _require_between("Site.longitude", self.longitude, -180.0, 180.0, "deg", "east is positive")
        _require_between("Site.altitude", self.altitude, *ALTITUDE_RANGE, "m", "it is counted from sea level")
        _require_zone(self.timezone)

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The civil clock of the place."""
        return zoneinfo.ZoneInfo(self.timezone)


def _require_between(name: str, value: float, low: float, high: float, unit: str, why: str) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g} {unit}, got {value!r} {unit}: {why}.")


def _require_zone(name: str) -> None:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError, TypeError, AttributeError):
        known = sorted(zoneinfo.available_timezones())
        by_lower_case = {zone.lower(): zone for zone in known}
        near = difflib.get_close_matches(str(name).lower(), by_lower_case, n=1, cutoff=0.6)
        hint = f' Did you mean "{by_lower_case[near[0]]}"?' if near else ""
        raise ValueError(
            f"Site.timezone must be a name of the IANA time zone database such as "
            f'"America/Santiago", got {name!r}.{hint}'
        ) from None
