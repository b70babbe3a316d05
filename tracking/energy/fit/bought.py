"""Which lens was it? Focal length, slope error and the side it was cut for, from measured widths of the focal line.

For each side the widths at the measured heights are traced over a small grid of focal lengths and slope errors, always
with the same random numbers, and a smooth surface of second order is laid through them; on it the weighted squares are
summed. The grid is moved and shrunk until it holds the region within a few standard uncertainties. That region is read
off, not assumed to be an ellipse, as a slope error cannot be negative (profile likelihood: Particle Data Group, Review
of Particle Physics, chapter Statistics, section on intervals from the likelihood; value from memory, to be confirmed).

An uncertain height counts as an uncertain width, by how much the width changes within it (effective variance: J. Orear,
American Journal of Physics 50 (1982) 912; citation from memory, to be confirmed).
"""

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from raytrace.arrays import Floats
from raytrace.compiling import default_threads
from raytrace.scene import GroovesSide, Scene
from tracking.energy.fit.lens_found import CLEAR_RATIO, BoughtLens, Interval, SideFit, chance_of_larger
from tracking.energy.fit.traced_widths import TracedWidths
from tracking.energy.fit.width_surface import MOST_SLOPE_ERROR, Box, Surface, nodes, terms
from tracking.energy.fit.widths import SIDES, MeasuredWidth, MeasuredWidths

SCAN_RAYS, FIRST_RAYS, LAST_RAYS = 1 << 12, 1 << 14, 1 << 16
"""Rays of a width in the first look over all focal lengths, and in the first and the last grid."""

SCAN_STEP = 0.08
"""Step of the first look, over the focal length."""

SCAN_FROM, SCAN_TO = 0.4, 2.5
"""Where it begins, over the least height, and ends, over the greatest."""

SCAN_SLOPE_ERROR = 3.0
"""Slope error of the first look [mrad]: it hardly matters there."""

FIRST_SLOPE_ERROR = 8.0
"""Slope error up to which the first grid goes [mrad]."""

GRID = (5, 3)
"""Focal lengths, and slope errors, of a grid."""

HOPELESS = 1e-9
"""Chance of so large a misfit below which a side is not followed further."""

MOST_ROUNDS = 5
MOST_STARTS = 3
"""Lowest places of the first look that are followed up."""

FAR_ABOVE = 30.0
"""Places that are by so much worse than the best one in the first look are not."""

Progress = Callable[[float], None]


def bought_lens(
    scene: Scene,
    measured: MeasuredWidths,
    *,
    last_rays: int = LAST_RAYS,
    seed: int = 0,
    threads: int | None = None,
    progress: Progress | None = None,
) -> BoughtLens:
    """The lens that gives the measured widths.

    Parameters
    ----------
    scene
        Sheet and sun as far as they are known: width, thickness, groove pitch, material, sunshape. Its focal length,
        slope error and `cut_for` are not used.
    measured
        The widths.
    last_rays
        Rays for each width in the last grids.
    seed, threads
        Random numbers, and threads, on which the result does not depend.
    progress
        Called now and then with the share done.

    Raises
    ------
    ValueError
        If no sheet of this width, pitch and thickness can be cut for a focal length near these heights.
    """
    widths = TracedWidths(scene, measured.kind, seed=seed)
    found: list[SideFit] = []
    with ThreadPoolExecutor(max_workers=threads or default_threads()) as pool:
        for k, side in enumerate(SIDES):
            search = _Search(widths, measured, side, pool=pool, last_rays=last_rays)
            starts = search.starts()
            for n, start in enumerate(starts):
                found.append(search.refined(start))
                if progress is not None:
                    progress((k + (n + 1) / len(starts)) / len(SIDES))
    if not found:
        raise ValueError(
            "lens.width, lens.groove_pitch and lens.thickness: no such sheet can be cut for a focal length near the "
            "measured heights. Allowed: the sheet's real measures, and heights around its focal length."
        )
    found.sort(key=lambda each: each.deviance)
    kept: list[SideFit] = []
    for each in found:  # the same place found twice is no other lens
        if not any(_same_place(each, other) for other in kept):
            kept.append(each)
    best = kept[0]
    sides = [next(each for each in kept if each.cut_for == side) for side in dict.fromkeys(e.cut_for for e in kept)]
    likely = [(each, math.exp(0.5 * (best.deviance - each.deviance))) for each in kept if each not in sides]
    rivals = tuple((each, ratio) for each, ratio in likely if ratio * CLEAR_RATIO > 1.0)
    return BoughtLens(measured=measured, sides=tuple(sides), rivals=rivals)


