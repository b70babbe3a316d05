"""Widths over a box of focal lengths and slope errors as smooth surfaces, and how they agree with measured ones."""

import math
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats

MOST_SLOPE_ERROR = 20.0
"""Largest slope error that is looked for [mrad]: beyond it a sheet makes no line. Common practice, no source."""

REACH = 3.0
"""Standard uncertainties to either side that a box holds at the end."""

FINE = 161
"""Points, each way, at which the surface is read."""

LEAST_STEP = (2e-4, 0.3)
"""Least half-width by which a box goes on: over the focal length, and squared slope error [mrad2]."""

ROOM = 0.1
"""Share of its width by which one box may stick out of the other that holds it."""


def nodes(count: int) -> Floats:
    """Places (count,) between 0 and 1, denser at the ends: the roots of Chebyshev's polynomial."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / count))


def terms(x: Floats, y: Floats) -> Floats:
    """Terms of a surface of second order, with the third order along the focal length, (..., 7)."""
    one = np.ones_like(x)
    return np.stack([one, x, y, x * x, x * y, y * y, x**3], axis=-1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Box:
    """Focal lengths [m] and squared slope errors [mrad2] between which is searched."""

    focal: tuple[float, float]
    squared: tuple[float, float]

    def unit(self, focal: float, squared: float) -> tuple[float, float]:
        """The place, counted from -1 to 1 across the box."""
        across, along = (
            2.0 * (value - low) / (high - low) - 1.0
            for value, (low, high) in zip((focal, squared), (self.focal, self.squared), strict=True)
        )
        return across, along

    def holds(self, other: "Box") -> bool:
        """Whether the other lies within, but for a tenth of its width."""
        return all(
            own[0] <= theirs[0] + ROOM * (theirs[1] - theirs[0])
            and own[1] >= theirs[1] - ROOM * (theirs[1] - theirs[0])
            for own, theirs in ((self.focal, other.focal), (self.squared, other.squared))
        )

    def much_smaller_than(self, other: "Box") -> bool:
        """Whether it is less than half as wide in one direction: then the other is too coarse."""
        return any(
            own[1] - own[0] < 0.5 * (theirs[1] - theirs[0])
            for own, theirs in ((self.focal, other.focal), (self.squared, other.squared))
        )


class Surface:
    """Smooth surfaces through widths over a box.

    Parameters
    ----------
    box
        Focal lengths and squared slope errors.
    factors
        Of the terms, for each of the n widths (7, n) [m].
    variance, measured
        Of each comparison (n,) [m2], and the measured widths (n,) [m].
    """

    def __init__(self, box: Box, factors: Floats, variance: Floats, measured: Floats) -> None:
        self.box, self.variance = box, variance
        self.focal, self.squared = (np.linspace(*ends, FINE) for ends in (box.focal, box.squared))
        steps = np.linspace(-1.0, 1.0, FINE)
        self.widths = terms(*np.meshgrid(steps, steps, indexing="ij")) @ factors
        self.squares = (((self.widths - measured) ** 2) / variance).sum(axis=-1)
        row, column = divmod(int(np.argmin(self.squares)), FINE)
        self.least = (row, column)

    def best(self) -> tuple[float, float]:
        """Focal length and squared slope error that agree best."""
        return float(self.focal[self.least[0]]), float(self.squared[self.least[1]])

    def interval(self, axis: int, rise: float = 1.0) -> tuple[float, float]:
        """Where the least squares at each value of one axis rise by so much, to either side; else the box's ends."""
        values = (self.focal, self.squared)[axis]
        profile = self.squares.min(axis=1 - axis) - float(self.squares[self.least])
        ends = []
        for way in (-1, 1):
            k = int(self.least[axis])
            while 0 <= k + way < FINE and profile[k + way] < rise:
                k += way
            if 0 <= k + way < FINE:
                share = (rise - profile[k]) / (profile[k + way] - profile[k])
                ends.append(float(values[k] + share * (values[k + way] - values[k])))
            else:
                ends.append(float(values[k]))
        return ends[0], ends[1]

    def box_around(self) -> Box:
        """The box that holds what lies within a few standard uncertainties, wider where this one is too narrow."""
        best = self.best()
        found = []
        for axis, (box, most) in enumerate(
            ((self.box.focal, math.inf), (self.box.squared, MOST_SLOPE_ERROR**2))
        ):
            low, high = self.interval(axis)
            least = LEAST_STEP[axis] * (best[0] if axis == 0 else 1.0)
            down, up = max(best[axis] - low, least), max(high - best[axis], least)
            # An end that was not found within the box lies farther out than the box's end.
            down = down * (2.0 if low <= box[0] and low > 0.0 else 1.0)
            up = up * (2.0 if high >= box[1] else 1.0)
            wide = max(down, up) if axis == 1 else 0.5 * (down + up)
            found.append((best[axis] - REACH * max(down, wide), min(most, best[axis] + REACH * max(up, wide))))
        return Box(focal=found[0], squared=(max(0.0, found[1][0]), max(found[1][1], 1.0)))

    @property
    def misfit(self) -> float:
        """The weighted squares where they are least."""
        return float(self.squares[self.least])

    @property
    def deviance(self) -> float:
        """Minus twice the logarithm of the likelihood there, but for a constant."""
        return self.misfit + float(np.log(self.variance).sum())

    @property
    def predicted(self) -> Floats:
        """Widths there (n,) [m]."""
        return np.asarray(self.widths[self.least])

    def correlation(self) -> float:
        """Correlation of focal length and squared slope error, from the slopes of the widths at the best place."""
        row, column = (min(max(k, 1), FINE - 2) for k in self.least)
        changes = (
            self.widths[row + 1, column] - self.widths[row - 1, column],
            self.widths[row, column + 1] - self.widths[row, column - 1],
        )
        slopes = [change / np.sqrt(self.variance) for change in changes]  # the steps fall out of the correlation
        information = np.array([[a @ b for a in slopes] for b in slopes])
        product = float(information[0, 0] * information[1, 1])
        return -float(information[0, 1]) / math.sqrt(product) if product > 0.0 else 0.0
