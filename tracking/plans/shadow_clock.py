"""The shadow of an upright pin or a plumb line: where it falls at each hour of the clock, and when it shows north."""

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from tracking.sky.site import Site
from tracking.sky.sunpath import civil_day, sun_path

LEAST_ELEVATION = 2.0
"""Elevation [deg] below which a shadow is not followed: it is 29 times the pin, far off any page."""

SHORT_ZENITH_DISTANCE = 3.0
"""Zenith distance [deg] within which the noon shadow is too short to show north: 5 % of the line's length. A minute
then turns it by 5 deg and more. Common practice, no source."""

LOW_ELEVATION = 5.0
"""Elevation [deg] below which the noon shadow is too long and faint to mark. Common practice, no source."""

EQUATION_OF_TIME = 20
"""Minutes within which true noon lies from mean noon: the equation of time stays within 16.5 min (J. Meeus,
Astronomical Algorithms, 2nd ed. 1998, ch. 28, value from memory, to be confirmed)."""

DEGREES_PER_HOUR = 15.0
_HALF_MINUTE = dt.timedelta(seconds=30)


def level_shadow(pin_height: float, azimuth: ArrayLike, elevation: ArrayLike) -> tuple[Floats, Floats]:
    """Where the tip's shadow of an upright pin falls on level ground, east and north of its foot, (n,) each.

    Azimuth and elevation are the sun's apparent position [deg]; the elevation must be above 0.
    """
    a, e = (np.radians(np.asarray(angle, dtype=np.float64)) for angle in (azimuth, elevation))
    length = pin_height / np.tan(e)
    return -length * np.sin(a), -length * np.cos(a)


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockSpan:
    """Civil days, both included, on which a clock's noon has one offset from UTC."""

    offset: dt.timedelta
    first: dt.date
    last: dt.date


def clock_spans(site: Site, year: int) -> tuple[ClockSpan, ...]:
    """The offsets of the site's clock through a year, in order: one span, or more where it is changed."""
    first = dt.date(year, 1, 1)
    days = [first + dt.timedelta(days=k) for k in range((dt.date(year + 1, 1, 1) - first).days)]

    def offset(day: dt.date) -> dt.timedelta:
        return dt.datetime.combine(day, dt.time(12), tzinfo=site.zone).utcoffset() or dt.timedelta(0)

    spans = []
    for value, group in itertools.groupby(days, key=offset):
        of_span = list(group)
        spans.append(ClockSpan(offset=value, first=of_span[0], last=of_span[-1]))
    return tuple(spans)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DayCurve:
    """The way of an upright pin's tip's shadow on a day: `points` (n, 2) east and north of the foot, in the pin's unit.

    `hours` holds the full hours of a clock with one offset from UTC, each with its place.
    """

    date: dt.date
    points: Floats
    hours: tuple[tuple[int, tuple[float, float]], ...]


