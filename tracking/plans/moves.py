"""The fewest settings for a day: which marks, from when until when, and what that costs against perfect aiming.

The day is cut into whole minutes of the local clock. A setting serves a minute if at both of its ends the power is at
least the wanted share of what perfect aiming gives at that instant, the table's own error taken off; where no setting
does, the best ones serve that the table cannot tell apart. A plan
is a chain of stretches, one setting each, that covers the day. As each stretch may begin before its setting is best,
settings lead the sun by themselves. Plans for a share of the day's energy keep a part of the light, `FAINT`, on the
tubes from the first setting to the last; those for a number of moves may have the lens covered in between.
"""

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.response import ResponseTable
from tracking.mount import Setting
from tracking.plans.chain import Chain
from tracking.plans.marks import FAINT, MINUTE, DaySettings, day_settings
from tracking.scenefile import SceneFile

DEFAULT_SHARE = 0.9
"""Share of the power of perfect aiming that a plan keeps unless another is asked for: chosen, no source."""
LAZY_SHARE = 0.8
"""Share of the day's energy that a lazy plan keeps: chosen, no source."""
MOST_SETTINGS_A_DAY = 200
"""Stretches beyond which a plan for a share of the energy gives up: nobody makes as many moves by hand."""
HABIT = dt.timedelta(minutes=15)
"""The habit that a plan is compared with: a move each quarter of an hour."""
NOTABLE = 0.01
"""How much more than perfect aiming a setting must absorb for the plan to tell: chosen, no source."""
LEAST_COVERED = 5
"""Minutes for which somebody puts a cover on between two settings; no plan leaves a shorter gap. Chosen, no source."""


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
    """Settings for a day; energies in [J].

    What was asked for stands in one of `share` (of the power at every minute), `most` (settings) and `energy_share` (of
    the day); the others are None. `perfect` is the energy of perfect aiming, `habit` that of the best marks set anew
    each quarter of an hour, with `habit_moves` settings. `short_minutes` counts the minutes at which no setting reaches
    the wanted share, `ahead_minutes` those at which the plan's own absorbs more than perfect aiming, by `NOTABLE`.
    """

    date: dt.date
    share: float | None
    stretches: tuple[Stretch, ...]
    absorbed: float
    perfect: float
    habit: float
    habit_moves: int
    short_minutes: int
    ahead_minutes: int
    tilt_step: float | None
    swivel_step: float | None
    most: int | None = None
    energy_share: float | None = None

    @property
    def moves(self) -> int:
        """How often somebody sets the lens, the first setting of the day included."""
        return len(self.stretches)

    @property
    def loss(self) -> float:
        """Share of the energy of perfect aiming that the plan loses; negative where it gains."""
        return 1.0 - self.absorbed / self.perfect if self.perfect > 0.0 else 0.0

    @property
    def loss_against_habit(self) -> float:
        """Share of the energy of a move each quarter of an hour that the plan loses; negative where it gains."""
        return 1.0 - self.absorbed / self.habit if self.habit > 0.0 else 0.0

    @property
    def weakest(self) -> Stretch | None:
        """The stretch in which the share of the power of perfect aiming falls lowest; None in an empty plan."""
        return min(self.stretches, key=lambda stretch: stretch.least_share, default=None)

    @property
    def covers(self) -> tuple[tuple[dt.datetime, dt.datetime], ...]:
        """From when to when the lens is covered between two settings."""
        pairs = itertools.pairwise(self.stretches)
        return tuple((before.until, after.start) for before, after in pairs if before.until < after.start)


def fewest_moves(day: DaySettings, share: float = DEFAULT_SHARE) -> MovesPlan:
    """The plan with the fewest settings that keeps the wanted share, and among those the one with the most energy."""
    shares = day.shares()
    best = shares.max(axis=0, initial=0.0)
    wanted = np.where(best >= share, share, best * (1.0 - 1e-12) - day.doubt)
    serves = (shares >= wanted) & (best > 0.0) & day.counts
    chain = Chain(day, serves, (best <= 0.0) | ~day.counts)
    for count, energies in enumerate(chain.stages()):
        if math.isfinite(energies[-1]):
            short = int(np.sum((best < share) & day.counts))
            return _plan(day, chain.path(count), share=share, short_minutes=short)
    raise AssertionError("each minute has a setting of its own, so a chain exists")  # pragma: no cover


def best_with_moves(day: DaySettings, most: int) -> MovesPlan:
    """The plan with the most energy of all that have at most so many settings; it may be covered in between."""
    chain = _loose_chain(day, LEAST_COVERED)
    count, energy = 0, -math.inf
    for k, energies in enumerate(itertools.islice(chain.stages(), most + 1)):
        if energies[-1] > energy * (1.0 + 1e-9) + 1e-9 or k == 0:
            count, energy = k, energies[-1]
    return _plan(day, chain.path(count), most=most)


