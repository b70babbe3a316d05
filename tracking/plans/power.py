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

ROW_SHARE = 0.005
"""Share of the aperture power: where the row takes less, its error is measured against this share instead of against
its own power, as half a per cent of nearly nothing would need endless rays."""

TUBE_SHARE = 0.05
"""The same for one tube of the row."""

SAFETY = 0.9
"""Share of the wanted error at which the next try aims."""


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
    prepared: PreparedScene,
    *,
    transversal_angle: float,
    longitudinal_angle: float,
    row: RowPose,
    effort: Effort,
    first_rays: int = FIRST_RAYS,
) -> TracedPower:
    """Trace until the power absorbed by the row and by each tube is known well enough, or `MOST_RAYS` have run.

    Well enough is a standard error of `effort.relative_error` times the power itself, or times `ROW_SHARE` and
    `TUBE_SHARE` of the aperture power where that is more. Each try starts anew with more rays, so the result depends
    on its number of rays and the seed alone.
    """
    rays = first_rays if effort.rays is None else effort.rays
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
        excess = max(_shares_of_wanted_error(trace, effort.relative_error))
        if excess <= 1.0:
            return TracedPower(trace=trace, reached=True)
        if trace.rays >= MOST_RAYS:
            return TracedPower(trace=trace, reached=False)
        # The error falls at least with the square root of the number of rays.
        growth = min(max((excess / SAFETY) ** 2, LEAST_GROWTH), MOST_GROWTH)
        rays = min(MOST_RAYS, math.ceil(trace.rays * growth))


LEAST_GROWTH, MOST_GROWTH = 1.5, 64.0
"""Bounds of the step from one number of rays to the next."""


def _shares_of_wanted_error(trace: TraceResult, relative_error: float) -> Iterator[float]:
    """Each standard error over the one that is small enough."""

    def share(estimate: Estimate, least: float) -> float:
        return estimate.standard_error / (relative_error * max(estimate.value, least))

    yield share(trace.intercepted_fraction, ROW_SHARE)
    yield share(trace.absorbed_fraction, ROW_SHARE)
    for tube in trace.tubes:
        yield share(tube.absorbed_fraction, TUBE_SHARE)
