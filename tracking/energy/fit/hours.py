"""The hours that a design is judged by: sun and sky of a day, a month or a year, and the light on the lens then."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from raytrace.arrays import AnyArray, Floats, Ints
from tracking.mount import MIN_ELEVATION, Mount, Setting, aim_path, lens_angles
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import sun_path
from tracking.sky.weather import direct_normal_irradiance, read_weather

YEAR_STEP, MONTH_STEP, DAY_STEP = dt.timedelta(minutes=10), dt.timedelta(minutes=5), dt.timedelta(minutes=2)
"""Time that one position of the sun stands for; some twenty thousand positions a year, some
hundred a day."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """A year, a month of it or a day of that month, on the site's clock."""

    year: int
    month: int | None = None
    day: int | None = None

    @property
    def text(self) -> str:
        """As it is written: 2026, 2026-06 or 2026-06-21."""
        parts = [f"{self.year:04d}", *(f"{part:02d}" for part in (self.month, self.day) if part is not None)]
        return "-".join(parts)

    def limits(self) -> tuple[dt.date, dt.date]:
        """First day, and the day after the last one."""
        first = dt.date(self.year, self.month or 1, self.day or 1)
        if self.day is not None:
            return first, first + dt.timedelta(days=1)
        if self.month is not None and self.month < 12:
            return first, dt.date(self.year, self.month + 1, 1)
        return first, dt.date(self.year + 1, 1, 1)

    @property
    def step(self) -> dt.timedelta:
        """Time that one position of the sun stands for."""
        return YEAR_STEP if self.month is None else MONTH_STEP if self.day is None else DAY_STEP


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Hours:
    """Positions of the sun of a span, n of them: those with the sun high enough and some DNI.

    `number` counts the steps from the first midnight of the span on; a change of the clock does not move them.
    Angles in [deg], `dni` in [W/m2]; `step` from one to the next, `seconds` that each stands for; `month` from 1; `day`
    counts from the first one of the span. `days` are all days of the span, `hours_without_dni` what a weather file
    lacks.
    """

    span: Span
    step: dt.timedelta
    number: Ints
    seconds: Floats
    days: int
    month: Ints
    day: Ints
    azimuth: Floats
    elevation: Floats
    dni: Floats
    hours_without_dni: float

    def __len__(self) -> int:
        return len(self.dni)

    def only(self, which: AnyArray, span: Span | None = None) -> "Hours":
        """Some of them, picked by index or by a mask (n,); for a shorter span, days are counted anew."""
        days, first = self.days, 0
        if span is not None:
            start, end = span.limits()
            days, first = (end - start).days, (start - self.span.limits()[0]).days
        names = ("seconds", "month", "azimuth", "elevation", "dni")
        arrays = {name: getattr(self, name)[which] for name in names}
        return Hours(
            span=span or self.span,
            step=self.step,
            number=self.number[which] - first * round(dt.timedelta(days=1) / self.step),
            days=days,
            day=self.day[which] - first,
            hours_without_dni=self.hours_without_dni,
            **arrays,
        )

    def of_month(self, month: int) -> "Hours":
        """Those of one month of a year alone, 1 to 12."""
        return self.only(self.month == month, Span(year=self.span.year, month=month))

    @property
    def dni_sum(self) -> float:
        """DNI over all of them [Wh/m2]."""
        return float((self.dni * self.seconds).sum()) / 3600.0


def hours_of(scene_file: SceneFile, span: Span) -> Hours:
    """Sun and sky of a span at the scene's site.

    Raises
    ------
    InputError
        If the weather file cannot be used.
    """
    site, sky = scene_file.site, scene_file.sky
    first, last = span.limits()
    start, end = (dt.datetime.combine(day, dt.time(), tzinfo=site.zone).astimezone(dt.UTC) for day in (first, last))
    middles = [start + (k + 0.5) * span.step for k in range((end - start) // span.step)]
    path = sun_path(site, middles)
    high = path.elevation >= MIN_ELEVATION
    weather = read_weather(sky.file) if sky.source == "file" and sky.file is not None else None
    lacking = weather.lacks_dni(path.times_utc) if weather is not None else np.zeros(len(middles), dtype=bool)
    dni = np.zeros(len(middles))
    if weather is None:
        dni = direct_normal_irradiance(sky, site, path)
    else:
        dni[~lacking] = weather.dni_at(path.times_utc[~lacking])
    use = np.flatnonzero(high & (dni > 0.0))
    local = [middles[k].astimezone(site.zone) for k in use]
    return Hours(
        span=span,
        step=span.step,
        number=use,
        seconds=np.full(len(use), span.step.total_seconds()),
        days=(last - first).days,
        month=np.array([time.month for time in local], dtype=np.int64),
        day=np.array([(time.date() - first).days for time in local], dtype=np.int64),
        azimuth=path.azimuth[use],
        elevation=path.elevation[use],
        dni=dni[use],
        hours_without_dni=float((lacking & high).sum()) * span.step.total_seconds() / 3600.0,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Sunlight:
    """What the aperture gets in each of n positions of the sun, as the mount is moved.

    Angles and settings in [deg], `energy` on the aperture in [J]; 0 where the sun is behind the lens.
    """

    transversal: Floats
    longitudinal: Floats
    tilt: Floats
    swivel: Floats
    energy: Floats

    def only(self, which: AnyArray) -> "Sunlight":
        """Some of the positions, picked by index or by a mask (n,)."""
        names = ("transversal", "longitudinal", "tilt", "swivel", "energy")
        return Sunlight(**{name: getattr(self, name)[which] for name in names})

    @property
    def total(self) -> float:
        """Energy on the aperture [J]."""
        return float(self.energy.sum())


def sunlight(
    scene_file: SceneFile, hours: Hours, tilt: Floats | float, swivel: Floats | float, mount: Mount | None = None
) -> Sunlight:
    """The light on the aperture with the lens at settings of its own at each position, or at one for all [deg]."""
    mount = mount or scene_file.mount
    lens = scene_file.scene.lens
    tilts, swivels = (np.broadcast_to(np.asarray(a, dtype=np.float64), (len(hours),)) for a in (tilt, swivel))
    angles = lens_angles(mount, tilts, swivels, hours.azimuth, hours.elevation)
    before = angles.incidence < MOST_INCIDENCE
    cosine = np.where(before, np.cos(np.radians(angles.incidence)), 0.0)
    return Sunlight(
        transversal=np.where(before, angles.transversal, 0.0),
        longitudinal=np.where(before, angles.longitudinal, 0.0),
        tilt=tilts,
        swivel=swivels,
        energy=hours.dni * lens.width * lens.length * cosine * hours.seconds,
    )


MOST_INCIDENCE = 89.9
"""Beyond this angle [deg] the light on the lens counts as none: its cosine is below 0.002."""


def aimed_settings(mount: Mount, hours: Hours) -> tuple[Floats, Floats]:
    """Tilt and swivel (n,) each [deg] of a lens that is kept aimed; each day begins anew, without turns left over."""
    settings: list[Setting | None] = []
    starts = np.flatnonzero(np.diff(hours.day, prepend=-1))
    for first, end in pairwise([*starts, len(hours)]):
        settings.extend(aim_path(mount, hours.azimuth[first:end], hours.elevation[first:end]))
    return settings_arrays(settings)


def settings_arrays(settings: Sequence[Setting | None]) -> tuple[Floats, Floats]:
    """Tilts and swivels (n,) of settings [deg]; flat where there is none."""
    known = [setting or Setting(0.0, 0.0) for setting in settings]
    return np.array([s.tilt for s in known]), np.array([s.swivel for s in known])
