"""One table of marks and clock times for some days in a row, a week or a fortnight, and what it costs on each of them.

The table is planned for the first, the middle and the last day together: a setting serves a minute as well as it does
on the worst of them. Then every day between is tried by itself, minute by minute, and the worst is told.
"""

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from raytrace.response import ResponseTable
from tracking.plans.marks import (
    MINUTE_SECONDS,
    DaySettings,
    day_settings,
    minute_instants,
    perfect_powers,
    setting_powers,
    table_margin,
    worth_a_setting,
)
from tracking.plans.moves import MovesPlan, Stretch, plan_of
from tracking.scenefile import SceneFile
from tracking.sky.site import Site

WEEK, FORTNIGHT = 7, 14
"""Days of a piece."""
MINUTES_PER_HOUR = 60
DAY = dt.timedelta(days=1)

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptDay:
    """What a table of stretches gives on one day at the same clock times; energies in [J].

    `least_share` of the power of perfect aiming, at `least_at`, over the minutes at which a stretch serves; None where
    none does. `lost_promise` is how far the share falls at worst below the least share of its own stretch.
    """

    date: dt.date
    least_share: float | None
    least_at: dt.datetime | None
    lost_promise: float
    absorbed: float
    perfect: float

    @property
    def loss(self) -> float:
        """Share of the energy of perfect aiming that is lost."""
        return 1.0 - self.absorbed / self.perfect if self.perfect > 0.0 else 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """Days with one table, both ends included: `plan` stands on the middle day, `days` holds what every day gives."""

    first: dt.date
    last: dt.date
    plan: MovesPlan
    days: tuple[KeptDay, ...]

    @property
    def dimmest(self) -> KeptDay:
        """The day with the least share at any minute."""
        return min(self.days, key=lambda day: 1.0 if day.least_share is None else day.least_share)

    @property
    def worst(self) -> KeptDay:
        """The day that loses most of its energy."""
        return max(self.days, key=lambda day: day.loss)


def kept_on(scene_file: SceneFile, table: ResponseTable, stretches: Sequence[Stretch], date: dt.date) -> KeptDay:
    """What stretches give on a day at their clock times.

    Minutes at which the sun of that day is too low for aiming do not count, nor those between two stretches.
    """
    instants = minute_instants(scene_file, date)
    perfect = perfect_powers(scene_file, instants, table)
    minute = np.array([_minute_of(instant.time_local) for instant in instants], dtype=np.int64)
    power = np.full(len(instants), np.inf)
    lit = worth_a_setting(scene_file, instants, perfect)
    margin = table_margin(scene_file, instants, table, perfect)
    absorbed, lost = 0.0, 0.0
    for stretch in stretches:
        inside = np.flatnonzero((minute >= _minute_of(stretch.start)) & (minute <= _minute_of(stretch.until)))
        count = len(inside)
        tilts, swivels = [stretch.setting.tilt] * count, [stretch.setting.swivel] * count
        here = setting_powers(scene_file, [instants[k] for k in inside], table, tilts, swivels)
        # Where two stretches meet, the worse one counts.
        power[inside] = np.minimum(power[inside], here)
        if lit[inside].any():
            shares = (here / np.where(lit, perfect, 1.0)[inside] - margin[inside])[lit[inside]]
            lost = max(lost, stretch.least_share - float(shares.min()))
        linked = np.diff(minute[inside]) == 1
        absorbed += float(np.sum(0.5 * (here[1:] + here[:-1])[linked])) * MINUTE_SECONDS
    served = np.isfinite(power) & lit
    whole = float(np.sum((0.5 * (perfect[1:] + perfect[:-1]))[np.diff(minute) == 1])) * MINUTE_SECONDS
    share = np.where(served, np.maximum(0.0, power / np.where(served, perfect, 1.0) - margin), np.inf)
    least = int(np.argmin(share)) if served.any() else None
    return KeptDay(
        date=date,
        least_share=None if least is None else float(share[least]),
        least_at=None if least is None else instants[least].time_local,
        lost_promise=lost if served.any() else 1.0,
        absorbed=absorbed,
        perfect=whole,
    )


