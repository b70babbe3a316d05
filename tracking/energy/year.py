"""A year of power and water: each step of the year by the response table and the boiler, summed to months and year."""

import datetime as dt
import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np

from raytrace.arrays import ArrayLike, Floats, Ints
from raytrace.response import Response, TableError
from raytrace.trace import Progress
from tracking.boiler import Boiler
from tracking.energy.steam import Steam, pressure_at, steam_at, water_density
from tracking.energy.tube_times import (
    FILL_MARGIN,
    SAFE_SHOCK,
    cool_down_minutes,
    litres_to_drain,
    share_not_condensed,
    stagnation_temperature,
    warm_up_minutes,
)
from tracking.energy.year_boil import boil, condenser_alarms, feed_alarms
from tracking.energy.year_ledger import LEDGER_RAYS, LedgerOfSteps, ledger_of_steps
from tracking.energy.year_result import Alarm, Design, KeyDay, Period, Steps, Year
from tracking.mount import MIN_ELEVATION, Mount, Setting, aim_path, lens_angles
from tracking.plans.instant import Instant
from tracking.scenefile import SceneFile
from tracking.sky.site import Site
from tracking.sky.sunpath import sun_path
from tracking.sky.weather import WeatherYear, direct_normal_irradiance, read_weather

__all__ = [
    "DISTILLATE_TEMPERATURE", "FILL_MARGIN", "SAFE_SHOCK", "Alarm", "Design", "KeyDay", "Period", "Responds", "Steps",
    "Year", "air_temperatures", "cool_down_minutes", "places_of", "share_not_condensed", "stagnation_temperature",
    "year_of",
]  # fmt: skip

SECONDS_PER_HOUR = 3600.0
STEP_ERROR = 0.003
"""Share by which a year's energies in steps of up to an hour differ from those of fine steps at most; most of it comes
from the first and last step with light. From comparing steps of 15, 30 and 60 min on 24 days of the year."""

DISTILLATE_TEMPERATURE = 20.0
"""At which litres of distillate are measured [degC]."""

SOLSTICES_AND_EQUINOXES = ((3, 20), (6, 21), (9, 22), (12, 21))
"""Month and day; the events themselves fall on these days or the next ones."""


class Responds(Protocol):
    """What is asked of a response table."""

    @property
    def error(self) -> TableError:
        """How far it is from traces."""

    def at(self, transversal: ArrayLike, longitudinal: ArrayLike, tilt: ArrayLike | None = None) -> Response:
        """Fractions of the aperture power at directions of the sun."""