def _same_place(one: SideFit, other: SideFit) -> bool:
    """Whether two lenses are cut for the same side and their focal lengths cannot be told apart."""
    apart = abs(one.focal_length.value - other.focal_length.value)
    return one.cut_for == other.cut_for and apart <= one.focal_length.uncertainty + other.focal_length.uncertainty


class _Search:
    """The search for the best lens that is cut for one side."""

    def __init__(
        self,
        widths: TracedWidths,
        measured: MeasuredWidths,
        cut_for: GroovesSide,
        *,
        pool: ThreadPoolExecutor,
        last_rays: int,
    ) -> None:
        self.widths, self.lines, self.cut_for, self.pool = widths, measured.lines, cut_for, pool
        self.last_rays = last_rays
        self.measured = np.array([line.width for line in self.lines])
        self.freedom = len(self.lines) - 2
        self.own_variance = np.array([line.width_uncertainty**2 for line in self.lines])

    def traced(self, focal_length: float, squared: float, rays: int, shift: float = 0.0) -> Floats:
        """Widths at all lines (n,) [m], of a squared slope error, heights shifted by a share of their uncertainty."""

        def one(line: MeasuredWidth) -> float:
            height = max(LEAST_TRACED, line.height + shift * line.height_uncertainty)
            return self.widths.width(
                focal_length, math.sqrt(squared), self.cut_for, line.grooves_toward, height, rays=rays
            )

        for side in {line.grooves_toward for line in self.lines}:
            self.widths.prepared(focal_length, self.cut_for, side)
        return np.array(list(self.pool.map(one, self.lines)))

    def can_be_cut(self, focal_length: float) -> bool:
        """Whether there is such a sheet."""
        try:
            self.widths.prepared(focal_length, self.cut_for, "tubes")
        except ValueError:
            return False
        return True

    def starts(self) -> list[float]:
        """Focal lengths worth a closer look: the lowest places of a first look over all of them [m]."""
        heights = [line.height for line in self.lines]
        low, high = max(0.02, SCAN_FROM * min(heights)), min(10.0, SCAN_TO * max(heights))
        count = 2 + math.ceil(math.log(high / low) / SCAN_STEP)
        focal = [f for f in np.geomspace(low, high, count).tolist() if self.can_be_cut(f)]
        if not focal:
            return []
        # A width may be off by what half a step changes in it.
        variance = self.own_variance + (0.5 * SCAN_STEP * self.widths.scene.lens.width) ** 2
        squares = []
        for each in focal:
            widths = self.traced(each, SCAN_SLOPE_ERROR**2, SCAN_RAYS)
            squares.append(float((((widths - self.measured) ** 2) / variance).sum()))
        lowest = [
            k
            for k in range(len(focal))
            if squares[k] <= min(squares[max(0, k - 1) : k + 2]) and squares[k] <= min(squares) + FAR_ABOVE
        ]
        return [focal[k] for k in sorted(lowest, key=lambda k: squares[k])[:MOST_STARTS]]

    def refined(self, start: float) -> SideFit:
        """The best lens near a focal length."""
        box = Box(
            focal=(start * (1.0 - 1.5 * SCAN_STEP), start * (1.0 + 1.5 * SCAN_STEP)),
            squared=(0.0, FIRST_SLOPE_ERROR**2),
        )
        first = min(FIRST_RAYS, self.last_rays)
        surface = self._surface(self._feasible(box), first)
        for number in range(1, MOST_ROUNDS):
            box = self._feasible(surface.box_around())
            surface = self._surface(box, first if number == 1 else self.last_rays)
            wanted = surface.box_around()
            if number > 1 and box.holds(wanted) and not wanted.much_smaller_than(box):
                break
            if chance_of_larger(surface.misfit, self.freedom) < HOPELESS:
                break
        return self._told(surface)

    def _told(self, surface: Surface) -> SideFit:
        """What is told of the best place on a surface."""
        focal, squared = surface.best()
        focal_ends = [*surface.interval(0), *surface.interval(0, RISE_95)]
        slope_ends = [math.sqrt(max(0.0, end)) for end in (*surface.interval(1), *surface.interval(1, RISE_95))]
        return SideFit(
            cut_for=self.cut_for,
            focal_length=_interval(focal, focal_ends),
            slope_error=_interval(math.sqrt(squared), slope_ends),
            correlation=surface.correlation(),
            misfit=surface.misfit,
            freedom=self.freedom,
            chance=chance_of_larger(surface.misfit, self.freedom),
            deviance=surface.deviance,
            predicted=tuple(surface.predicted.tolist()),
            spread=tuple(np.sqrt(surface.variance).tolist()),
            at_end=slope_ends[1] >= MOST_SLOPE_ERROR * (1.0 - 1e-9),
        )

    def _feasible(self, box: Box) -> Box:
        """The box, cut to focal lengths for which a sheet can be cut."""
        low, high = max(0.02, box.focal[0]), min(10.0, box.focal[1])
        if not self.can_be_cut(low):
            bad, good = low, high
            for _ in range(30):
                middle = 0.5 * (bad + good)
                bad, good = (bad, middle) if self.can_be_cut(middle) else (middle, good)
            low = good
        return Box(focal=(low, max(high, low * (1.0 + LEAST_WIDE))), squared=box.squared)

    def _surface(self, box: Box, rays: int) -> Surface:
        focal, squared = (
            low + nodes(count) * (high - low)
            for count, (low, high) in zip(GRID, (box.focal, box.squared), strict=True)
        )
        places = [(f, q) for f in focal.tolist() for q in squared.tolist()]
        traced = np.array([self.traced(f, q, rays) for f, q in places])
        unit = np.array([box.unit(f, q) for f, q in places])
        parts = terms(unit[:, 0], unit[:, 1])
        factors, *_ = np.linalg.lstsq(parts, traced, rcond=None)
        left_over = traced - parts @ factors
        variance = self.own_variance + (left_over**2).sum(axis=0) / (len(places) - parts.shape[1])
        # First by the nearest of the traced lenses, then by the best one on the surface.
        near = places[int(np.argmin((((traced - self.measured) ** 2) / self.own_variance).sum(axis=1)))]
        best = Surface(box, factors, variance + self._of_heights(near, rays), self.measured).best()
        errors = np.array([self._error(best, line, rays) for line in self.lines])  # of the tracing itself
        return Surface(box, factors, variance + self._of_heights(best, rays) + errors**2, self.measured)

    def _of_heights(self, place: tuple[float, float], rays: int) -> Floats:
        """Variance of the widths (n,) that comes from the uncertainties of the heights [m2]."""
        middle, up, down = (self.traced(*place, rays, shift) for shift in (0.0, 1.0, -1.0))
        # Beside the narrowest place a width grows to both sides: the mean of the two changes, not their difference.
        return np.asarray((0.5 * (np.abs(up - middle) + np.abs(down - middle))) ** 2)

    def _error(self, place: tuple[float, float], line: MeasuredWidth, rays: int) -> float:
        return self.widths.standard_error(
            place[0], math.sqrt(place[1]), self.cut_for, line.grooves_toward, line.height, rays=rays
        )


def _interval(value: float, ends: list[float]) -> Interval:
    low, high, low_95, high_95 = ends
    return Interval(value=value, low=low, high=high, low_95=low_95, high_95=high_95)


RISE_95 = 3.841
"""Rise of the squares at the ends of an interval of 95 %: the quantile of chi-square with one degree of freedom."""

LEAST_TRACED = 0.02
"""Least height that can be traced [m]."""

LEAST_WIDE = 1e-4
"""Least width of a box, over the focal length."""
