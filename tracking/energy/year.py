"""A year of power and water: each step of the year by the response table and the boiler, summed to months and year."""

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from raytrace.arrays import ArrayLike, Floats, Ints
from raytrace.response import Response, TableError
from raytrace.result import LEDGER_ENTRIES
from raytrace.trace import prepare, trace_prepared
from tracking.boiler import Boiler
from tracking.energy.boiler import FLOW_NAMES, Flows, TubeRow
from tracking.energy.steam import Steam, pressure_at, steam_at, water_density
from tracking.mount import MIN_ELEVATION, row_pose
from tracking.plans.day import aperture_power
from tracking.plans.instant import Instant, instants_at
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import sun_path
from tracking.sky.weather import WeatherYear, direct_normal_irradiance, read_weather

SECONDS_PER_HOUR = 3600.0
DISTILLATE_TEMPERATURE = 20.0
"""At which litres of distillate are measured [degC]."""

SAFE_SHOCK = 40.0
"""Difference between a dry tube and the feed up to which it is filled [K]. Common practice, no source; far below what
thin borosilicate glass is said to stand."""

FILL_MARGIN = dt.timedelta(minutes=10)
"""Time between the end of filling and the first light on the tubes. Common practice, no source."""

LEDGER_RAYS = 1 << 14
LEDGER_CELLS = (2.0, 5.0, 10.0)
"""Widths of the cells of transversal angle, longitudinal angle and tilt whose light one trace stands for [deg]."""
MOST_LEDGER_TRACES = 240

SOLSTICES_AND_EQUINOXES = ((3, 20), (6, 21), (9, 22), (12, 21))
"""Month and day; the events themselves fall on these days or the next ones."""


class Responds(Protocol):
    """What is asked of a response table."""

    @property
    def error(self) -> TableError:
        """How far it is from traces."""

    def at(self, transversal: ArrayLike, longitudinal: ArrayLike, tilt: ArrayLike | None = None) -> Response:
        """Fractions of the aperture power at directions of the sun."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Steps:
    """The year's steps, n of them in order of time. Powers in [W], temperatures in [degC], masses in [kg] a step.

    `start_local` is the start of each step on the standard clock; `is_gap` tells where the weather file has no value;
    there everything is 0. `not_condensed` is the share of the steam that the condenser misses.
    """

    length: dt.timedelta
    start_local: tuple[dt.datetime, ...]
    month: Ints
    day: Ints
    dni: Floats
    is_gap: Floats
    aimed: Floats
    air: Floats
    aperture: Floats
    intercepted: Floats
    absorbed: Floats
    temperature: Floats
    steam: Floats
    not_condensed: Floats
    flows: dict[str, Floats]

    @property
    def seconds(self) -> float:
        """Length of a step [s]."""
        return self.length.total_seconds()

    @property
    def distillate(self) -> Floats:
        """Of each tube in each step (n, tubes) [kg]."""
        return self.steam * (1.0 - self.not_condensed[:, None])


@dataclass(frozen=True, kw_only=True, slots=True)
class Period:
    """Sums over a month, a day or the year: [h], [Wh/m2], [J], [kg], [L]; tuples hold a value for each tube.

    `dni_sum` is over all hours with a value; `hours_of_use` those in which the lens is aimed and light is on it.
    `ledger` holds energies; its sum is `aperture`, from traces of their own.
    """

    name: str
    hours_of_use: float
    gap_hours: float
    dni_sum: float
    aperture: float
    intercepted: tuple[float, ...]
    absorbed: tuple[float, ...]
    ledger: dict[str, float]
    steam: tuple[float, ...]
    distillate: tuple[float, ...]
    litres: tuple[float, ...]
    litres_per_m2: float
    feed: tuple[float, ...]
    lost: float
    lost_on_line: float

    @property
    def optical_efficiency(self) -> float | None:
        """Absorbed over aperture energy; None where there is none."""
        return sum(self.absorbed) / self.aperture if self.aperture > 0.0 else None


@dataclass(frozen=True, kw_only=True, slots=True)
class Alarm:
    """Something to be prevented: what, when (standard clock), which tube (from 1; None: all), in words."""

    kind: str
    time: dt.datetime | None
    tube: int | None
    words: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Design:
    """What the best moment of the year asks for, and what happens when water fails there. Rates are of one tube.

    `best_absorbed` [W] is the strongest power on one tube, in the hours of `best_time`; `needed_feed` [L/h];
    `steam_rate` [kg/h]; `condenser_duty` [W] of the row and `condenser_needed` [W/K], None where the air is as hot as
    steam; `warm_up` [min] of that tube from cold; `dry_out` [min] from full when the feed stops; `stagnation` [degC]
    of the tube when dry; `cool_down` [min] of the dry tube, covered, until it may be filled.
    """

    best_time: dt.datetime | None
    best_tube: int
    best_absorbed: float
    needed_feed: float
    steam_rate: float
    condenser_duty: float
    condenser_needed: float | None
    warm_up: float | None
    dry_out: float | None
    stagnation: float
    cool_down: float


@dataclass(frozen=True, kw_only=True, slots=True)
class KeyDay:
    """A solstice or an equinox: its sums, and the times (standard clock) that matter for filling.

    `fill_before` is the latest safe time before the focused hours, `fill_after` the earliest after them for a tube
    that has run dry in the strongest light of the day; None on a day without light.
    """

    date: dt.date
    period: Period
    warm_up: float | None
    first_steam: dt.datetime | None
    fill_before: dt.datetime | None
    fill_after: dt.datetime | None
    stagnation: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Year:
    """All of a year; `largest_imbalance` is the worst of the boiler's balances over the energy that passed."""

    year: int
    utc_offset: float
    steam: Steam
    steps: Steps
    months: tuple[Period, ...]
    total: Period
    key_days: tuple[KeyDay, ...]
    design: Design
    alarms: tuple[Alarm, ...]
    drains: int
    highest_concentration: float
    litres_to_drain: float
    ledger_traces: int
    table_error: float
    largest_imbalance: float
    weather_file_dni_sum: float | None
    notes: tuple[str, ...]


