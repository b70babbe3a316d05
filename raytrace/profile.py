"""The focal line: the profile of light on the plane of the tubes, and its widths."""

import functools
import math
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from raytrace.result import FocalLine
from raytrace.scene import Scene

FINE_WIDTH = 1e-4  # [m], bins that the quantiles are read from
COARSE_WIDTH = 5e-4  # [m], bins of the full width at half maximum; one edge lies at x = 0
REACH_OVER_HALF_WIDTH = 1.25
"""Half of the finely binned stretch, over the lens's half-width: light that goes straight on lies within it."""
LEAST_REACH = 0.15  # [m]
OUTER_RATIO = 1.01  # growth of the outer bins: stray light out there is placed to 1 %
OUTER_BINS = 700  # on either side: a thousand times the fine reach
TRIM = 0.05  # share cut from either end for the centroid


@dataclass(frozen=True, kw_only=True, slots=True)
class ProfileWindow:
    """Bins across the grooves: even ones about the centre, then ever wider ones on both sides. Lengths in [m]."""

    centre: float
    fine_width: float
    fine_bins: int
    outer_bins: int
    outer_ratio_log: float

    def edges(self) -> Floats:
        """Edges of all bins in rising order, (bins + 1,) float [m]."""
        return self.centre + _edges_about_zero(self.fine_width, self.fine_bins, self.outer_bins, self.outer_ratio_log)


@functools.lru_cache(maxsize=8)
def _edges_about_zero(fine_width: float, fine_bins: int, outer_bins: int, outer_ratio_log: float) -> Floats:
    """Edges of the bins of a window about 0. Remembered: a table summarises thousands of profiles of one scene."""
    half = 0.5 * fine_bins * fine_width
    outer = half * np.exp(outer_ratio_log * np.arange(1, outer_bins + 1))
    return np.concatenate([-outer[::-1], np.linspace(-half, half, fine_bins + 1), outer])


def profile_window(scene: Scene, tan_transversal: float) -> ProfileWindow:
    """Bins about the place where the ray through the middle of the lens arrives."""
    cells = round(-scene.lens_height * tan_transversal / COARSE_WIDTH)
    reach = max(LEAST_REACH, REACH_OVER_HALF_WIDTH * 0.5 * scene.lens.width)
    half_bins = math.ceil(reach / COARSE_WIDTH) * round(COARSE_WIDTH / FINE_WIDTH)
    return ProfileWindow(
        centre=cells * COARSE_WIDTH,
        fine_width=FINE_WIDTH,
        fine_bins=2 * half_bins,
        outer_bins=OUTER_BINS,
        outer_ratio_log=math.log(OUTER_RATIO),
    )


def _cumulative(profile: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(profile)])


def _quantiles(cumulative: Floats, edges: Floats, shares: list[float]) -> Floats:
    """Places below which these shares of the light lie; within a bin its light is spread evenly."""
    wanted = np.array(shares) * cumulative[-1]
    # The first bin whose upper edge reaches the share is never an empty one.
    cell = np.clip(np.searchsorted(cumulative, wanted, side="left") - 1, 0, len(cumulative) - 2)
    inside = (wanted - cumulative[cell]) / (cumulative[cell + 1] - cumulative[cell])
    return np.asarray(edges[cell] + inside * (edges[cell + 1] - edges[cell]), dtype=np.float64)


def _widths(cumulative: Floats, edges: Floats) -> tuple[float, float, float]:
    low95, low90, low50, high50, high90, high95 = _quantiles(cumulative, edges, [0.025, 0.05, 0.25, 0.75, 0.95, 0.975])
    return float(high50 - low50), float(high90 - low90), float(high95 - low95)


