"""What range a frame must reach through a span, and what each part of it that it does not reach costs."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from raytrace.arrays import Floats, Ints
from tracking.energy.fit.hours import aimed_settings, settings_arrays
from tracking.energy.fit.judge import Judge
from tracking.mount import Mount, aim_path

STEP, STEPS = 5.0, 6
"""Degrees that a frame does not reach, and how many such steps are looked at."""

Axis = Literal["tilt", "swivel"]
End = Literal["lowest", "highest"]

MARGIN = 1e-6
"""Degrees of rounding."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Short:
    """A frame that ends `missing` degrees short of what the best aim uses: its end, and the share of energy lost."""

    missing: float
    limit: float
    loss: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Reach:
    """An end of an axis: the setting [deg] that the best aim goes to in the span, and what is lost short of it."""

    axis: Axis
    end: End
    needed: float
    short: tuple[Short, ...]


BETWEEN = 16
"""Steps from a setting that is held at the end of the range to the one that is aimed within it; see `_lost`."""


def reaches(judge: Judge) -> tuple[Reach, ...]:
    """The ends of each axis that moves, with losses; the lens is set as well as the shorter range lets it be."""
    mount, hours = judge.scene_file.mount, judge.hours
    tilt, swivel = aimed_settings(mount, hours)
    full = judge.absorbed_each(judge.light(tilt, swivel))
    total = float(full.sum())
    if total <= 0.0:
        return ()
    limits = mount.swivel_limits
    axes: list[tuple[Axis, Floats]] = []
    if mount.tilt_limits[0] != mount.tilt_limits[1]:
        axes.append(("tilt", tilt))
    if limits is None or limits[0] != limits[1]:
        axes.append(("swivel", swivel))
    found = []
    for axis, values in axes:
        ends: tuple[tuple[End, float], ...] = (("lowest", float(values.min())), ("highest", float(values.max())))
        for end, needed in ends:
            other = ends[1][1] if end == "lowest" else ends[0][1]
            short = []
            for k in range(1, STEPS + 1):
                limit = needed + k * STEP if end == "lowest" else needed - k * STEP
                within = (limit, other) if end == "lowest" else (other, limit)
                if within[1] - within[0] < STEP:
                    break
                beyond = values < limit - MARGIN if end == "lowest" else values > limit + MARGIN
                shorter = _shorter(mount, axis, within)
                lost = _lost(judge, shorter, np.flatnonzero(beyond), full, (tilt, swivel))
                short.append(Short(missing=k * STEP, limit=limit, loss=lost / total))
            found.append(Reach(axis=axis, end=end, needed=needed, short=tuple(short)))
    return tuple(found)


def _shorter(mount: Mount, axis: Axis, within: tuple[float, float]) -> Mount:
    return replace(mount, tilt_range=within) if axis == "tilt" else replace(mount, swivel_range=within)


def _lost(judge: Judge, shorter: Mount, beyond: Ints, full: Floats, settings: tuple[Floats, Floats]) -> float:
    """Energy lost [J] at the positions (k,) of the sun for which the best setting lies beyond the shorter range.

    Aim within the shorter range turns the lens until the sun stands across its grooves as little as can be, however far
    that takes it along them: past the ends of tubes that lie along, off the row of those that lie across. Held at the
    end of the range instead, the lens has the sun across. The best of the settings from one to the other counts.
    """
    if not len(beyond):
        return 0.0
    part = Judge(judge.scene_file, judge.hours.only(beyond), judge.table)
    hours = part.hours
    aimed = settings_arrays(aim_path(shorter, hours.azimuth, hours.elevation))
    low, high = shorter.swivel_limits or (-np.inf, np.inf)
    held = np.clip(settings[0][beyond], *shorter.tilt_limits), np.clip(settings[1][beyond], low, high)
    turn = aimed[1] - held[1]
    if shorter.swivel_limits is None:
        turn = (turn + 180.0) % 360.0 - 180.0
    best = np.zeros(len(beyond))
    for share in np.linspace(0.0, 1.0, BETWEEN + 1).tolist():
        tilt, swivel = held[0] + share * (aimed[0] - held[0]), held[1] + share * turn
        best = np.maximum(best, part.absorbed_each(part.light(tilt, swivel, shorter)))
    return max(0.0, float(full[beyond].sum() - best.sum()))