def season_pieces(
    scene_file: SceneFile,
    first: dt.date,
    last: dt.date,
    table: ResponseTable,
    *,
    days: int = FORTNIGHT,
    share: float | None = None,
    most: int | None = None,
    lazy: bool = False,
    progress: Progress | None = None,
) -> tuple[Piece, ...]:
    """Tables for a season, each for so many days in a row; a new offset of the clock from UTC begins a new one.

    Parameters
    ----------
    scene_file
        The scene.
    first, last
        Civil dates, both included.
    table
        The scene's response table.
    days
        Days of a table.
    share, most, lazy
        What the plans are for, as for `chosen_plan`.
    progress
        Called now and then with the share done.

    Raises
    ------
    InputError
        If on some days of the season nothing is aimed.
    """
    spans = list(_spans(scene_file.site, first, last, days))
    pieces = []
    for k, (start, end) in enumerate(spans):
        sampled = sorted({start, start + (end - start) // 2, end})
        together = _together([day_settings(scene_file, date, table) for date in sampled], sampled[len(sampled) // 2])
        plan = plan_of(together, share=share, most=most, lazy=lazy)
        kept = tuple(kept_on(scene_file, table, plan.stretches, date) for date in _dates(start, end))
        pieces.append(Piece(first=start, last=end, plan=plan, days=kept))
        if progress is not None:
            progress((k + 1) / len(spans))
    return tuple(pieces)


def _dates(first: dt.date, last: dt.date) -> list[dt.date]:
    return [first + k * DAY for k in range((last - first).days + 1)]


def noon_offset(site: Site, date: dt.date) -> dt.timedelta | None:
    """Offset of the site's clock from UTC at noon of a day."""
    return dt.datetime.combine(date, dt.time(12), tzinfo=site.zone).utcoffset()


def _spans(site: Site, first: dt.date, last: dt.date, days: int) -> Iterator[tuple[dt.date, dt.date]]:
    start = first
    for date in _dates(first, last):
        tomorrow = date + DAY
        full = (tomorrow - start).days == days
        if date == last or full or noon_offset(site, tomorrow) != noon_offset(site, date):
            yield start, date
            start = tomorrow


def _minute_of(time: dt.datetime) -> int:
    return MINUTES_PER_HOUR * time.hour + time.minute


def _together(days: Sequence[DaySettings], middle: dt.date) -> DaySettings:
    """Some days as one, by clock time: mean powers, and at each minute the share of the worst day.

    A minute that is not worth a setting on a day asks nothing of it.
    """
    if len(days) == 1:
        return days[0]
    minutes = sorted({_minute_of(time) for day in days for time in day.times})
    place = {minute: k for k, minute in enumerate(minutes)}
    settings = sorted({setting for day in days for setting in day.settings})
    row = {setting: k for k, setting in enumerate(settings)}
    zone = days[0].times[0].tzinfo
    power, perfect = np.zeros((len(settings), len(minutes))), np.zeros(len(minutes))
    worst = np.ones((len(settings), len(minutes) - 1))
    linked = np.zeros(len(minutes) - 1, dtype=bool)
    worth, margin = np.zeros(len(minutes), dtype=bool), np.zeros(len(minutes))
    for day in days:
        columns = np.array([place[_minute_of(time)] for time in day.times])
        rows = np.array([row[setting] for setting in day.settings], dtype=np.intp)
        own = np.zeros_like(power)
        own[np.ix_(rows, columns)] = day.power
        own_perfect, own_margin = np.zeros_like(perfect), np.zeros_like(perfect)
        own_perfect[columns], own_margin[columns] = day.perfect, 0.0 if day.margin is None else day.margin
        margin = np.maximum(margin, own_margin)
        shares = replace(day, power=own, perfect=own_perfect, margin=own_margin).shares()
        counts = np.zeros(len(minutes) - 1, dtype=bool)
        counts[columns[:-1][day.counts]] = True
        worst = np.minimum(worst, np.where(counts, shares, 1.0))
        worth[columns[day.worth if day.worth is not None else slice(None)]] = True
        power += own / len(days)
        perfect += own_perfect / len(days)
        linked[columns[:-1][day.linked]] = True
    linked &= np.diff(minutes) == 1
    midnight = dt.datetime.combine(middle, dt.time(), tzinfo=zone)
    return DaySettings(
        date=middle,
        times=tuple(
            midnight.replace(hour=minute // MINUTES_PER_HOUR, minute=minute % MINUTES_PER_HOUR) for minute in minutes
        ),
        settings=tuple(settings),
        power=power,
        perfect=perfect,
        linked=linked,
        tilt_step=days[0].tilt_step,
        swivel_step=days[0].swivel_step,
        worst_shares=worst,
        margin=margin,
        worth=worth,
    )
