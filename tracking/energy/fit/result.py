"""What `focalrow fit` finds for a scene; frozen, each part None where it was not asked for."""

import datetime as dt
from dataclasses import dataclass
from typing import Literal, get_args

from tracking.energy.fit.height import BestHeight
from tracking.energy.fit.hours import Span
from tracking.energy.fit.seasons import Season
from tracking.energy.fit.tilt import Tilt
from tracking.mount import Setting

Way = Literal["perfectly", "by-plan", "seasonal", "fixed"]
"""How the mount is moved: kept aimed, by the plan with the fewest moves, the tilt set for seasons only, not at all."""


WAYS: tuple[Way, ...] = get_args(Way)


@dataclass(frozen=True, kw_only=True, slots=True)
class DayMoves:
    """The plan of a day that stands for its month: how often the lens is set, and the share of energy lost."""

    date: dt.date
    moves: int
    loss: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """The answers for one scene, one span of time and one way of moving.

    `worst_month`: the span is that month of the year in which the mount, moved that way, absorbs least a day. `setting`
    is the one of a lens that stands still, `seasons` the tilts of one that is moved for the seasons only, `moves` the
    plans of one that is moved by plans. `dni_sum` is that of all hours in which the lens may be aimed [Wh/m2];
    `hours_without_dni` what a weather file lacks. `interrupted`: stopped on the way, what is there is what was found.
    """

    span: Span
    worst_month: bool
    days: int
    moved: Way
    dni_sum: float
    hours_without_dni: float
    height: BestHeight
    setting: Setting | None
    seasons: tuple[Season, ...]
    moves: tuple[DayMoves, ...]
    tilt: Tilt | None
    interrupted: bool