def year_of(
    scene_file: SceneFile, year: int, step: dt.timedelta, table: Responds, *, ledger_rays: int = LEDGER_RAYS
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
    air = _air(weather, boiler, path.times_utc)
    aimed = (path.elevation >= MIN_ELEVATION) & (dni > 0.0) & ~gap
    chosen = np.flatnonzero(aimed)
    instants = instants_at(scene_file, [middles[k] for k in chosen])
    tubes = scene_file.scene.tubes.count
    aperture = np.zeros(len(starts))
    intercepted, absorbed = np.zeros((len(starts), tubes)), np.zeros((len(starts), tubes))
    aperture[chosen] = [aperture_power(scene_file, instant) for instant in instants]
    if len(chosen):
        places = places_of(instants)
        response = table.at(places[:, 0], places[:, 1], places[:, 2])
        intercepted[chosen] = aperture[chosen, None] * response.intercepted
        absorbed[chosen] = aperture[chosen, None] * response.absorbed
    aimed &= aperture > 0.0
    steam = steam_at(pressure_at(scene_file.site.altitude))
    month = np.array([start.month for start in starts])
    day = np.arange(len(starts)) // round(24 * SECONDS_PER_HOUR / seconds)
    boiled = _boil(boiler, steam, starts, step, absorbed, air)
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
    ledger, traces = _ledger(scene_file, instants, chosen, aperture, seconds, ledger_rays)
    area = scene_file.scene.lens.width * scene_file.scene.lens.length

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
        alarms=(*boiled.alarms, *_condenser_alarms(steps, design, boiler)),
        drains=boiled.drains,
        highest_concentration=boiled.highest_concentration,
        litres_to_drain=_litres_to_drain(boiler),
        ledger_traces=traces,
        table_error=table.error.where_lit,
        largest_imbalance=boiled.largest_imbalance,
        weather_file_dni_sum=None if weather is None else float(dni.sum() * seconds / SECONDS_PER_HOUR),
        notes=_notes(weather, gap, seconds),
    )


def _starts(year: int, step: dt.timedelta) -> list[dt.datetime]:
    """Starts of all steps on a clock without daylight saving, written as UTC; no 29 February."""
    first = dt.datetime(year, 1, 1, tzinfo=dt.UTC)
    count = (dt.datetime(year + 1, 1, 1, tzinfo=dt.UTC) - first) // step
    return [time for time in (first + k * step for k in range(count)) if (time.month, time.day) != (2, 29)]


def _standard_offset(scene_file: SceneFile, year: int) -> float:
    """Offset of the site's standard time from UTC [h]: the lesser one of January and July."""
    offsets = [dt.datetime(year, month, 15, tzinfo=scene_file.site.zone).utcoffset() for month in (1, 7)]
    return min((offset or dt.timedelta(0)).total_seconds() for offset in offsets) / SECONDS_PER_HOUR


def _air(weather: WeatherYear | None, boiler: Boiler, times: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]]) -> (
    Floats
):
    """Temperature of the air at each instant [degC]; the scene's where the file has none."""
    if weather is None:
        return np.full(len(times), boiler.air_temperature)
    hours = weather.hours_of(times)
    return np.where(weather.has_air_temperature[hours], weather.air_temperature[hours], boiler.air_temperature)


def _notes(weather: WeatherYear | None, gap: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], seconds: float) -> (
    tuple[str, ...]
):
    if weather is None:
        return ()
    notes = list(weather.notes)
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


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Boiled:
    temperature: Floats
    flows: dict[str, Floats]
    alarms: tuple[Alarm, ...]
    drains: int
    highest_concentration: float
    largest_imbalance: float