def lazy_plan(day: DaySettings, energy_share: float = LAZY_SHARE) -> MovesPlan:
    """The plan with the fewest settings that keeps this share of the day's energy of perfect aiming.

    Among those the one with the most energy. Where no number of settings does, as the marks are too coarse, the plan
    with the most energy of all. The lens is not covered between the first setting and the last.
    """
    wanted = energy_share * float(day.energies(day.perfect[np.newaxis]).sum())
    chain = _loose_chain(day, len(day.times))  # covered before the first setting and after the last alone
    count, before = 0, -1.0
    for k, energies in enumerate(itertools.islice(chain.stages(), MOST_SETTINGS_A_DAY)):
        if energies[-1] <= before:
            break
        count, before = k, float(energies[-1])
        if before >= wanted:
            break
    return _plan(day, chain.path(count), energy_share=energy_share)


def _loose_chain(day: DaySettings, cover_from: int) -> Chain:
    """Chains whose shares may fall to `FAINT`, or to what the best setting gives where that is less."""
    shares = day.shares()
    best = shares.max(axis=0, initial=0.0)
    serves = (shares >= np.minimum(FAINT, best * (1.0 - 1e-12))) & (best > 0.0) & day.counts
    return Chain(day, serves, (best <= 0.0) | ~day.counts, cover_from=cover_from)


def _plan(
    day: DaySettings,
    path: Sequence[tuple[int, int, int]],
    *,
    share: float | None = None,
    most: int | None = None,
    energy_share: float | None = None,
    short_minutes: int = 0,
) -> MovesPlan:
    cells, shares = day.energies(day.power), day.shares()
    habit, habit_moves = _habit(day, cells)
    return MovesPlan(
        date=day.date,
        share=share,
        most=most,
        energy_share=energy_share,
        stretches=tuple(_stretch(day, first, last, setting) for first, last, setting in path),
        absorbed=float(sum(cells[setting, first:last].sum() for first, last, setting in path)),
        perfect=float(day.energies(day.perfect[np.newaxis]).sum()),
        habit=habit,
        habit_moves=habit_moves,
        short_minutes=short_minutes,
        ahead_minutes=sum(int(np.sum(shares[k, first:last] > 1.0 + NOTABLE)) for first, last, k in path),
        tilt_step=day.tilt_step,
        swivel_step=day.swivel_step,
    )


def _stretch(day: DaySettings, first: int, last: int, setting: int) -> Stretch:
    power = day.power[setting, first : last + 1]
    shares = day.shares_of(day.power[setting])[first : last + 1]
    least = float(shares.min())
    if day.worst_shares is not None:
        least = float(day.worst_shares[setting, first:last].min())
    return Stretch(
        start=day.times[first],
        until=day.times[last],
        setting=day.settings[setting],
        least_share=max(0.0, least),
        least_power=float(power.min()),
        mean_power=float(np.trapezoid(power) / (last - first)),
    )


def split_at_clock_change(stretch: Stretch) -> tuple[Stretch, ...]:
    """A stretch in two where the clock changes within it, so that both of its times are of one clock."""
    zone, offset = stretch.start.tzinfo, stretch.start.utcoffset()
    if stretch.until.utcoffset() == offset:
        return (stretch,)
    start, until = stretch.start.astimezone(dt.UTC), stretch.until.astimezone(dt.UTC)
    times = ((start + k * MINUTE).astimezone(zone) for k in range(1, (until - start) // MINUTE + 1))
    change = next(time for time in times if time.utcoffset() != offset)
    # The moment of the change ends the first part on the old clock and begins the second on the new one.
    before = replace(stretch, until=change.astimezone(dt.timezone(offset or dt.timedelta(0))))
    return (before,) if change == stretch.until else (before, replace(stretch, start=change))


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
    """The day's plan: for a share of the power at every minute unless a number of moves or a lazy one is asked for.

    Raises
    ------
    InputError
        If the sun is not high enough for a whole minute on that day: there is nothing to plan.
    """
    return plan_of(day_settings(scene_file, date, table), share=share, most=most, lazy=lazy)


def plan_of(day: DaySettings, *, share: float | None, most: int | None, lazy: bool) -> MovesPlan:
    """The plan that is asked for, of a day's settings."""
    if lazy:
        return lazy_plan(day)
    if most is not None:
        return best_with_moves(day, most)
    return fewest_moves(day, DEFAULT_SHARE if share is None else share)
