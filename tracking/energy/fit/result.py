"""What `focalrow fit` finds for a scene; frozen, each part None where it was not asked for."""

from dataclasses import dataclass
from typing import Literal

from tracking.energy.fit.height import BestHeight
from tracking.energy.fit.hours import Span

Moved = Literal["perfectly", "by-plan", "seasonal", "fixed"]
"""How the mount is moved: kept aimed, by the plan with the fewest moves, the tilt set for seasons only, not at all."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """The answers for one scene, one span of time and one way of moving.

    `dni_sum` is that of all hours in which the lens may be aimed [Wh/m2]; `hours_without_dni` what a weather file
    lacks.
    """

    span: Span
    days: int
    moved: Moved
    dni_sum: float
    hours_without_dni: float
    height: BestHeight