def year_of(
    scene_file: SceneFile, year: int, step: dt.timedelta, table: Responds, *, ledger_rays: int = LEDGER_RAYS,
    progress: Progress | None = None,
) -> Year:
    """The year of a scene.

    Parameters
    ----------
    scene_file
        The scene with its sky, mount and boiler.
    year
        Calendar year of the sun's path; 29 February of a leap year is left out, so that all years have 8760 hours.
    step
        At most an hour and a whole part of it. The sun stands where it is in the middle of each step.
    table
        The scene's response table.
    ledger_rays
        Rays of each trace for the ledger.
    progress
        Told the share that is done.

    Raises
    ------
    InputError
        If the weather file cannot be used.
    ValueError
        If the step is no whole part of an hour.
    """
    seconds = step.total_seconds()
    if not 0.0 < seconds <= SECONDS_PER_HOUR or SECONDS_PER_HOUR % seconds:
        raise ValueError(f"step must be a whole part of an hour, got {seconds:g} s. Allowed: such as 15 min or 1 h.")
    sky, boiler = scene_file.sky, scene_file.boiler
    weather = read_weather(sky.file) if sky.source == "file" and sky.file is not None else None
    offset = weather.utc_offset if weather is not None else _standard_offset(scene_file, year)
    starts = _starts(year, step)
    middles = [start - dt.timedelta(hours=offset) + 0.5 * step for start in starts]
    path = sun_path(scene_file.site, middles)
    gap = weather.lacks_dni(path.times_utc) if weather is not None else np.zeros(len(starts), dtype=bool)
    dni = np.zeros(len(starts))
    if weather is not None:
        dni[~gap] = weather.dni_at(path.times_utc[~gap])
    else:
        dni = direct_normal_irradiance(sky, scene_file.site, path)
    air = air_temperatures(weather, boiler, path.times_utc)
    aimed = (path.elevation >= MIN_ELEVATION) & (dni > 0.0) & ~gap
    chosen = np.flatnonzero(aimed)
    tubes = scene_file.scene.tubes.count
    aperture = np.zeros(len(starts))
    intercepted, absorbed = np.zeros((len(starts), tubes)), np.zeros((len(starts), tubes))
    area = scene_file.scene.lens.width * scene_file.scene.lens.length
    month = np.array([start.month for start in starts])
    day = np.arange(len(starts)) // round(24 * SECONDS_PER_HOUR / seconds)
    places, cosine = _aimed(scene_file.mount, path.azimuth[chosen], path.elevation[chosen], day[chosen])
    aperture[chosen] = area * dni[chosen] * cosine
    if len(chosen):
        response = table.at(places[:, 0], places[:, 1], places[:, 2])
        intercepted[chosen] = aperture[chosen, None] * response.intercepted
        absorbed[chosen] = aperture[chosen, None] * response.absorbed
    aimed &= aperture > 0.0
    steam = steam_at(pressure_at(scene_file.site.altitude))
    boiled = boil(boiler, steam, starts, step, absorbed, air, part_of(progress, 0.0, BOILING_SHARE))
    steps = Steps(
        length=step,
        start_local=tuple(start.replace(tzinfo=None) for start in starts),
        month=month,
        day=day,
        dni=dni,
        is_gap=gap.astype(np.float64),
        aimed=aimed.astype(np.float64),
        air=air,
        aperture=aperture,
        intercepted=intercepted,
        absorbed=absorbed,
        temperature=boiled.temperature,
        steam=boiled.flows["steam"],
        not_condensed=share_not_condensed(boiler, steam, boiled.flows["steam"].sum(axis=1) / seconds, air),
        flows=boiled.flows,
    )
    # A lens that stands still, or does not reach far, has the sun behind it at times.
    before = cosine > 0.0
    ledger, traces = ledger_of_steps(
        scene_file, places[before], chosen[before], aperture, ledger_rays, part_of(progress, BOILING_SHARE, 1.0)
    )

    def period(name: str, which: Floats) -> Period:
        return _period(steps, ledger, area, name, which)

    days = [
        _key_day(dt.date(year, m, d), steps, boiler, period)
        for m, d in SOLSTICES_AND_EQUINOXES
    ]
    design = _design(steps, boiler, steam)
    return Year(
        year=year,
        utc_offset=offset,
        steam=steam,
        steps=steps,
        months=tuple(period(f"{m:02d}", month == m) for m in range(1, 13)),
        total=period(str(year), np.ones(len(starts), dtype=bool)),
        key_days=tuple(days),
        design=design,
        alarms=(*boiled.alarms, *feed_alarms(design, boiler), *condenser_alarms(steps, design, boiler)),
        drains=boiled.drains,
        highest_concentration=boiled.highest_concentration,
        litres_to_drain=litres_to_drain(boiler),
        ledger_traces=traces,
        table_error=table.error.where_lit,
        largest_imbalance=boiled.largest_imbalance,
        weather_file_dni_sum=None if weather is None else float(dni.sum() * seconds / SECONDS_PER_HOUR),
        notes=_notes(scene_file.site, weather, gap, seconds),
    )


BOILING_SHARE = 0.5
"""Share of the time that the boiler takes, for the progress; the rest goes to the traces for the ledger."""


def part_of(progress: Progress | None, first: float, last: float) -> Progress | None:
    """A progress that moves the given one from one share to another."""
    return None if progress is None else lambda share: progress(first + (last - first) * share)


