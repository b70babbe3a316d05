"""The settings that a mount's marks show within its ranges."""

import math

from tracking.mount.pose import Marks, Mount

WHOLE_TURN = 360.0
_ROUNDING = 1e-9
"""Angle [deg], and share of a step, within which a mark at the end of a range still counts as inside."""


def marked_tilts(mount: Mount, free_step: float) -> tuple[float, ...]:
    """Marked tilts within the mount's range, rising [deg]; multiples of `free_step` where it has no marks."""
    return _within(free_step if mount.tilt_marks is None else mount.tilt_marks, mount.tilt_limits)


def marked_swivels(mount: Mount, free_step: float) -> tuple[float, ...]:
    """Marked swivels within the mount's range, rising [deg]; multiples of `free_step` where it has no marks.

    A listed mark shows its place on the circle, so it counts with whole turns added. An unlimited swivel has each place
    once, azimuths in [0, 360), hour angles in [-180, 180).
    """
    marks = free_step if mount.swivel_marks is None else mount.swivel_marks
    if mount.swivel_limits is not None:
        return _within(_with_turns(marks, mount.swivel_limits), mount.swivel_limits)
    start = -0.5 * WHOLE_TURN if mount.kind == "polar" else 0.0
    around = (start, start + WHOLE_TURN - 2.0 * WHOLE_TURN * _ROUNDING)
    return _within(_with_turns(marks, around), around)


def _with_turns(marks: Marks, limits: tuple[float, float]) -> Marks:
    """Listed marks with all whole turns added that put them within limits."""
    if isinstance(marks, (int, float)):
        return marks
    low, high = limits
    found = set()
    for mark in marks:
        first, last = (
            math.ceil((low - mark - _ROUNDING) / WHOLE_TURN),
            math.floor((high - mark + _ROUNDING) / WHOLE_TURN),
        )
        found |= {mark + turn * WHOLE_TURN for turn in range(first, last + 1)}
    return tuple(sorted(found))


def _within(marks: Marks, limits: tuple[float, float]) -> tuple[float, ...]:
    low, high = limits
    if low == high:
        return (low,)
    if isinstance(marks, (int, float)):
        first, last = math.ceil(low / marks - _ROUNDING), math.floor(high / marks + _ROUNDING)
        return tuple(min(max(k * marks, low), high) for k in range(first, last + 1))
    return tuple(mark for mark in marks if low - _ROUNDING <= mark <= high + _ROUNDING)