def day_curve(site: Site, date: dt.date, *, pin_height: float, offset: dt.timedelta) -> DayCurve:
    """The shadow's way on a day, every 5 minutes, and at the full hours of a clock at `offset` from UTC."""
    clock = dt.timezone(offset)
    midnight = dt.datetime.combine(date, dt.time(), tzinfo=clock).astimezone(dt.UTC)
    times = [midnight + dt.timedelta(minutes=5 * k) for k in range(24 * 12 + 1)]
    path = sun_path(site, times)
    up = path.elevation >= LEAST_ELEVATION
    east, north = level_shadow(pin_height, path.azimuth[up], path.elevation[up])
    points = np.column_stack([east, north])
    hours = [k // 12 for k in np.flatnonzero(up).tolist() if k % 12 == 0]
    places = [tuple(points[i].tolist()) for i, k in enumerate(np.flatnonzero(up).tolist()) if k % 12 == 0]
    return DayCurve(
        date=date,
        points=points,
        hours=tuple((hour % 24, (x, y)) for hour, (x, y) in zip(hours, places, strict=True)),
    )


NoonState = Literal["shows", "short", "low", "dark"]


@dataclass(frozen=True, kw_only=True, slots=True)
class NoonShadow:
    """The shadow of a plumb line at true noon of a civil day.

    `state`: it shows true north or south; it is too short, with the sun near the zenith; too long, with the sun near
    the horizon; or the sun stays down. `azimuth` is where it points, 0 or 180 [deg], `length` its length over that of
    the line, and `drift` how far it turns in a minute [deg]. All are 0 where the sun stays down, `time` is None then.
    """

    date: dt.date
    state: NoonState
    time: dt.datetime | None
    azimuth: float
    length: float
    drift: float


def noon_shadow(site: Site, date: dt.date) -> NoonShadow:
    """As `noon_shadows`, on one day."""
    return noon_shadows(site, [date])[0]


def noon_shadows(site: Site, dates: Sequence[dt.date]) -> tuple[NoonShadow, ...]:
    """When, and where to, the shadow of a plumb line points along the meridian, on civil days of the site.

    At true noon the sun crosses the meridian: south of the zenith its shadow points to true north, north of it to true
    south. The times are to the second, on the site's clock. Many days at once take little longer than one.

    Raises
    ------
    ValueError
        If the site's clock skips one of the days.
    """
    days = [civil_day(site.zone, date) for date in dates]
    noons = _true_noons(site, days)
    path = sun_path(site, [noon + shift for noon in noons for shift in (-_HALF_MINUTE, dt.timedelta(0), _HALF_MINUTE)])
    azimuths, up = path.azimuth.reshape(-1, 3), path.is_up[1::3]
    return tuple(
        _noon_shadow(site, date, noon, azimuth, float(elevation) if shines else None)
        for date, noon, azimuth, elevation, shines in zip(dates, noons, azimuths, path.elevation[1::3], up, strict=True)
    )


def _true_noons(site: Site, days: Sequence[tuple[dt.datetime, dt.datetime]]) -> list[dt.datetime]:
    """The sun's passage through the upper meridian on each civil day.

    It is sought within EQUATION_OF_TIME of mean noon, where the sun's east component falls through 0; a day whose
    midnight is at noon by the sun may have none or two, and gets the nearest or the first.
    """
    minutes = np.arange(-EQUATION_OF_TIME, EQUATION_OF_TIME + 1)
    around = []
    for start, _ in days:
        midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
        mean = midnight + dt.timedelta(hours=12.0 - site.longitude / DEGREES_PER_HOUR)
        around += [mean + day * dt.timedelta(days=1) for day in (-1, 0, 1, 2)]
    path = sun_path(site, [mean + int(minute) * dt.timedelta(minutes=1) for mean in around for minute in minutes])
    east = np.sin(np.radians(path.azimuth)) * np.sin(np.radians(path.true_zenith))
    passages = []
    for mean, values in zip(around, east.reshape(-1, len(minutes)), strict=True):
        after = int(np.argmax(values < 0.0)) or 1
        share = float(values[after - 1] / (values[after - 1] - values[after]))
        passages.append(mean + dt.timedelta(minutes=float(minutes[after - 1]) + min(max(share, 0.0), 1.0)))
    return [
        min(passages[4 * k : 4 * k + 4], key=lambda noon: max((start - noon), (noon - end), dt.timedelta(0)))
        for k, (start, end) in enumerate(days)
    ]


def _noon_shadow(site: Site, date: dt.date, noon: dt.datetime, azimuth: Floats, elevation: float | None) -> NoonShadow:
    """The shadow at true noon, from the azimuths half a minute before it, then, and half a minute after it [deg]."""
    if elevation is None:
        return NoonShadow(date=date, state="dark", time=None, azimuth=0.0, length=0.0, drift=0.0)
    before, then, after = azimuth.tolist()
    state: NoonState = "shows"
    if 90.0 - elevation < SHORT_ZENITH_DISTANCE:
        state = "short"
    elif elevation < LOW_ELEVATION:
        state = "low"
    return NoonShadow(
        date=date,
        state=state,
        time=(noon + dt.timedelta(milliseconds=500)).replace(microsecond=0).astimezone(site.zone),
        azimuth=0.0 if math.cos(math.radians(then)) < 0.0 else 180.0,
        length=1.0 / math.tan(math.radians(elevation)) if elevation > LEAST_ELEVATION else 0.0,
        drift=abs((after - before + 180.0) % 360.0 - 180.0),
    )