def _aimed(mount: Mount, azimuth: Floats, elevation: Floats, day: Ints) -> tuple[Floats, Floats]:
    """Angles and tilt (m, 3) [deg] as of `places_of` for a lens aimed at the sun, and cosine (m,) of the incidence.

    The cosine is 0 where the sun is not before the lens. Each day begins anew, without turns left over.
    """
    settings: list[Setting | None] = []
    starts = np.flatnonzero(np.diff(day, prepend=-1))
    for first, end in pairwise([*starts, len(day)]):
        settings.extend(aim_path(mount, azimuth[first:end], elevation[first:end]))
    is_aimed = np.array([setting is not None for setting in settings], dtype=bool)
    known = [setting or Setting(0.0, 0.0) for setting in settings]
    tilt, swivel = np.array([each.tilt for each in known]), np.array([each.swivel for each in known])
    angles = lens_angles(mount, tilt, swivel, azimuth, elevation)
    places = np.stack([angles.transversal, angles.longitudinal, tilt], axis=1)
    cosine = np.maximum(np.cos(np.radians(angles.incidence)), 0.0)
    return np.where(is_aimed[:, None], places, 0.0), np.where(is_aimed, cosine, 0.0)


def _starts(year: int, step: dt.timedelta) -> list[dt.datetime]:
    """Starts of all steps on a clock without daylight saving, written as UTC; no 29 February."""
    first = dt.datetime(year, 1, 1, tzinfo=dt.UTC)
    count = (dt.datetime(year + 1, 1, 1, tzinfo=dt.UTC) - first) // step
    return [time for time in (first + k * step for k in range(count)) if (time.month, time.day) != (2, 29)]


def _standard_offset(scene_file: SceneFile, year: int) -> float:
    """Offset of the site's standard time from UTC [h]: the lesser one of January and July."""
    offsets = [dt.datetime(year, month, 15, tzinfo=scene_file.site.zone).utcoffset() for month in (1, 7)]
    return min((offset or dt.timedelta(0)).total_seconds() for offset in offsets) / SECONDS_PER_HOUR


def air_temperatures(
    weather: WeatherYear | None, boiler: Boiler, times: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]]
) -> Floats:
    """Temperature of the air at each instant [degC]; the scene's where the file has none."""
    if weather is None:
        return np.full(len(times), boiler.air_temperature)
    hours = weather.hours_of(times)
    return np.where(weather.has_air_temperature[hours], weather.air_temperature[hours], boiler.air_temperature)


def _notes(
    site: Site, weather: WeatherYear | None, gap: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], seconds: float
) -> tuple[str, ...]:
    if weather is None:
        return ()
    notes = list(weather.notes)
    distance = weather.distance_from(site)
    if distance is not None and distance > FAR:
        station = f"The weather file's station, {weather.place}," if weather.place else "The weather file's station"
        notes.append(f"{station} lies {distance / 1e3:.0f} km from the site: its sun and clouds may be others.")
    if gap.any():
        hours = float(gap.sum() * seconds / SECONDS_PER_HOUR)
        runs = weather.gaps
        more = " and more" if len(runs) > RUNS_NAMED else ""
        notes.append(
            f"{hours:g} hours of the year have no value in the weather file and are skipped, not filled: "
            f"{'; '.join(runs[:RUNS_NAMED])}{more}."
        )
    if not weather.has_air_temperature.all():
        notes.append("Where the weather file has no air temperature, that of the boiler holds.")
    return tuple(notes)


FAR = 50e3
"""Distance of a weather station from which it is told [m]. Common practice, no source: hourly sums of two places so far
apart differ more than those of two good instruments."""

RUNS_NAMED = 6
"""Runs of missing hours that a note spells out."""


def places_of(instants: Sequence[Instant]) -> Floats:
    """Transversal angle, longitudinal angle and tilt of each instant (n, 3) [deg]."""
    return np.array(
        [
            (aim.angles.transversal, aim.angles.longitudinal, aim.setting.tilt) if (aim := instant.aim) else (0, 0, 0)
            for instant in instants
        ],
        dtype=np.float64,
    ).reshape(-1, 3)