def _boil(
    boiler: Boiler, steam: Steam, starts: Sequence[dt.datetime], step: dt.timedelta, absorbed: Floats, air: Floats
) -> _Boiled:
    """The row through all steps: each midnight drained where it is too salty, and filled up where it may be."""
    row = TubeRow(boiler, steam, absorbed.shape[1])
    seconds = step.total_seconds()
    flows = {name: np.zeros(absorbed.shape) for name in FLOW_NAMES}
    temperature = np.zeros(absorbed.shape)
    alarms: list[Alarm] = []
    drains, highest, imbalance, cold = 0, 0.0, 0.0, False

    def booked(k: int, part: Flows) -> None:
        nonlocal imbalance
        for name in FLOW_NAMES:
            flows[name][k] += getattr(part, name)
        passed = np.maximum(part.absorbed + abs(part.lost) + abs(part.stored), 1.0)
        imbalance = max(imbalance, float(np.abs(part.imbalance() / passed).max()))

    for k, start in enumerate(starts):
        if (start.hour, start.minute, start.second) == (0, 0, 0):
            salty = row.concentration > boiler.solids_limit
            if salty.any():
                drains += int(salty.sum())
                if not any(alarm.kind == "solids" for alarm in alarms):
                    alarms.append(_solids_alarm(start, salty))
                booked(k, row.drain(salty))
                booked(k, row.fill_up(math.inf, salty))  # let in while warm water runs out: no shock
            booked(k, row.fill_up(SAFE_SHOCK))
        part = row.advance(seconds, absorbed[k], float(air[k]))
        booked(k, part)
        temperature[k] = row.temperature
        highest = max(highest, float(row.concentration.max()))
        for tube in np.flatnonzero(np.isfinite(part.dry_after)):
            time = (start + dt.timedelta(seconds=float(part.dry_after[tube]))).replace(tzinfo=None)
            words = f"Tube {tube + 1} runs dry on {time:%d %B} at {time:%H:%M}, with the sun on it."
            alarms.append(Alarm(kind="dry", time=time, tube=int(tube) + 1, words=words))
        if not cold and float(row.temperature[~row.dry].min(initial=1.0)) < 0.0:
            cold = True
            words = f"Water in a tube may freeze, first on {start:%d %B} at {start:%H:%M}: drain tubes before frost."
            alarms.append(Alarm(kind="frost", time=start.replace(tzinfo=None), tube=None, words=words))
    return _Boiled(
        temperature=temperature,
        flows=flows,
        alarms=tuple(alarms),
        drains=drains,
        highest_concentration=highest,
        largest_imbalance=imbalance,
    )


