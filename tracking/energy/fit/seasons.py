"""Tilts that are set some times a year: the best parts of the year and the best tilt for each."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from tracking.energy.fit.judge import Judge, tilts_to_try
from tracking.energy.fit.setting import best_setting, followed_hour_angle

COUNTS = (1, 2, 4)
"""Settings a year for which the best parts of the year are searched; twelve go by the months of the calendar."""

MONTHS = 12


@dataclass(frozen=True, kw_only=True, slots=True)
class Season:
    """A tilt [deg] and the day from which it holds."""

    start: dt.date
    tilt: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SeasonalTilts:
    """A tilt for each part of the year, and the settings (n,) [deg] that they are at each position of the sun."""

    seasons: tuple[Season, ...]
    tilt: Floats
    swivel: Floats


def seasonal_tilts(judge: Judge, swivel: Floats | float, counts: Sequence[int] = COUNTS) -> tuple[SeasonalTilts, ...]:
    """Best tilts for each number of settings a year, then one for each month; for a month or a day, one tilt.

    Parameters
    ----------
    judge
        Scene, hours and response table.
    swivel
        The swivel, one for all positions of the sun or (n,) [deg].
    counts
        Numbers of settings.
    """
    mount, hours = judge.scene_file.mount, judge.hours
    swivels = np.broadcast_to(np.asarray(swivel, dtype=np.float64), (len(hours),))
    tilts = tilts_to_try(mount)
    bins = judge.bins()
    count = int(bins.max(initial=0)) + 1
    by_bin, by_month = np.zeros((count, len(tilts))), np.zeros((MONTHS, len(tilts)))
    for k, tilt in enumerate(tilts.tolist()):
        energy = judge.absorbed(judge.light(tilt, swivels))
        by_bin[:, k] = np.bincount(bins, energy, minlength=count)
        by_month[:, k] = np.bincount(hours.month - 1, energy, minlength=MONTHS)

    found = []
    whole_year = hours.span.month is None
    for number in counts if whole_year else (1,):
        parts = best_parts(by_bin, number)
        seasons = tuple(Season(start=judge.bin_start(start), tilt=float(tilts[k])) for start, k in parts)
        starts = np.array([start for start, _ in parts])
        # The part that a bin lies in is the last one begun before it; before the first, the one that ends the year.
        part = np.searchsorted(starts, bins, side="right") - 1
        tilt = np.array([season.tilt for season in seasons])[part]
        found.append(SeasonalTilts(seasons=seasons, tilt=tilt, swivel=swivels))
    if whole_year:
        best = tilts[np.argmax(by_month, axis=1)]
        seasons = tuple(Season(start=dt.date(hours.span.year, m + 1, 1), tilt=float(best[m])) for m in range(MONTHS))
        found.append(SeasonalTilts(seasons=seasons, tilt=best[hours.month - 1], swivel=swivels))
    return tuple(found)


def best_parts(energies: Floats, count: int) -> tuple[tuple[int, int], ...]:
    """The cut of a year into parts, one setting each, that holds most energy.

    Parameters
    ----------
    energies : (bins, settings) float
        Energy of each run of days with each setting; the year closes on itself.
    count
        Number of parts.

    Returns
    -------
    tuple of (first bin, setting)
        In order of the first bin; a part runs to the bin before the next one's first, the last one around the year.

    Notes
    -----
    Stage by stage (R. Bellman, Dynamic Programming, 1957), for each bin at which the first part may begin.
    """
    bins = len(energies)
    if count <= 1 or bins <= count:
        return ((0, int(np.argmax(energies.sum(axis=0)))),)
    sums = np.concatenate([np.zeros((1, energies.shape[1])), np.cumsum(np.concatenate([energies, energies]), axis=0)])
    part = np.full((bins, bins + 1), -np.inf)  # [first, bins in it]
    setting = np.zeros((bins, bins + 1), dtype=np.int64)
    for first in range(bins):
        inside = sums[first + 1 : first + bins + 1] - sums[first]
        part[first, 1:], setting[first, 1:] = inside.max(axis=1), inside.argmax(axis=1)
    best, cuts = -np.inf, [0]
    for start in range(bins):
        ends = np.arange(bins + 1)
        value = part[start, ends]
        came = [np.zeros(bins + 1, dtype=np.int64)]
        for _ in range(count - 1):
            ways = np.full((bins + 1, bins + 1), -np.inf)  # [from, to]
            for middle in range(1, bins):
                ways[middle, middle + 1 :] = value[middle] + part[(start + middle) % bins, 1 : bins - middle + 1]
            came.append(np.argmax(ways, axis=0))
            value = ways.max(axis=0)
        if value[bins] > best * (1.0 + 1e-12) or not np.isfinite(best):
            best, cuts, end = float(value[bins]), [], bins
            for back in reversed(came):
                end = int(back[end])
                cuts.append((start + end) % bins)
    firsts = sorted(cuts)
    lengths = [(after - first) % bins for first, after in zip(firsts, [*firsts[1:], firsts[0]], strict=True)]
    return tuple((first, int(setting[first, length])) for first, length in zip(firsts, lengths, strict=True))


def season_swivel(judge: Judge) -> Floats | float:
    """Swivel under seasonal tilts: a polar mount follows the sun's hour angle, any other faces one way, the best one
    where it has the choice.
    """
    mount = judge.scene_file.mount
    if mount.kind == "polar":
        return followed_hour_angle(mount, judge.hours)
    limits = mount.swivel_limits
    if limits is not None and limits[0] == limits[1]:
        return limits[0]
    return best_setting(judge).swivel
