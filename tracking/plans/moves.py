"""The fewest settings for a day: which marks, from when until when, and what that costs against perfect aiming.

The day is cut into whole minutes of the local clock. A setting serves a minute if at both of its ends the power is at
least the wanted share of what perfect aiming gives at that instant; where no setting does, the best one serves. A plan
is a chain of stretches, one setting each, that covers the day. Among all chains with the fewest stretches the one with
the most energy is found stage by stage (R. Bellman, Dynamic Programming, 1957). As each stretch may begin before its
setting is best, settings lead the sun by themselves.
"""

import datetime as dt
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import AnyArray, Floats
from raytrace.response import ResponseTable
from tracking.errors import InputError
from tracking.mount import MIN_ELEVATION, Marks, Mount, Setting, lens_angles, lens_axes, sun_vector
from tracking.plans.instant import Instant, instants_at
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import clock_multiples, sun_path

MINUTE = dt.timedelta(minutes=1)
MINUTE_SECONDS = 60.0
DEFAULT_SHARE = 0.9
"""Share of the power of perfect aiming that a plan keeps unless another is asked for: chosen, no source."""
LAZY_SHARE = 0.8
"""Share of the day's energy that a lazy plan keeps: chosen, no source."""
FREE_STEP = 0.5
"""Step of the settings of an axis without marks [deg]: what a protractor of wood still shows. Chosen, no source."""
MOST_SETTINGS_A_DAY = 200
"""Stretches beyond which a plan for a share of the energy gives up: nobody makes as many moves by hand."""
HABIT = dt.timedelta(minutes=15)
"""The habit that a plan is compared with: a move each quarter of an hour."""
FAINT = 0.25
"""Share of the power of the normal sun below which a setting is left out of the search."""
MOST_WINDOW = 12.0
"""Largest transversal angle of a setting that is looked at [deg]: a focal line so far off misses any row that a lens
of usual height has; what stray light brings there is left out."""
WINDOW_STEP = 0.25
LONGITUDINAL_MARGIN = 15.0
"""How far beyond the sun's longitudinal angle under perfect aiming settings are looked at [deg]."""
WATER_HEAT = 2.257e6 + 4186.0 * 80.0
"""Heat that turns a kilogram of water of 20 degC into steam at 100 degC [J/kg]: latent heat 2257 kJ/kg, and 80 K at
4.186 kJ/(kg K), as in the usual steam tables (values from memory, to be confirmed)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """One setting and how long it stays: aware local times, powers in [W], shares of the power of perfect aiming."""

    start: dt.datetime
    until: dt.datetime
    setting: Setting
    least_share: float
    least_power: float
    mean_power: float


@dataclass(frozen=True, kw_only=True, slots=True)
class MovesPlan:
    """Settings for a day; energies in [J]. `share` is None where the number of moves or the energy was asked for.

    `perfect` is the energy of perfect aiming, `habit` that of the best marks set anew each quarter of an hour, with
    `habit_moves` settings. `short_minutes` counts the minutes at which no setting reaches the wanted share.
    """

    date: dt.date
    share: float | None
    stretches: tuple[Stretch, ...]
    absorbed: float
    perfect: float
    habit: float
    habit_moves: int
    short_minutes: int
    tilt_step: float | None
    swivel_step: float | None

    @property
    def moves(self) -> int:
        """How often somebody sets the lens, the first setting of the day included."""
        return len(self.stretches)

    @property
    def loss(self) -> float:
        """Share of the energy of perfect aiming that the plan loses."""
        return 1.0 - self.absorbed / self.perfect if self.perfect > 0.0 else 0.0

    @property
    def loss_against_habit(self) -> float:
        """Share of the energy of a move each quarter of an hour that the plan loses; negative where it gains."""
        return 1.0 - self.absorbed / self.habit if self.habit > 0.0 else 0.0

    @property
    def litres_at_most(self) -> float:
        """Water that the absorbed heat would boil if none of it were lost [L]."""
        return self.absorbed / WATER_HEAT

    @property
    def moves_per_litre(self) -> float | None:
        """Moves for each litre of `litres_at_most`; None where nothing boils."""
        return self.moves / self.litres_at_most if self.litres_at_most > 0.0 else None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DaySettings:
    """A day in minutes, and what each setting of the mount gives at each of them.

    `power` (settings, n) and `perfect` (n,) in [W] at the n whole minutes of `times`; `linked` (n - 1,) says whether a
    minute follows the one before.
    """

    date: dt.date
    times: tuple[dt.datetime, ...]
    settings: tuple[Setting, ...]
    power: Floats
    perfect: Floats
    linked: AnyArray
    tilt_step: float | None
    swivel_step: float | None


def day_settings(scene_file: SceneFile, date: dt.date, table: ResponseTable) -> DaySettings:
    """The power that each setting gives at each whole minute of a day at which the sun is high enough.

    Parameters
    ----------
    scene_file
        The scene; its mount's marks, where it has any, are the only settings tried.
    date
        Civil date at the site.
    table
        The scene's response table.

    Raises
    ------
    InputError
        If the sun is not high enough for a whole minute on that day: there is nothing to plan.
    """
    instants = minute_instants(scene_file, date)
    if len(instants) <= 1:
        raise InputError(
            file=str(scene_file.path),
            problem=f"there are no moves to plan on {date.isoformat()}: the sun does not reach {MIN_ELEVATION:g} deg",
            allowed="Allowed: a day on which the lens is aimed for a minute or longer",
        )
    mount = scene_file.mount
    perfect = perfect_powers(scene_file, instants, table)
    tilts, tilt_step = _marked(mount.tilt_marks, mount.tilt_limits, [i.aim.setting.tilt for i in instants if i.aim])
    limits = mount.swivel_limits
    swivels, swivel_step = _marked(
        mount.swivel_marks,
        (0.0, 360.0 - 1e-9) if limits is None and mount.kind != "polar" else limits or (-180.0, 180.0 - 1e-9),
        [i.aim.setting.swivel for i in instants if i.aim],
    )
    settings, power = _powers_of_settings(scene_file, instants, table, tilts, swivels)
    linked = [after.time_utc - before.time_utc == MINUTE for before, after in itertools.pairwise(instants)]
    return DaySettings(
        date=date,
        times=tuple(instant.time_local for instant in instants),
        settings=settings,
        power=power,
        perfect=perfect,
        linked=np.array(linked, dtype=bool),
        tilt_step=tilt_step if len(tilts) > 1 else None,
        swivel_step=swivel_step if len(swivels) > 1 else None,
    )


def minute_instants(scene_file: SceneFile, date: dt.date) -> tuple[Instant, ...]:
    """The whole minutes of a day at which the lens is aimed."""
    site = scene_file.site
    minutes = clock_multiples(site.zone, date, MINUTE)
    high = sun_path(site, minutes).elevation >= MIN_ELEVATION
    return instants_at(scene_file, [minute for minute, aimed in zip(minutes, high, strict=True) if aimed])


def perfect_powers(scene_file: SceneFile, instants: Sequence[Instant], table: ResponseTable) -> Floats:
    """Absorbed power (n,) of the lens kept aimed [W]."""
    settings = [instant.aim.setting if instant.aim else Setting(0.0, 0.0) for instant in instants]
    return setting_powers(scene_file, instants, table, [s.tilt for s in settings], [s.swivel for s in settings])


def setting_powers(
    scene_file: SceneFile,
    instants: Sequence[Instant],
    table: ResponseTable,
    tilt: Sequence[float],
    swivel: Sequence[float],
) -> Floats:
    """Absorbed power (n,) [W] at each instant with the lens at a tilt and a swivel of its own, (n,) each [deg]."""
    angles = lens_angles(
        scene_file.mount,
        np.asarray(tilt, dtype=np.float64),
        np.asarray(swivel, dtype=np.float64),
        np.array([instant.solar_azimuth for instant in instants]),
        np.array([instant.solar_elevation for instant in instants]),
    )
    return _absorbed(scene_file, np.array([i.dni for i in instants]), table, angles, np.asarray(tilt, dtype=np.float64))


def _absorbed(
    scene_file: SceneFile, dni: Floats, table: ResponseTable, angles: tuple[Floats, Floats, Floats], tilt: Floats
) -> Floats:
    transversal, longitudinal, incidence = angles
    if len(transversal) == 0:
        return np.zeros(0)
    lens = scene_file.scene.lens
    before = incidence < 90.0
    fractions = table.at(np.where(before, transversal, 0.0), np.where(before, longitudinal, 0.0), tilt).absorbed
    cosine = np.where(before, np.cos(np.radians(incidence)), 0.0)
    return np.asarray(dni * lens.width * lens.length * cosine * fractions.sum(axis=1))


def _marked(marks: Marks | None, limits: tuple[float, float], aimed: Sequence[float]) -> tuple[Floats, float | None]:
    """Settings of an axis (k,) [deg] within its limits, and their step; no step where the marks are a list."""
    low, high = limits
    if low == high:
        return np.array([low]), None
    if marks is None or isinstance(marks, (int, float)):
        step = FREE_STEP if marks is None else float(marks)
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        values = np.unique(np.clip(np.arange(first, last + 1) * step, low, high))
        if marks is None and len(aimed):  # without marks there are many: keep those that the day can need
            reach = LONGITUDINAL_MARGIN + MOST_WINDOW
            near = (values >= min(aimed) - reach) & (values <= max(aimed) + reach)
            if high - low < 359.0:
                values = values[near]
        return values, step
    listed = np.array([mark for mark in marks if low - 1e-9 <= mark <= high + 1e-9], dtype=np.float64)
    return (listed if len(listed) else np.array([min(max(m, low), high) for m in marks[:1]])), None


def _powers_of_settings(
    scene_file: SceneFile, instants: Sequence[Instant], table: ResponseTable, tilts: Floats, swivels: Floats
) -> tuple[tuple[Setting, ...], Floats]:
    """Settings that serve at some minute, and their powers (settings, n) [W]; zero where the focus is far off."""
    if not instants:
        return (), np.zeros((0, 0))
    mount = scene_file.mount
    azimuth = np.array([instant.solar_azimuth for instant in instants])
    elevation = np.array([instant.solar_elevation for instant in instants])
    dni = np.array([instant.dni for instant in instants])
    skews = [abs(instant.aim.angles.longitudinal) for instant in instants if instant.aim]
    window = _transversal_window(table)
    widest = math.tan(math.radians(min(max(skews) + LONGITUDINAL_MARGIN, 75.0)))
    sun = sun_vector(azimuth, elevation)
    all_tilts, all_swivels = (grid.ravel() for grid in np.meshgrid(tilts, swivels, indexing="ij"))
    found: list[Setting] = []
    rows: list[Floats] = []
    for chosen in np.array_split(np.arange(len(all_tilts)), max(1, len(all_tilts) * len(instants) // CHUNK)):
        axes = lens_axes(mount, all_tilts[chosen], all_swivels[chosen])
        across, along, normal = (axis @ sun.T for axis in axes)
        near = (normal > 0.0) & (np.abs(across) <= math.tan(math.radians(window)) * normal)
        near &= np.abs(along) <= widest * normal
        which, minute = np.nonzero(near)
        tilt, swivel = all_tilts[chosen][which], all_swivels[chosen][which]
        angles = lens_angles(mount, tilt, swivel, azimuth[minute], elevation[minute])
        power = np.zeros((len(chosen), len(instants)))
        power[which, minute] = _absorbed(scene_file, dni[minute], table, angles, tilt)
        for k in np.flatnonzero(near.any(axis=1)):
            found.append(Setting(float(all_tilts[chosen[k]]), float(all_swivels[chosen[k]])))
            rows.append(power[k])
    return tuple(found), np.array(rows) if rows else np.zeros((0, len(instants)))


CHUNK = 4_000_000
"""Settings times minutes that are looked at together: a matter of memory alone."""


def _transversal_window(table: ResponseTable) -> float:
    """Transversal angle [deg] beyond which less than `FAINT` of the best power is left, at no skew."""
    angles = np.arange(-MOST_WINDOW, MOST_WINDOW + WINDOW_STEP, WINDOW_STEP)
    power = table.at(angles, np.zeros_like(angles), np.zeros_like(angles)).absorbed.sum(axis=1)
    bright = np.abs(angles[power >= FAINT * power.max()])
    return min(MOST_WINDOW, float(bright.max()) + 1.0)  # skew widens the line: a degree more


# Chains of stretches ------------------------------------------------------------------------------------------------


def fewest_moves(day: DaySettings, share: float = DEFAULT_SHARE) -> MovesPlan:
    """The plan with the fewest settings that keeps the wanted share, and among those the one with the most energy."""
    shares = _cell_shares(day)
    best = shares.max(axis=0, initial=0.0)
    wanted = np.minimum(share, best * (1.0 - 1e-12))
    serves = (shares >= wanted) & (best > 0.0) & day.linked
    chain = _Chain(day, serves)
    idle = (best <= 0.0) | ~day.linked
    stages = chain.stages(idle)
    for count, energies in enumerate(stages):
        if math.isfinite(energies[-1]):
            short = int(np.sum((best < share) & day.linked))
            return _plan(day, chain.path(count), share=share, short_minutes=short)
    raise AssertionError("each minute has a setting of its own, so a chain exists")  # pragma: no cover


def best_with_moves(day: DaySettings, most: int) -> MovesPlan:
    """The plan with the most energy of all that have at most so many settings; between them the lens may stand idle."""
    chain = _Chain(day, _bright(day))
    count, energy = 0, -math.inf
    for k, energies in enumerate(itertools.islice(chain.stages(np.ones(len(day.linked), dtype=bool)), most + 1)):
        if energies[-1] > energy * (1.0 + 1e-9) + 1e-9 or k == 0:
            count, energy = k, energies[-1]
    return _plan(day, chain.path(count), share=None, short_minutes=0)


def lazy_plan(day: DaySettings, energy_share: float = LAZY_SHARE) -> MovesPlan:
    """The plan with the fewest settings that keeps this share of the day's energy of perfect aiming.

    Where no number of settings does, as the marks are too coarse, the one with the most energy.
    """
    wanted = energy_share * float(_energies(day, day.perfect[np.newaxis])[0])
    chain = _Chain(day, _bright(day))
    count, before = 0, -1.0
    for k, energies in enumerate(
        itertools.islice(chain.stages(np.ones(len(day.linked), dtype=bool)), MOST_SETTINGS_A_DAY)
    ):
        if energies[-1] <= before:
            break
        count, before = k, float(energies[-1])
        if before >= wanted:
            break
    return _plan(day, chain.path(count), share=None, short_minutes=0)


def _bright(day: DaySettings) -> AnyArray:
    """Minutes (settings, n - 1) at which a setting gives a fair part of the power: only there a stretch may lie."""
    return (_cell_shares(day) >= FAINT) & day.linked


def _cell_shares(day: DaySettings) -> Floats:
    """The lesser share of the two ends of each minute, (settings, n - 1); 1 where perfect aiming gives nothing."""
    lit = day.perfect > 0.0
    shares = np.where(lit, day.power / np.where(lit, day.perfect, 1.0), 1.0)
    return np.minimum(shares[:, :-1], shares[:, 1:])


def _cell_energies(day: DaySettings, power: Floats) -> Floats:
    """Energy (k, n - 1) of each minute by the trapezoidal rule [J]."""
    return np.where(day.linked, 0.5 * (power[:, :-1] + power[:, 1:]) * MINUTE_SECONDS, 0.0)


def _energies(day: DaySettings, power: Floats) -> Floats:
    return np.asarray(_cell_energies(day, power).sum(axis=1))


class _Chain:
    """Best energies of single stretches between any two minutes, and of chains of them."""

    def __init__(self, day: DaySettings, serves: AnyArray) -> None:
        nodes = len(day.times)
        self.stretch = np.full((nodes, nodes), -np.inf)
        self.setting = np.full((nodes, nodes), -1, dtype=np.int32)
        sums = np.concatenate([np.zeros((len(day.settings), 1)), np.cumsum(_cell_energies(day, day.power), 1)], axis=1)
        for k in range(len(day.settings)):
            for first, last in _runs(serves[k]):
                cut = slice(first, last + 1)
                energy = sums[k, cut][np.newaxis, :] - sums[k, cut][:, np.newaxis]
                energy[np.tri(len(energy), dtype=bool)] = -np.inf
                here = self.stretch[cut, cut]
                better = energy > here
                here[better] = energy[better]
                self.setting[cut, cut][better] = k
        self.back: list[AnyArray] = []

    def stages(self, idle: AnyArray) -> Iterator[Floats]:
        """Most energy up to each minute with 0, 1, 2, ... stretches; minutes that are `idle` need none."""
        nodes = len(self.stretch)
        energies = np.full(nodes, -np.inf)
        energies[0] = 0.0
        came = np.full(nodes, -1)
        while True:
            for node in range(nodes - 1):  # an idle minute carries the energy on
                if idle[node] and energies[node] > energies[node + 1]:
                    energies[node + 1], came[node + 1] = energies[node], -2
            self.back.append(came)
            yield energies
            ways = energies[:, np.newaxis] + self.stretch
            came = np.argmax(ways, axis=0)
            energies = ways[came, np.arange(nodes)]

    def path(self, count: int) -> list[tuple[int, int, int]]:
        """First node, last node and setting of each stretch of the best chain with `count` stretches."""
        node, found = len(self.stretch) - 1, []
        while node > 0:
            before = int(self.back[count][node])
            if before == -2:
                node -= 1
                continue
            found.append((before, node, int(self.setting[before, node])))
            node, count = before, count - 1
        return found[::-1]


def _runs(flags: AnyArray) -> Iterator[tuple[int, int]]:
    """First node and last node of each run of minutes that are set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _plan(
    day: DaySettings, path: Sequence[tuple[int, int, int]], *, share: float | None, short_minutes: int
) -> MovesPlan:
    stretches = tuple(_stretch(day, first, last, setting) for first, last, setting in path)
    cells = _cell_energies(day, day.power)
    habit, habit_moves = _habit(day, cells)
    return MovesPlan(
        date=day.date,
        share=share,
        stretches=stretches,
        absorbed=float(sum(cells[setting, first:last].sum() for first, last, setting in path)),
        perfect=float(_energies(day, day.perfect[np.newaxis])[0]) if len(day.times) > 1 else 0.0,
        habit=habit,
        habit_moves=habit_moves,
        short_minutes=short_minutes,
        tilt_step=day.tilt_step,
        swivel_step=day.swivel_step,
    )