def _period(steps: Steps, ledger: LedgerOfSteps, area: float, name: str, which: Floats) -> Period:
    seconds, hours = steps.seconds, steps.seconds / SECONDS_PER_HOUR

    def of(values: Floats) -> tuple[float, ...]:
        return tuple(values[which].sum(axis=0).tolist())

    litres = steps.distillate[which].sum(axis=0) / water_density(DISTILLATE_TEMPERATURE)
    energy = np.where(which, steps.aperture * seconds, 0.0)
    return Period(
        name=name,
        hours_of_use=float(steps.aimed[which].sum() * hours),
        gap_hours=float(steps.is_gap[which].sum() * hours),
        dni_sum=float(steps.dni[which].sum() * hours),
        aperture=float(energy.sum()),
        intercepted=of(steps.intercepted * seconds),
        absorbed=of(steps.absorbed * seconds),
        ledger=ledger.energies(energy),
        steam=of(steps.steam),
        distillate=of(steps.distillate),
        litres=tuple(litres.tolist()),
        litres_per_m2=float(litres.sum()) / area,
        feed=of(steps.flows["feed"]),
        lost=float(steps.flows["lost"][which].sum()),
        lost_on_line=float(steps.flows["lost_on_line"][which].sum()),
    )


def _design(steps: Steps, boiler: Boiler, steam: Steam) -> Design:
    k, tube = np.unravel_index(int(np.argmax(steps.absorbed)), steps.absorbed.shape)
    absorbed, air = float(steps.absorbed[k, tube]), float(steps.air[k])
    boiling = np.array([steam.boiling_point])
    line = boiler.steam_line_loss * max(0.0, steam.boiling_point - air)
    left = absorbed - float(boiler.loss.watts(boiling, air)[0]) - line
    rate = max(0.0, left) / steam.latent_heat
    feed_enthalpy = float(steam.liquid(np.array([boiler.feed_temperature]))[0])
    density = water_density(boiler.feed_temperature)
    fed = max(0.0, left) / (steam.vapour - feed_enthalpy)  # the feed is warmed up at the same time
    water = (boiler.fill if boiler.feeding == "fill" else boiler.water_volume) * density
    row_rate = steps.steam.sum(axis=1) / steps.seconds
    best = int(np.argmax(row_rate))
    duty = float(row_rate[best]) * steam.latent_heat
    room = steam.boiling_point - float(steps.air[best])
    hot = stagnation_temperature(boiler, absorbed, air)
    return Design(
        best_time=steps.start_local[k] if absorbed > 0.0 else None,
        best_tube=int(tube) + 1,
        best_absorbed=absorbed,
        needed_feed=SECONDS_PER_HOUR * fed / density,
        steam_rate=SECONDS_PER_HOUR * fed,
        condenser_duty=duty,
        condenser_needed=duty / room if room > 0.0 else None,
        warm_up=warm_up_minutes(boiler, steam, absorbed, air),
        dry_out=water / rate / 60.0 if rate > 0.0 else None,
        stagnation=hot,
        cool_down=cool_down_minutes(boiler, hot, air),
    )


def _key_day(date: dt.date, steps: Steps, boiler: Boiler, period: Callable[[str, Floats], Period]) -> KeyDay:
    of = np.array([start.date() == date for start in steps.start_local])
    summed = period(f"{date:%d %B}", of)
    lit = np.flatnonzero(of & (steps.aimed > 0.0))
    nothing = KeyDay(
        date=date, period=summed, warm_up=None, first_steam=None, fill_before=None, fill_after=None,
        stagnation=boiler.air_temperature,
    )
    if not len(lit):
        return nothing
    steaming = lit[steps.steam[lit].sum(axis=1) > 0.0]
    first = steps.start_local[int(lit[0])]
    last = steps.start_local[int(lit[-1])] + steps.length
    strongest = float(steps.absorbed[lit].max())
    air = float(steps.air[lit].max())
    hot = stagnation_temperature(boiler, strongest, air)
    cool = cool_down_minutes(boiler, hot, air)
    steam_from = steps.start_local[int(steaming[0])] if len(steaming) else None
    return KeyDay(
        date=date,
        period=summed,
        warm_up=None if steam_from is None else (steam_from - first).total_seconds() / 60.0,
        first_steam=steam_from,
        fill_before=first - FILL_MARGIN,
        fill_after=last + dt.timedelta(minutes=cool) if math.isfinite(cool) else None,
        stagnation=hot,
    )