def _fwhm(profile: Floats, window: ProfileWindow) -> float | None:
    """Full width at half maximum between the outermost crossings, linear between the centres of 0.5 mm bins.

    None where most of the light lies outside the fine bins: then the line has no peak that they could show.
    """
    fine = profile[window.outer_bins : window.outer_bins + window.fine_bins]
    if 2.0 * float(fine.sum()) < float(profile.sum()):
        return None
    per_coarse = round(COARSE_WIDTH / FINE_WIDTH)
    coarse = np.concatenate([[0.0], fine.reshape(-1, per_coarse).sum(axis=1), [0.0]])
    half = 0.5 * float(coarse.max())
    if half <= 0.0:
        return None
    above = np.flatnonzero(coarse >= half)
    first, last = int(above[0]), int(above[-1])
    rise = (half - coarse[first - 1]) / (coarse[first] - coarse[first - 1])
    fall = (coarse[last] - half) / (coarse[last] - coarse[last + 1])
    return float(last + fall - (first - 1 + rise)) * COARSE_WIDTH


def _centroid(profile: Floats, cumulative: Floats, edges: Floats) -> float:
    """Mean place of the central 90 % of the light; the mean of all of it would hang on a few stray rays."""
    low, high = TRIM * cumulative[-1], (1.0 - TRIM) * cumulative[-1]
    ends = _quantiles(cumulative, edges, [TRIM, 1.0 - TRIM])
    first, last = (
        int(np.searchsorted(cumulative, low, side="left")),
        int(np.searchsorted(cumulative, high, side="left")) - 1,
    )
    # Whole bins by their middles, the two that are cut by the middles of what is left of them.
    whole = slice(first, last)
    moment = float((0.5 * (edges[1:][whole] + edges[:-1][whole]) * profile[whole]).sum())
    if first > last:
        return float(0.5 * (ends[0] + ends[1]))
    moment += 0.5 * (ends[0] + edges[first]) * (cumulative[first] - low)
    moment += 0.5 * (edges[last] + ends[1]) * (high - cumulative[last])
    return float(moment / (high - low))


def summarise_profile(profiles: Floats, window: ProfileWindow, absorber_diameter: float) -> FocalLine:
    """Centroid, widths and the share near the centre from the profiles of all replicates, (replicates, bins) float.

    The standard error of w90 is the jackknife's over the replicates: Efron and Stein, Annals of Statistics 9
    (1981) 586.
    """
    total = profiles.sum(axis=0)
    if float(total.sum()) <= 0.0:
        return FocalLine(
            centroid=None,
            w50=None,
            w90=None,
            w95=None,
            fwhm=None,
            standard_error_w90=None,
            share_within_absorber_diameter=None,
        )
    edges, cumulative = window.edges(), _cumulative(total)
    w50, w90, w95 = _widths(cumulative, edges)
    count = len(profiles)
    left_out = [total - own for own in profiles]
    without = np.array([_widths(_cumulative(rest), edges)[1] for rest in left_out if float(rest.sum()) > 0.0])
    error = math.sqrt((count - 1) / count * float(((without - without.mean()) ** 2).sum()))
    centroid = _centroid(total, cumulative, edges)
    near = np.interp([centroid - absorber_diameter, centroid + absorber_diameter], edges, cumulative)
    return FocalLine(
        centroid=centroid,
        w50=w50,
        w90=w90,
        w95=w95,
        fwhm=_fwhm(total, window),
        standard_error_w90=error,
        share_within_absorber_diameter=float((near[1] - near[0]) / total.sum()),
    )


def profile_widths(profile: Floats, window: ProfileWindow) -> Floats:
    """w50, w90, w95, fwhm and centroid of one profile, (5,) float [m]; zeros where no light arrives."""
    cumulative = _cumulative(profile)
    if cumulative[-1] <= 0.0:
        return np.zeros(5)
    edges = window.edges()
    fwhm = _fwhm(profile, window)
    return np.array(
        [*_widths(cumulative, edges), 0.0 if fwhm is None else fwhm, _centroid(profile, cumulative, edges)]
    )
