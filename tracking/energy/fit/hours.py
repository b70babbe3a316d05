"""The hours that a design is judged by: sun and sky of a day, a month or a year, and the light on the lens then."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats, Ints
from tracking.mount import MIN_ELEVATION, Mount, Setting, aim_path, lens_angles
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import sun_path
from tracking.sky.weather import direct_normal_irradiance, read_weather

YEAR_STEP, MONTH_STEP, DAY_STEP = dt.timedelta(minutes=20), dt.timedelta(minutes=5), dt.timedelta(minutes=2)
"""Time that one position of the sun stands for; some ten thousand positions a year, some hundred a day."""


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
    """Positions of the sun of a span, n of them, each for `seconds`: those with the sun high enough and some DNI.

    Angles in [deg], `dni` in [W/m2]; `month` from 1; `day` counts from the first one of the span. `days` are all days
    of the span, `hours_without_dni` what a weather file lacks.
    """

    span: Span
    seconds: float
    days: int
    month: Ints
    day: Ints
    azimuth: Floats
    elevation: Floats
    dni: Floats
    hours_without_dni: float

    def __len__(self) -> int:
        return len(self.dni)

    def of_month(self, month: int) -> "Hours":
        """Those of one month alone, 1 to 12."""
        first, end = Span(year=self.span.year, month=month).limits()
        which = self.month == month
        return Hours(
            span=Span(year=self.span.year, month=month),
            seconds=self.seconds,
            days=(end - first).days,
            month=self.month[which],
            day=self.day[which] - self.day[which].min(initial=0),
            azimuth=self.azimuth[which],
            elevation=self.elevation[which],
            dni=self.dni[which],
            hours_without_dni=0.0,
        )


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
        seconds=span.step.total_seconds(),
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
    """Tilt and swivel (n,) each [deg] of a lens that is kept aimed."""
    return settings_arrays(aim_path(mount, hours.azimuth, hours.elevation))


def settings_arrays(settings: Sequence[Setting | None]) -> tuple[Floats, Floats]:
    """Tilts and swivels (n,) of settings [deg]; flat where there is none."""
    known = [setting or Setting(0.0, 0.0) for setting in settings]
    return np.array([s.tilt for s in known]), np.array([s.swivel for s in known])