def _solids_alarm(start: dt.datetime, salty: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Alarm:
    first = int(np.flatnonzero(salty)[0])
    words = (
        f"Tube {first + 1} is past the limit of dissolved solids by the evening before {start:%d %B}: drain and refill "
        f"it, cold."
    )
    return Alarm(kind="solids", time=start.replace(tzinfo=None), tube=first + 1, words=words)


def _condenser_alarms(steps: Steps, design: Design, boiler: Boiler) -> list[Alarm]:
    worst = int(np.argmax(steps.not_condensed))
    if steps.not_condensed[worst] <= 0.0:
        return []
    needed = "" if design.condenser_needed is None else f"; the best hour needs {design.condenser_needed:.3g} W/K"
    words = (
        f"The condenser of {boiler.condenser_conductance:g} W/K is too small: at worst, on "
        f"{steps.start_local[worst]:%d %B} at {steps.start_local[worst]:%H:%M}, "
        f"{100 * steps.not_condensed[worst]:.0f} % of the steam escapes{needed}."
    )
    return [Alarm(kind="condenser", time=steps.start_local[worst], tube=None, words=words)]


def share_not_condensed(boiler: Boiler, steam: Steam, steam_rate: Floats, air: Floats) -> Floats:
    """Share of the row's steam (n,) that the condenser misses: it carries off conductance x (boiling point - air)."""
    if boiler.condenser_conductance is None:
        return np.zeros_like(air)
    carried = boiler.condenser_conductance * np.maximum(steam.boiling_point - air, 0.0)
    duty = steam_rate * steam.latent_heat
    return np.where(duty > carried, 1.0 - carried / np.maximum(duty, carried + 1e-12), 0.0)


def _litres_to_drain(boiler: Boiler) -> float:
    """Distillate of one full tube, its level held, until its water is as concentrated as the limit [L]."""
    if boiler.dissolved_solids <= 0.0:
        return math.inf
    growth = boiler.solids_limit / boiler.dissolved_solids - 1.0
    if boiler.feeding == "level":
        return boiler.water_volume * growth
    return boiler.fill * (1.0 - boiler.dissolved_solids / boiler.solids_limit)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _LedgerOfSteps:
    """Ledger fractions (cells, entries), and which cell each step belongs to, -1 where nothing is aimed."""

    fractions: Floats
    cell: Ints

    def energies(self, energy: Floats) -> dict[str, float]:
        """Energies (n,) [J] of the steps, shared out to the entries."""
        lit = self.cell >= 0
        weights = np.bincount(self.cell[lit], energy[lit], minlength=len(self.fractions))
        return dict(zip(LEDGER_ENTRIES, (weights @ self.fractions).tolist(), strict=True))


def _ledger(
    scene_file: SceneFile, instants: Sequence[Instant], chosen: Ints, aperture: Floats, seconds: float, rays: int
) -> tuple[_LedgerOfSteps, int]:
    """Ledgers of coarse direct traces, one for each cell of angles that the year's sun comes through."""
    del seconds
    cell = np.full(len(aperture), -1, dtype=np.int64)
    if not len(chosen):
        return _LedgerOfSteps(fractions=np.zeros((1, len(LEDGER_ENTRIES))), cell=cell), 0
    places, power = places_of(instants), np.maximum(aperture[chosen], 1e-9)
    varies = scene_file.mount.row_turns_with == "base"
    widths = np.array(LEDGER_CELLS)
    while True:
        coarse = np.round(places / widths).astype(np.int64)
        if not varies:
            coarse[:, 2] = 0
        cells, inverse = np.unique(coarse, axis=0, return_inverse=True)
        if len(cells) <= MOST_LEDGER_TRACES:
            break
        widths *= 1.3
    inverse = inverse.reshape(-1)
    weight = np.bincount(inverse, power)
    centres = np.stack([np.bincount(inverse, power * places[:, k]) / weight for k in range(3)], axis=1)
    prepared = prepare(scene_file.scene)
    turn = scene_file.scene.tubes.angle_to_grooves
    fractions = np.zeros((len(cells), len(LEDGER_ENTRIES)))
    for k, (transversal, longitudinal, tilt) in enumerate(centres):
        trace = trace_prepared(
            prepared,
            transversal_angle=float(transversal),
            longitudinal_angle=float(longitudinal),
            rays=rays,
            seed=0,
            row=row_pose(scene_file.mount, float(tilt), turn),
        )
        fractions[k] = [getattr(trace.ledger, name) for name in LEDGER_ENTRIES]
    cell[chosen] = inverse
    return _LedgerOfSteps(fractions=fractions, cell=cell), len(cells)


def _period(steps: Steps, ledger: _LedgerOfSteps, area: float, name: str, which: Floats) -> Period:
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


def stagnation_temperature(boiler: Boiler, absorbed: float, air: float) -> float:
    """Temperature [degC] at which a dry tube loses all that it absorbs [W] to the air [degC]; by halving, to 1e-6 K."""
    low, high = air, air + 10.0
    while float(boiler.loss.watts(np.array([high]), air)[0]) < absorbed and high < HOTTEST:
        high += 100.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if float(boiler.loss.watts(np.array([middle]), air)[0]) < absorbed:
            low = middle
        else:
            high = middle
    return high


HOTTEST = 3000.0
"""End of the search for a stagnation temperature [degC]: no tube of any kind gets there."""


def cool_down_minutes(boiler: Boiler, hot: float, air: float) -> float:
    """Time [min] in which a dry tube in the dark cools from `hot` to what cold feed does not hurt [degC].

    Infinity where the air itself is hotter than that.
    """
    target = boiler.feed_temperature + SAFE_SHOCK
    if hot <= target:
        return 0.0
    if air >= target or float(boiler.loss.watts(np.array([target]), air)[0]) <= 0.0:
        return math.inf
    temperatures = np.linspace(target, hot, 400)
    return float(np.trapezoid(boiler.heat_capacity / boiler.loss.watts(temperatures, air), temperatures)) / 60.0


def _warm_up_minutes(boiler: Boiler, steam: Steam, absorbed: float, air: float) -> float | None:
    """Time [min] from feed temperature to boiling, full of water; None if it never boils."""
    density = water_density(boiler.feed_temperature)
    water = (boiler.fill if boiler.feeding == "fill" else boiler.water_volume) * density
    temperatures = np.linspace(boiler.feed_temperature, steam.boiling_point, 200)
    left = absorbed - boiler.loss.watts(temperatures, air)
    if left.min() <= 0.0:
        return None
    energies = boiler.heat_capacity * temperatures + water * steam.liquid(temperatures)
    return float(np.sum(np.diff(energies) / (0.5 * (left[1:] + left[:-1])))) / 60.0


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
        warm_up=_warm_up_minutes(boiler, steam, absorbed, air),
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
