"""Where the sun stands, when it rises and sets, and the instants of a day. Alone calls pvlib's sun position.

All arithmetic is in UTC; local time is for people. pvlib is imported where it is used: it takes more than a second.
"""

import datetime as dt
import functools
import zoneinfo
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from raytrace.arrays import Floats
from tracking.sky.site import Site

AIR_TEMPERATURE = 12.0
"""Air temperature for refraction [degC]: pvlib's default, a yearly mean of temperate climates."""
DELTA_T = 67.0
"""Terrestrial time less UT [s], that of the worked example in NREL/TP-560-34302; 5 s more move the sun by 6e-5 deg."""
RISE_ELEVATION = -0.8333
"""Elevation of the sun's centre without refraction at sunrise and sunset [deg]: 34' of refraction, 16' of half-disc.
J. Meeus, Astronomical Algorithms, 2nd ed. 1998, ch. 15 (value from memory, to be confirmed)."""

_SCAN_STEP = 240.0
"""Step of the search for sunrise and sunset [s]; a shorter dip below the horizon is not seen."""
_FINE_POINTS = 33
"""Points that such a step is cut into: between two of them, 7.5 s apart, the sun moves straight on to 1e-6 deg."""
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SunPath:
    """Positions of the sun, one an instant. Angles in [deg], azimuth clockwise from north.

    `elevation` is apparent, refraction included once; `true_zenith` is without refraction.
    """

    times_utc: npt.NDArray[np.datetime64]
    azimuth: Floats
    elevation: Floats
    true_zenith: Floats

    def __len__(self) -> int:
        return len(self.times_utc)

    @property
    def is_up(self) -> npt.NDArray[np.bool_]:
        """Whether some of the disc stands above the horizon, as at sunrise and sunset."""
        return np.asarray(90.0 - self.true_zenith >= RISE_ELEVATION)


@dataclass(frozen=True, kw_only=True, slots=True)
class SunEvents:
    """What the sun does on one civil day of a site. Instants are aware UTC.

    `sunrise` is the first one of the day, `sunset` the last one, `transit` the passage
    through the upper meridian (true noon); each is None where there is none on that date, `transit` also where the sun
    stays down. `up` lists the spans with the sun up, cut at the
    two midnights; `day` is the civil day itself, 23 to 25 hours long.
    """

    day: tuple[dt.datetime, dt.datetime]
    up: tuple[tuple[dt.datetime, dt.datetime], ...]
    sunrise: dt.datetime | None
    sunset: dt.datetime | None
    transit: dt.datetime | None

    @property
    def sun_is_up_all_day(self) -> bool:
        """Polar day: the sun neither rises nor sets."""
        return self.up == (self.day,)

    @property
    def sun_stays_down(self) -> bool:
        """Polar night: no instant with the sun up."""
        return not self.up


def sun_path(
    site: Site,
    times: Iterable[dt.datetime],
    *,
    pressure: float | None = None,
    air_temperature: float = AIR_TEMPERATURE,
) -> SunPath:
    """Position of the sun at each instant.

    Parameters
    ----------
    site : Site
        Where.
    times : (n,) aware datetime in UTC, or a DatetimeIndex in UTC
        When. Instants without a zone or in another zone are refused, as pvlib would read them as UTC.
    pressure : float, optional
        Air pressure [Pa]; by default that of the standard atmosphere at the site's altitude.
    air_temperature : float
        For refraction [degC].

    Returns
    -------
    SunPath
        Arrays (n,).

    Raises
    ------
    ValueError
        If an instant is not aware UTC.

    Notes
    -----
    I. Reda and A. Andreas, "Solar position algorithm for solar radiation applications", NREL/TP-560-34302, 2008, in
    pvlib's implementation.
    """
    seconds = np.array([_utc_seconds(time) for time in times], dtype=np.float64)
    return _sun_path_at(site, seconds, pressure=pressure, air_temperature=air_temperature)


DAYS_REMEMBERED = 512
"""More than a year's."""


