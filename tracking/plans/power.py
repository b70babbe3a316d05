"""Power at one instant from a ray trace, with as many rays as the wanted error asks for."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from raytrace.result import Estimate, TraceResult
from raytrace.scene import RowPose
from raytrace.trace import PreparedScene, trace_prepared

FIRST_RAYS = 1 << 14
"""Rays of the first try."""

MOST_RAYS = 1 << 26
"""Rays of the last try; what is not reached with them is told."""

RELATIVE_ERROR = 0.005
"""Standard error over value up to which a power is traced unless another is asked for."""

ROW_FLOOR = 2.5e-5
"""Standard error of the row's power, over the aperture power, that is always small enough. It speaks first where less
than 0.5 % of the aperture power is absorbed and half a per cent of nearly nothing is asked for."""

TUBE_FLOOR = 2.5e-4
"""The same for one tube of the row: it speaks first where the tube absorbs less than 5 % of the aperture power."""

STEP_AIM = 0.8
"""Share of the wanted error at which the next try aims, as the error of an error from 16 replicates is about 20 %."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Effort:
    """How long to trace: a fixed number of rays, or until the relative standard error is small enough."""

    rays: int | None = None
    relative_error: float = RELATIVE_ERROR
    seed: int = 0
    threads: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class TracedPower:
    """A trace and whether it reached the wanted error; None where the number of rays was fixed."""

    trace: TraceResult
    reached: bool | None


def traced_power(
    prepared: PreparedScene, *, transversal_angle: float, longitudinal_angle: float, row: RowPose, effort: Effort
) -> TracedPower:
    """Trace until the power absorbed by the row and by each tube is known well enough, or `MOST_RAYS` have run.

    Well enough is `effort.relative_error` of the power itself; where nearly nothing is absorbed, `ROW_FLOOR` and
    `TUBE_FLOOR`. Each try starts anew with more rays, so the result depends on its number of rays and the seed alone.
    """
    rays = FIRST_RAYS if effort.rays is None else effort.rays
    while True:
        trace = trace_prepared(
            prepared,
            transversal_angle=transversal_angle,
            longitudinal_angle=longitudinal_angle,
            rays=rays,
            seed=effort.seed,
            row=row,
            threads=effort.threads,
        )
        if effort.rays is not None:
            return TracedPower(trace=trace, reached=None)
        excess = max(_excesses(trace, effort.relative_error))
        if excess <= 1.0:
            return TracedPower(trace=trace, reached=True)
        if trace.rays >= MOST_RAYS:
            return TracedPower(trace=trace, reached=False)
        # The error falls at least with the square root of the number of rays.
        wanted = trace.rays * min(max((excess / STEP_AIM) ** 2, 2.0), 64.0)
        rays = min(MOST_RAYS, 1 << math.ceil(math.log2(wanted)))


def _excesses(trace: TraceResult, relative_error: float) -> Iterator[float]:
    """Each standard error over the one that is small enough."""
    yield _excess(trace.intercepted_fraction, relative_error, ROW_FLOOR)
    yield _excess(trace.absorbed_fraction, relative_error, ROW_FLOOR)
    for tube in trace.tubes:
        yield _excess(tube.absorbed_fraction, relative_error, TUBE_FLOOR)


def _excess(estimate: Estimate, relative_error: float, floor: float) -> float:
    return estimate.standard_error / max(relative_error * estimate.value, floor)
