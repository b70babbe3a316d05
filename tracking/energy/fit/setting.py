"""The one setting of a lens that stands still: the best tilt, and swivel or facing, over a span."""

import itertools
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from tracking.energy.fit.hours import Hours
from tracking.energy.fit.judge import Judge, within_marks
from tracking.mount import Mount, Setting, sun_vector
from tracking.mount.pose import equator_axes

FINE_TILT, FINE_SWIVEL = 0.5, 1.0
"""Steps of the settings that are tried where nothing is marked [deg]."""

COARSE_TILT, COARSE_SWIVEL = 3.0, 15.0
"""Steps of the first look [deg]: a lens that stands still takes the sun within some degrees across its grooves, and the
sun's own way of 47 degrees in a year widens that."""

KEPT = 4
"""Settings of the first look that are followed up."""

COARSE_HOURS = 7
"""The first looks take one position of the sun in so many: not a part of an hour, so that all times of day are seen."""

MOST_COARSE = 2000
"""Positions of the sun up to which all of them are looked at."""

FIXED_TILTS, ALL_ROUND = (0.0, 90.0), (0.0, 360.0 - FINE_SWIVEL)
"""Tilts and facings of a lens that is built to stand still: all of them [deg]."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Ranges:
    """Settings that may be tried [deg]; `closed` says that the last swivel is next to the first."""

    tilts: Floats
    swivels: Floats
    closed: bool


def ranges_of(mount: Mount) -> Ranges:
    """What may be tried on a mount; a fixed one may be built at any tilt, facing any way."""
    limits = mount.swivel_limits
    if mount.kind == "fixed":
        return Ranges(
            tilts=within_marks(None, FIXED_TILTS, FINE_TILT),
            swivels=within_marks(None, ALL_ROUND, FINE_SWIVEL),
            closed=True,
        )
    if limits is not None and limits[0] == limits[1]:
        swivels = np.array([limits[0]])
    else:
        swivels = within_marks(mount.swivel_marks, limits or ALL_ROUND, FINE_SWIVEL)
    return Ranges(
        tilts=within_marks(mount.tilt_marks, mount.tilt_limits, FINE_TILT), swivels=swivels, closed=limits is None
    )


def best_setting(judge: Judge) -> Setting:
    """The setting that absorbs most, by a look all round, then ever finer ones around the best few; once a judge."""
    if judge.best is None:
        judge.best = _searched(judge)
    return judge.best


def _searched(judge: Judge) -> Setting:
    ranges = ranges_of(judge.scene_file.mount)
    hours = judge.hours
    few = hours.only(np.arange(0, len(hours), COARSE_HOURS)) if len(hours) > MOST_COARSE else hours
    coarse = Judge(judge.scene_file, few, judge.table)
    counts = len(ranges.tilts), len(ranges.swivels)
    strides = _stride(ranges.tilts, COARSE_TILT), _stride(ranges.swivels, COARSE_SWIVEL)
    known: dict[tuple[int, int], float] = {}

    def value(at: tuple[int, int]) -> float:
        if at not in known:
            known[at] = coarse.total(float(ranges.tilts[at[0]]), float(ranges.swivels[at[1]]))
        return known[at]

    for at in itertools.product(range(0, counts[0], strides[0]), range(0, counts[1], strides[1])):
        value(at)
    best = sorted(known, key=lambda at: -known[at])[:KEPT]
    while True:
        strides = max(1, strides[0] // 2), max(1, strides[1] // 2)
        for start in best:
            at = start
            while (near := max(_around(at, counts, strides, closed=ranges.closed), key=value, default=at)) != at:
                if value(near) <= value(at):
                    break
                at = near
        best = sorted(known, key=lambda at: -known[at])[:KEPT]
        if strides == (1, 1):
            break
    settings = [Setting(float(ranges.tilts[t]), float(ranges.swivels[s])) for t, s in best]
    return max(settings, key=lambda setting: judge.total(*setting))


def _stride(values: Floats, step: float) -> int:
    """How many settings the first look goes on at a time."""
    return max(1, round(step / float(np.median(np.diff(values))))) if len(values) > 1 else 1


def _around(
    at: tuple[int, int], counts: tuple[int, int], strides: tuple[int, int], *, closed: bool
) -> list[tuple[int, int]]:
    """Neighbours of a setting, by index, within what may be tried."""
    found = []
    for step in itertools.product((-strides[0], 0, strides[0]), (-strides[1], 0, strides[1])):
        tilt, swivel = at[0] + step[0], at[1] + step[1]
        if closed:
            swivel %= counts[1]
        if step != (0, 0) and 0 <= tilt < counts[0] and 0 <= swivel < counts[1]:
            found.append((tilt, swivel))
    return found


def standing(mount: Mount, setting: Setting) -> Mount:
    """The mount built to stand still at a setting; only a fixed one changes, others are left at that setting."""
    if mount.kind != "fixed":
        return mount
    return replace(mount, tilt=setting.tilt, facing=setting.swivel % 360.0)


def followed_hour_angle(mount: Mount, hours: Hours) -> Floats:
    """Swivel (n,) [deg] of a polar mount that follows the sun's hour angle as far as it turns."""
    _, meridian, west = equator_axes(mount)
    sun = sun_vector(hours.azimuth, hours.elevation)
    turn = np.degrees(np.arctan2(sun @ west, sun @ meridian))
    limits = mount.swivel_limits
    return np.asarray(turn if limits is None else np.clip(turn, *limits))
