"""What measured widths tell of a lens: intervals, the best lens for each side, and how sure the side is."""

import math
from dataclasses import dataclass

from raytrace.scene import GroovesSide
from tracking.energy.fit.widths import SIDES, MeasuredWidths

CLEAR_RATIO = 20.0
"""Likelihood ratio from which one side, or one of two focal lengths, counts as told. Common practice, no source."""

BAD_FIT = 0.01
"""Chance of so large a misfit below which the sheet is not such a lens, or the uncertainties are too small."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Interval:
    """A value and the ends of its intervals of about 68 and 95 %: where the squares rise by 1 and by 3.84."""

    value: float
    low: float
    high: float
    low_95: float
    high_95: float

    @property
    def uncertainty(self) -> float:
        """Half its width."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True, kw_only=True, slots=True)
class SideFit:
    """The best lens that is cut for one side.

    `focal_length` [m], `slope_error` [mrad]. `misfit` are the weighted squares, with `freedom` degrees; `chance` is
    that of a larger misfit if the lens is such a one. `deviance` is minus twice the logarithm of the likelihood.
    `predicted` are its widths at the measured heights, `spread` the standard uncertainties of the comparisons [m].
    `correlation` is that of focal length and squared slope error. `at_end`: the region reaches the end of what could be
    tried.
    """

    cut_for: GroovesSide
    focal_length: Interval
    slope_error: Interval
    correlation: float
    misfit: float
    freedom: int
    chance: float
    deviance: float
    predicted: tuple[float, ...]
    spread: tuple[float, ...]
    at_end: bool

    @property
    def fits(self) -> bool:
        """Whether such a lens may give these widths."""
        return self.chance >= BAD_FIT


@dataclass(frozen=True, kw_only=True, slots=True)
class BoughtLens:
    """The answer: the best lens for each side that a sheet could be cut for at all, the likelier one first.

    `rivals` are other focal lengths, with their likelihood over that of the first lens, that cannot be ruled out.
    """

    measured: MeasuredWidths
    sides: tuple[SideFit, ...]
    rivals: tuple[tuple[SideFit, float], ...]

    @property
    def best(self) -> SideFit:
        """The likelier of the sides."""
        return self.sides[0]

    @property
    def ratio(self) -> float | None:
        """Likelihood of the first side over that of the other; None if the other cannot be cut at all."""
        if len(self.sides) < len(SIDES):
            return None
        return math.exp(min(MOST_LOG, 0.5 * (self.sides[1].deviance - self.sides[0].deviance)))

    @property
    def side_is_told(self) -> bool:
        """Whether the widths tell the side."""
        return self.ratio is None or self.ratio >= CLEAR_RATIO


MOST_LOG = 200.0
"""Logarithm at which a ratio is cut: no one needs a larger one."""


def chance_of_larger(squares: float, freedom: int) -> float:
    """Chance that a chi-square of so many degrees of freedom is larger; the closed forms for whole degrees.

    M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 1964, 26.4.4 and 26.4.5.
    """
    half = 0.5 * squares
    if freedom % 2 == 0:
        term, total = 1.0, 1.0
        for k in range(1, freedom // 2):
            term *= half / k
            total += term
        return min(1.0, math.exp(-half) * total)
    total = math.erfc(math.sqrt(half))
    term = math.exp(-half) * math.sqrt(half) * 2.0 / math.sqrt(math.pi)
    for k in range(1, freedom - 1, 2):
        total += term
        term *= squares / (k + 2)
    return min(1.0, total)
