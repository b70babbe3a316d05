"""The lens height that absorbs most over a span, its uncertainty, and the heights that lose little against it."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.result import Estimate
from raytrace.scene import Scene
from raytrace.trace import prepare
from tracking.energy.fit.hours import Sunlight
from tracking.energy.fit.sample import Draws, Effort, absorbed_fractions, drawn, energies_of, estimate, jackknife
from tracking.mount import Mount, row_pose
from tracking.scenefile.clearance import gaps

LOSSES = (0.01, 0.02, 0.05)
"""Shares of the energy for which the band of heights is told."""

LEAST_SHARE, LARGEST_SHARE = 0.35, 1.4
"""Range of the first heights tried, over the focal length; where the best one lies at its upper end it grows. Lower
down the light is hardly concentrated any more."""

FARTHEST_SHARE = 4.0
"""Where it stops growing."""

FIRST_STEP = 0.08
"""Step of the first heights, over the focal length, or finer where the tubes are thin."""

MOST_FIRST, LEAST_FIRST = 33, 9
FINEST_STEP = 0.004
"""Step at which the search for the best height ends, over the focal length."""

BAND_STEP = 0.02
"""The same for the ends of the bands: what lies between is read off a straight line."""

TOP = 0.02
"""Heights that lose less than this share are fitted by a polynomial to find the best one."""

CLEARANCE = 5e-3
"""Least distance between tubes and sheet [m]. Common practice, no source."""

SURE = 2.0
"""Standard errors of a difference beyond which one candidate counts as better than another."""

NEGLIGIBLE = 1e-3
"""Share of the best energy below which a difference is of no use to anyone, however sure it is. Chosen, no source."""

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """Heights [m] that lose less than a share of the best energy; None where no end was found in what was tried."""

    loss: float
    low: Estimate | None
    high: Estimate | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Tried:
    """One lens height [m]: energy absorbed [J], and by how much the best height is above it, with the error of that
    difference, which is far smaller than those of the two energies.
    """

    height: float
    absorbed: Estimate
    shortfall: Estimate


@dataclass(frozen=True, kw_only=True, slots=True)
class BestHeight:
    """The outcome of the search. Lengths in [m], energies in [J].

    All tried heights up to the first and from the second of `like_best` on are surely worse: the best one is above them
    by more than two standard errors of the difference and by more than `NEGLIGIBLE`; None where no such height was
    tried. `possible_gain` is the largest share of the best energy by which any of the tried heights may still be above
    it, two standard errors out. The error of `height` holds that of the traces and, as an even spread, the distance of
    the heights tried around it. `at_end`: the best height lies at an end of what was tried. `interrupted`: stopped on
    the way, best so far.
    """

    height: Estimate
    absorbed: Estimate
    aperture: float
    like_best: tuple[float | None, float | None]
    possible_gain: float
    bands: tuple[Band, ...]
    tried: tuple[Tried, ...]
    own: Tried | None
    at_end: bool
    interrupted: bool


class Curve:
    """Energies over height, traced where asked for with the same hours and lattices at every height."""

    def __init__(self, scene: Scene, mount: Mount, draws: Draws, effort: Effort) -> None:
        self.scene, self.mount, self.draws, self.effort = scene, mount, draws, effort
        self.prepared = prepare(scene)
        self.known: dict[float, Floats] = {}

    def at(self, height: float) -> Floats:
        """Energy at a height [m], one estimate a replicate (replicates,) [J]."""
        key = round(height, 6)
        if key not in self.known:
            scene = replace(self.scene, lens_height=key)
            self.known[key] = energies_of(
                self.draws, absorbed_fractions(scene, self.mount, self.draws, self.effort, self.prepared)
            )
        return self.known[key]

    def arrays(self) -> tuple[Floats, Floats]:
        """Heights (n,) in order, and energies (replicates, n)."""
        heights = np.array(sorted(self.known))
        return heights, np.array([self.known[h] for h in heights.tolist()]).T

    def best(self) -> int:
        """Which of the heights in order has most."""
        return int(np.argmax(self.arrays()[1].mean(axis=0)))


def lowest_height(scene: Scene, mount: Mount) -> float:
    """Least height [m] at which the tubes keep clear of the sheet at every tilt, rounded up to a millimetre."""
    low, high = mount.tilt_limits
    tilts = np.array([0.0]) if mount.row_turns_with == "lens" else np.linspace(low, high, 1 + math.ceil(high - low))
    poses = [row_pose(mount, float(tilt), scene.tubes.angle_to_grooves) for tilt in tilts]
    least = max(0.02, 0.5 * scene.tubes.outer_diameter + max(0.0, scene.lens.sag) + CLEARANCE)

    def is_clear(height: float) -> bool:
        return float(gaps(replace(scene, lens_height=height), poses).min()) >= CLEARANCE

    below, above = math.ceil(1e3 * least - 1e-9), 10_000
    if is_clear(1e-3 * below):
        return 1e-3 * below
    while above - below > 1:
        middle = (below + above) // 2
        below, above = (below, middle) if is_clear(1e-3 * middle) else (middle, above)
    return 1e-3 * above


def best_height(
    scene: Scene,
    mount: Mount,
    light: Sunlight,
    *,
    effort: Effort | None = None,
    guess: Floats | None = None,
    progress: Progress | None = None,
) -> BestHeight:
    """Search the lens height that absorbs most of the light of a span.

    Parameters
    ----------
    scene
        Lens, tubes and sky optics; its own lens height is compared with the best one.
    mount
        Tells how the row lies.
    light
        The span as the mount is moved.
    effort
        Hours and rays for each height.
    guess : (n,) float, optional
        As for `drawn`.
    progress
        Called now and then with the share done. Ctrl-C during the search keeps the best height so far.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    effort = effort or Effort()
    curve = Curve(scene, mount, drawn(light, scene, effort, guess), effort)
    try:
        _search(curve, lowest_height(scene, mount), progress)
        return _outcome(curve, light.total, interrupted=False)
    except KeyboardInterrupt:
        if len(curve.known) < 2:
            raise
    return _outcome(curve, light.total, interrupted=True)