@functools.lru_cache(maxsize=DAYS_REMEMBERED)
def sun_events(site: Site, date: dt.date) -> SunEvents:
    """Sunrise, sunset and transit on a civil day of the site, found on the sun's path over that very day.

    Remembered, as a day's table, its plan and its sheet all ask for them. The day runs from local midnight to local
    midnight, so the events belong to the date asked for at any longitude and any clock. Sunrise and sunset are those
    of the upper limb with mean refraction (RISE_ELEVATION).

    Raises
    ------
    ValueError
        If the date does not exist on the site's clock (a few places have skipped a day).
    """
    start, end = civil_day(site.zone, date)
    first, last = start.timestamp(), end.timestamp()
    seconds = np.linspace(first, last, int(np.ceil((last - first) / _SCAN_STEP)) + 1)
    scan = _sun_path_at(site, seconds)
    height, east = _height_above_rise(scan), _eastward(scan)
    sign_changes = np.flatnonzero((height[:-1] >= 0.0) != (height[1:] >= 0.0))
    crossings = _crossings(site, _height_above_rise, seconds[sign_changes], seconds[sign_changes + 1])
    rising = height[sign_changes + 1] >= 0.0
    noons = np.flatnonzero((east[:-1] >= 0.0) & (east[1:] < 0.0))
    transits = _crossings(site, _eastward, seconds[noons], seconds[noons + 1])

    edges = [first, *crossings, last] if height[0] >= 0.0 else [*crossings, last]
    if height[-1] < 0.0:
        edges = edges[:-1]
    up = tuple((_utc(a), _utc(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)
    rises, sets = crossings[rising], crossings[~rising]
    return SunEvents(
        day=(start, end),
        up=tuple((max(start, a), min(end, b)) for a, b in up),
        sunrise=_utc(rises[0]) if len(rises) else None,
        sunset=_utc(sets[-1]) if len(sets) else None,
        transit=_utc(transits[0]) if len(transits) and up else None,
    )


def day_instants(site: Site, date: dt.date, step: dt.timedelta) -> list[dt.datetime]:
    """Instants of a civil day with the sun up, at whole multiples of the step in local clock time.

    Parameters
    ----------
    site : Site
        Where.
    date : date
        A civil date on the site's clock.
    step : timedelta
        Counted on the clock from local midnight; more than 0, at most a day.

    Returns
    -------
    list of aware local datetime
        In order of time, sunrise and sunset included where they fall on a multiple. Clock times that the start of
        daylight saving skips are left out, those that its end repeats come twice. Empty where the sun stays down.

    Raises
    ------
    ValueError
        If the step is not in range, or the date does not exist on the site's clock.
    """
    if not dt.timedelta(0) < step <= _DAY:
        raise ValueError(f"step must be more than 0 and at most 24 h, got {step.total_seconds():g} s.")
    spans = sun_events(site, date).up
    return [
        instant.astimezone(site.zone)
        for instant in clock_multiples(site.zone, date, step)
        if any(start <= instant <= end for start, end in spans)
    ]


def civil_day(zone: zoneinfo.ZoneInfo, date: dt.date) -> tuple[dt.datetime, dt.datetime]:
    """First instant of a civil date and first instant of the next, aware UTC; 23 to 25 hours apart as a rule.

    Raises
    ------
    ValueError
        If the clock of that zone skips the date.
    """
    # A midnight that does not exist is read with the offset before the change, which gives the change itself.
    start, end = (dt.datetime.combine(day, dt.time(), tzinfo=zone).astimezone(dt.UTC) for day in (date, date + _DAY))
    if start >= end:
        raise ValueError(f"{date.isoformat()} does not exist on the clock of {zone.key}: that day was skipped there.")
    return start, end


def clock_multiples(zone: zoneinfo.ZoneInfo, date: dt.date, step: dt.timedelta) -> Sequence[dt.datetime]:
    """All instants of a civil date at whole multiples of the step on the clock, aware UTC, in order of time."""
    midnight = dt.datetime.combine(date, dt.time())
    found: set[dt.datetime] = set()
    for count in range(-(-_DAY // step)):
        wall = midnight + count * step  # plain clock arithmetic: no zone yet
        for fold in (0, 1):
            instant = wall.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC)
            if instant.astimezone(zone).replace(tzinfo=None) == wall:  # else the clock skips this time
                found.add(instant)
    return sorted(found)


def _utc_seconds(time: dt.datetime) -> float:
    zone = time.tzinfo
    if zone is None or zone.utcoffset(None) != dt.timedelta(0):
        raise ValueError(
            f"times must be aware and in UTC, got {time.isoformat()}"
            f"{' without a zone' if zone is None else ''}: write time.astimezone(datetime.UTC)."
        )
    return time.timestamp()


def _utc(seconds: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(round(seconds, 3), tz=dt.UTC)


def _sun_path_at(
    site: Site, seconds: Floats, *, pressure: float | None = None, air_temperature: float = AIR_TEMPERATURE
) -> SunPath:
    times = np.round(seconds * 1e9).astype("int64").astype("datetime64[ns]")
    if len(seconds) == 0:
        empty = np.zeros(0)
        return SunPath(times_utc=times, azimuth=empty, elevation=empty, true_zenith=empty)
    import pandas as pd
    from pvlib.atmosphere import alt2pres
    from pvlib.solarposition import spa_python

    table = spa_python(
        pd.DatetimeIndex(times, tz="UTC"),
        site.latitude,
        site.longitude,
        altitude=site.altitude,
        pressure=float(alt2pres(site.altitude)) if pressure is None else pressure,
        temperature=air_temperature,
        delta_t=DELTA_T,
    )
    return SunPath(
        times_utc=times,
        azimuth=table["azimuth"].to_numpy(dtype=np.float64) % 360.0,
        elevation=table["apparent_elevation"].to_numpy(dtype=np.float64),
        true_zenith=table["zenith"].to_numpy(dtype=np.float64),
    )


def _height_above_rise(path: SunPath) -> Floats:
    return np.asarray(90.0 - path.true_zenith - RISE_ELEVATION)


def _eastward(path: SunPath) -> Floats:
    """East component of the sun vector: from plus to minus as the sun passes the upper meridian, anywhere on earth."""
    return np.asarray(np.sin(np.radians(path.azimuth)) * np.sin(np.radians(path.true_zenith)))


def _crossings(site: Site, quantity: Callable[[SunPath], Floats], before: Floats, after: Floats) -> Floats:
    """Instants (n,) [s] at which a quantity of the sun changes its sign, one between each `before` and `after`."""
    if len(before) == 0:
        return before
    seconds = np.linspace(before, after, _FINE_POINTS, axis=1)
    values = quantity(_sun_path_at(site, seconds.ravel())).reshape(seconds.shape)
    changed = (values >= 0.0) != (values[:, :1] >= 0.0)
    right = np.where(changed.any(axis=1), np.argmax(changed, axis=1), _FINE_POINTS - 1)
    rows = np.arange(len(seconds))
    low, high = values[rows, right - 1], values[rows, right]
    share = np.where(high != low, low / np.where(high != low, low - high, 1.0), 0.5)
    return np.asarray(seconds[rows, right - 1] + share * (seconds[rows, right] - seconds[rows, right - 1]))