def _stretch(day: DaySettings, first: int, last: int, setting: int) -> Stretch:
    power, perfect = day.power[setting, first : last + 1], day.perfect[first : last + 1]
    lit = perfect > 0.0
    shares = np.where(lit, power / np.where(lit, perfect, 1.0), 1.0)
    return Stretch(
        start=day.times[first],
        until=day.times[last],
        setting=day.settings[setting],
        least_share=float(shares.min()),
        least_power=float(power.min()),
        mean_power=float(np.trapezoid(power) / (last - first)),
    )


def _habit(day: DaySettings, cells: Floats) -> tuple[float, int]:
    """Energy [J] and moves of setting the best mark at each quarter of an hour."""
    if len(day.times) < 2 or len(day.settings) == 0:
        return 0.0, 0
    quarter = np.array([time.hour * 60 + time.minute for time in day.times[:-1]]) // (HABIT // MINUTE)
    starts = np.flatnonzero(np.concatenate([[True], quarter[1:] != quarter[:-1]]))
    blocks = np.add.reduceat(cells, starts, axis=1)
    best = np.argmax(blocks, axis=0)
    moves = 1 + int(np.sum(best[1:] != best[:-1]))
    return float(blocks[best, np.arange(len(starts))].sum()), moves


def chosen_plan(
    scene_file: SceneFile,
    date: dt.date,
    table: ResponseTable,
    *,
    share: float | None = None,
    most: int | None = None,
    lazy: bool = False,
) -> MovesPlan:
    """The day's plan: for a share of the power at every minute unless a number of moves or a lazy one is asked for."""
    day = day_settings(scene_file, date, table)
    if lazy:
        return lazy_plan(day)
    if most is not None:
        return best_with_moves(day, most)
    return fewest_moves(day, DEFAULT_SHARE if share is None else share)


def mount_axes(mount: Mount) -> tuple[bool, bool]:
    """Whether somebody sets the tilt, and whether somebody sets the swivel."""
    limits = mount.swivel_limits
    return mount.tilt_limits[0] != mount.tilt_limits[1], limits is None or limits[0] != limits[1]