def _search(curve: Curve, lowest: float, progress: Progress | None) -> None:
    scene, focal = curve.scene, curve.scene.lens.focal_length
    done = 0

    def trace(height: float) -> None:
        nonlocal done
        curve.at(height)
        done += 1
        if progress is not None:
            progress(1.0 - 0.5 ** (done / USUAL_HALF))

    thin = 0.6 * (scene.tubes.absorber_diameter + 0.01 * focal) / scene.lens.width
    step = focal * min(FIRST_STEP, thin)
    low, high = max(lowest, LEAST_SHARE * focal), max(LARGEST_SHARE * focal, lowest + LEAST_SHARE * focal)
    count = min(MOST_FIRST, max(LEAST_FIRST, 1 + math.ceil((high - low) / step)))
    trace(scene.lens_height)
    for height in np.linspace(low, high, count).tolist():
        trace(height)
    step = (high - low) / (count - 1)
    farthest = min(10.0, FARTHEST_SHARE * focal)
    while True:  # outward, as long as the best height lies at an end
        heights, _ = curve.arrays()
        best = curve.best()
        if best == len(heights) - 1 and heights[-1] < farthest - 1e-6:
            trace(min(farthest, float(heights[-1]) + step))
        else:
            break
    while (gap := _widest_gap(curve)) is not None:
        trace(gap)


USUAL_HALF = 15.0
"""Heights after which the bar stands at one half: how many there will be is not known before."""


def _widest_gap(curve: Curve) -> float | None:
    """A height that is worth a trace: beside the best one, or where a band ends; None when all is fine enough."""
    heights, energies = curve.arrays()
    mean = energies.mean(axis=0)
    focal = curve.scene.lens.focal_length
    best = int(np.argmax(mean))
    wanted: list[tuple[float, float]] = []
    # A point is worth less than its neighbours' noise allows to see: the search stops where they look alike.
    for left in (best - 1, best):
        if 0 <= left < len(heights) - 1:
            width = heights[left + 1] - heights[left]
            differences = energies[:, best] - energies[:, left if left != best else best + 1]
            apart = estimate(differences)
            told = is_worse(apart, float(mean[best]))
            if width > FINEST_STEP * focal and (told or width > BAND_STEP * focal):
                wanted.append((width / FINEST_STEP, 0.5 * (heights[left] + heights[left + 1])))
    for loss in LOSSES:
        over = mean >= (1.0 - loss) * mean[best]
        for left in np.flatnonzero(over[1:] != over[:-1]).tolist():
            width = heights[left + 1] - heights[left]
            if width > BAND_STEP * focal:
                wanted.append((width / BAND_STEP, 0.5 * (heights[left] + heights[left + 1])))
    return max(wanted)[1] if wanted else None


