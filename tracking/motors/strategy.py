"""When the motors run: by a dead band or by an interval, always half a step ahead, always from the same side.

A move sets the axis to where the sun will be half a step later, so that the error runs from one side of 0 to the other:
twice the time between moves for the same error. A move against the approach side goes beyond its target by the backlash
and comes back, so that the slack always lies on the same side.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from tracking.actuator import Actuator, AxisName, Direction

FINE_STEP = 10.0
"""Step of the simulation [s]: the sun moves 0.04 deg in it."""
DAY_SECONDS = 86400.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """One run of a motor: from counts to counts, with how far it goes beyond to take up the backlash.

    `start` in seconds since 1970 UTC, `motor_seconds` the time that the motor runs, `travel` in [m] or [deg],
    `direction` and `approach` those of the axis' angle.
    """

    axis: AxisName
    start: float
    motor_seconds: float
    from_counts: int
    to_counts: int
    overshoot_counts: int
    travel: float
    direction: Direction
    approach: Direction
    purpose: str


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Followed:
    """What an axis does while it follows: its angle at each fine instant [deg], and its moves."""

    angle: Floats
    moves: tuple[Move, ...]


def fine_times(seconds: Floats) -> Floats:
    """Instants FINE_STEP apart over a span, its end included [s]."""
    return np.append(np.arange(seconds[0], seconds[-1], FINE_STEP), seconds[-1])


def make_move(
    axis: AxisName, drive: Actuator, start: float, from_counts: int, to_counts: int, purpose: str
) -> Move | None:
    """A move between two counts; None where there is nothing to move."""
    if from_counts == to_counts:
        return None
    per_travel = drive.linkage.counts_per_travel
    before, after = float(drive.angle(from_counts)), float(drive.angle(to_counts))
    direction: Direction = "rising" if after > before else "falling"
    overshoot = 0 if direction == drive.approach else int(np.ceil(drive.backlash * per_travel))
    if overshoot and drive.limits is not None:
        # No overshoot passes a soft limit: at the very end of a range some slack may stay.
        end = float(drive.counts(drive.limits[0] if direction == "falling" else drive.limits[1]))
        overshoot = min(overshoot, max(0, int(abs(end - to_counts))))
    travel = abs(to_counts - from_counts) / per_travel
    return Move(
        axis=axis,
        start=start,
        motor_seconds=(travel + 2.0 * overshoot / per_travel) / drive.speed,
        from_counts=from_counts,
        to_counts=to_counts,
        overshoot_counts=overshoot,
        travel=travel,
        direction=direction,
        approach=drive.approach,
        purpose=purpose,
    )


def follow_dead_band(
    axis: AxisName, drive: Actuator, times: Floats, wanted: Floats, dead_band: float, start_counts: int | None = None
) -> Followed:
    """Move when the axis is off by the dead band, to where the sun will be a dead band further on.

    Parameters
    ----------
    axis, drive
        The axis.
    times, wanted : (n,) float
        Rising instants [s], and the angle that is wanted at each [deg].
    dead_band : float
        [deg].
    start_counts : int, optional
        Where the axis stands at first; by default half a step ahead already.
    """
    angle = np.empty_like(wanted)
    moves: list[Move] = []
    counts = round(float(drive.counts(_ahead(wanted, 0, dead_band)))) if start_counts is None else start_counts
    index = 0
    while index < len(wanted):
        stands = float(drive.angle(counts))
        off = np.abs(wanted[index:] - stands) >= dead_band
        until = index + int(np.argmax(off)) if off.any() else len(wanted)
        angle[index:until] = stands
        if until == len(wanted):
            break
        target = round(float(drive.counts(_ahead(wanted, until, dead_band))))
        move = make_move(axis, drive, float(times[until]), counts, target, "follow")
        if move is not None:
            moves.append(move)
        counts = target
        angle[until] = float(drive.angle(counts))
        index = until + 1
    return Followed(angle=angle, moves=tuple(moves))


def _ahead(wanted: Floats, index: int, dead_band: float) -> float:
    """The angle that stays within the dead band for longest [deg]: half a step ahead where the sun runs evenly."""
    highest = np.maximum.accumulate(wanted[index:])
    lowest = np.minimum.accumulate(wanted[index:])
    last = max(0, int(np.count_nonzero(highest - lowest < 2.0 * dead_band)) - 1)
    return 0.5 * float(highest[last] + lowest[last])


def follow_interval(axis: AxisName, drive: Actuator, times: Floats, wanted: Floats, interval: float) -> Followed:
    """Move every `interval` [s], to where the sun will be in its middle; arguments as for `follow_dead_band`."""
    count = int((times[-1] - times[0]) // interval) + 1
    starts = times[0] + interval * np.arange(count)
    targets = np.interp(np.minimum(starts + 0.5 * interval, times[-1]), times, wanted)
    counts = np.round(drive.counts(targets)).astype(np.int64)
    moves = [
        make_move(axis, drive, float(starts[k]), int(counts[k - 1]), int(counts[k]), "follow") for k in range(1, count)
    ]
    where = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, count - 1)
    done = tuple(move for move in moves if move is not None)
    return Followed(angle=np.asarray(drive.angle(counts))[where], moves=done)


def motor_seconds(moves: Iterable[Move]) -> float:
    """Time that the motors of these moves run [s]."""
    return sum(move.motor_seconds for move in moves)


def worst_duty(moves: Sequence[Move], period: float) -> float:
    """Largest share of any span of `period` [s] in which the motor of one axis runs."""
    if not moves:
        return 0.0
    starts = np.array([move.start for move in moves])
    lengths = np.array([move.motor_seconds for move in moves])
    order = np.argsort(starts)
    starts, lengths = starts[order], lengths[order]
    # A motor that has not finished when its next move begins goes on with that one afterwards.
    done = np.maximum.accumulate(starts + lengths - np.cumsum(lengths)) + np.cumsum(lengths)
    begun = done - lengths
    edges = np.ravel(np.column_stack([begun, done]))
    ran = np.repeat(np.cumsum(lengths), 2)
    ran[::2] -= lengths
    # The worst span ends where a move ends or begins where one begins: time run is piecewise linear in between.
    ends = np.concatenate([done, begun + period])
    in_span = np.interp(ends, edges, ran) - np.interp(ends - period, edges, ran, left=0.0)
    return float(np.max(in_span) / period)