def _peak(heights: Floats, mean: Floats) -> float:
    """Where a polynomial through the highest points has its maximum [m], between the two outermost of them."""
    best = int(np.argmax(mean))
    top = np.flatnonzero(mean >= (1.0 - TOP) * mean[best])
    first, last = min(top[0], max(0, best - 2)), max(top[-1], min(len(mean) - 1, best + 2))
    near = np.arange(first, last + 1)
    if len(near) < 3:
        return float(heights[best])
    middle, half = 0.5 * (heights[first] + heights[last]), 0.5 * (heights[last] - heights[first])
    fit = np.polynomial.Polynomial.fit(
        (heights[near] - middle) / half, mean[near], deg=min(4, len(near) - 1), domain=[-1, 1]
    )
    places = np.linspace(-1.0, 1.0, 801)
    return float(middle + half * places[int(np.argmax(fit(places)))])


def _end(heights: Floats, mean: Floats, best: int, loss: float, way: int) -> float | None:
    """Height at which the energy has fallen by a share, on one side of the best; None where it has not."""
    wanted = (1.0 - loss) * mean[best]
    k = best
    while 0 <= k + way < len(heights):
        if mean[k + way] < wanted:
            share = (mean[k] - wanted) / (mean[k] - mean[k + way])
            return float(heights[k] + share * (heights[k + way] - heights[k]))
        k += way
    return None


def _outcome(curve: Curve, aperture: float, *, interrupted: bool) -> BestHeight:
    heights, energies = curve.arrays()
    place = jackknife(energies, lambda mean: _peak(heights, mean))
    if not interrupted:
        # The polynomial's peak stands if it is as good as the best height tried; it has one trace more of its own.
        own = curve.at(place.value)
        if float(own.mean()) < float(energies.mean(axis=0).max()):
            place = Estimate(value=float(heights[curve_best(energies)]), standard_error=place.standard_error)
    else:
        place = Estimate(value=float(heights[curve_best(energies)]), standard_error=place.standard_error)
    heights, energies = curve.arrays()
    best = int(np.argmin(np.abs(heights - place.value)))
    mean = energies.mean(axis=0)
    peak = estimate(energies[:, best])
    tried = tuple(
        Tried(
            height=float(height),
            absorbed=estimate(energies[:, k]),
            shortfall=estimate(energies[:, best] - energies[:, k]),
        )
        for k, height in enumerate(heights.tolist())
    )
    alike = np.flatnonzero([not is_worse(each.shortfall, peak.value) for each in tried])
    below = tried[int(alike[0]) - 1].height if alike[0] > 0 else None
    above = tried[int(alike[-1]) + 1].height if alike[-1] < len(tried) - 1 else None
    gap = 0.5 * (heights[min(best + 1, len(heights) - 1)] - heights[max(best - 1, 0)])
    doubt = math.hypot(place.standard_error, float(gap) / math.sqrt(12.0))
    most = max((SURE * each.shortfall.standard_error - each.shortfall.value for each in tried), default=0.0)

    def end(loss: float, way: int) -> Estimate | None:
        if _end(heights, mean, best, loss, way) is None:
            return None
        return jackknife(energies, lambda m: _end(heights, m, best, loss, way) or float(heights[-1 if way > 0 else 0]))

    scene_height = round(curve.scene.lens_height, 6)
    return BestHeight(
        height=Estimate(value=float(heights[best]), standard_error=doubt),
        absorbed=peak,
        aperture=aperture,
        like_best=(below, above),
        possible_gain=most / peak.value if peak.value > 0.0 else 0.0,
        bands=tuple(Band(loss=loss, low=end(loss, -1), high=end(loss, 1)) for loss in LOSSES),
        tried=tried,
        own=next((each for each in tried if each.height == scene_height), None),
        at_end=best in {0, len(heights) - 1},
        interrupted=interrupted,
    )


def is_worse(shortfall: Estimate, best: float) -> bool:
    """Whether a candidate that falls short of the best energy [J] is surely worse, and not only by a hair."""
    return shortfall.value > max(SURE * shortfall.standard_error, NEGLIGIBLE * best)


def curve_best(energies: Floats) -> int:
    """Which of the candidates (replicates, n) has most."""
    return int(np.argmax(energies.mean(axis=0)))
