"""Widths, centroid and share of the focal line, from profiles whose answers are known."""

import math

import numpy as np
import pytest

from raytrace.arrays import Floats
from raytrace.profile import ProfileWindow, profile_window, summarise_profile
from raytrace.result import FocalLine
from raytrace.scene import Lens, Scene, SunOptics, Tubes

WINDOW = ProfileWindow(centre=0.0, fine_width=1e-4, fine_bins=4000, outer_bins=700, outer_ratio_log=math.log(1.01))
REPLICATES = 16


def summary(density: Floats, window: ProfileWindow = WINDOW, *, diameter: float = 0.04) -> FocalLine:
    """Of one profile, the same in every replicate."""
    return summarise_profile(np.tile(density / REPLICATES, (REPLICATES, 1)), window, diameter)


def held_between(edges: Floats, low: float, high: float) -> Floats:
    """Light of an even strip from low to high, in each bin."""
    return np.maximum(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0.0)


def test_edges_of_the_bins_rise_and_are_centred() -> None:
    edges = WINDOW.edges()
    assert len(edges) == 4000 + 2 * 700 + 1
    assert (np.diff(edges) > 0.0).all()
    assert edges == pytest.approx(-edges[::-1], abs=1e-12)
    assert edges[700 : 700 + 4001] == pytest.approx(np.linspace(-0.2, 0.2, 4001), abs=1e-12)
    assert edges[-1] == pytest.approx(0.2 * 1.01**700)


def test_even_strip() -> None:
    """Equal tails: the central share q of an even strip is q times its width. Exact."""
    line = summary(held_between(WINDOW.edges(), -0.0103, 0.0297))
    assert line.centroid == pytest.approx(0.0097, abs=1e-12)
    assert line.w50 == pytest.approx(0.020, abs=1e-12)
    assert line.w90 == pytest.approx(0.036, abs=1e-12)
    assert line.w95 == pytest.approx(0.038, abs=1e-12)
    assert line.standard_error_w90 == pytest.approx(0.0, abs=1e-12)
    assert line.share_within_absorber_diameter == pytest.approx(1.0, abs=1e-12)
    # Half maximum falls between the centres of the last full bin of 0.5 mm, or part of one, and the next.
    assert line.fwhm == pytest.approx(0.040, abs=5e-4)
    narrow = summary(held_between(WINDOW.edges(), -0.0103, 0.0297), diameter=0.005)
    assert narrow.share_within_absorber_diameter == pytest.approx(0.25, abs=1e-12)


def test_gaussian() -> None:
    """Central shares of a normal distribution: 0.67449, 1.64485 and 1.95996 standard deviations either side (any table,
    such as Abramowitz and Stegun, 1964, table 26.5); full width at half maximum 2 sqrt(2 ln 2). Exact.
    """
    sigma, centre = 0.006, 0.0123
    edges = WINDOW.edges()
    below = np.array([0.5 * (1.0 + math.erf((e - centre) / (sigma * math.sqrt(2.0)))) for e in edges])
    line = summary(np.diff(below))
    assert line.centroid == pytest.approx(centre, abs=1e-6)
    assert line.w50 == pytest.approx(2.0 * 0.67449 * sigma, abs=1e-6)  # straight within bins of 0.1 mm
    assert line.w90 == pytest.approx(2.0 * 1.64485 * sigma, abs=1e-6)
    assert line.w95 == pytest.approx(2.0 * 1.95996 * sigma, abs=1e-6)
    assert line.fwhm == pytest.approx(2.0 * math.sqrt(2.0 * math.log(2.0)) * sigma, rel=2e-3)  # bins of 0.5 mm
    assert line.share_within_absorber_diameter == pytest.approx(math.erf(0.04 / (sigma * math.sqrt(2.0))), abs=1e-6)


def test_full_width_at_half_maximum_between_the_outermost_crossings() -> None:
    """Two peaks of 1 and 0.6, a valley between them; bins of 0.5 mm, an edge at x = 0, linear between centres."""
    heights = {0: 0.2, 1: 1.0, 2: 0.2, 3: 0.1, 4: 0.6, 5: 0.3}
    density = np.zeros(4000 + 1400)
    for number, height in heights.items():
        start = 700 + 2000 + 5 * number  # the first fine bin at x = 0 is number 2000
        density[start : start + 5] = height / 5.0
    line = summary(density)
    rise = 0.5 - (1.0 - 0.5) / (1.0 - 0.2) + 1.0  # before the centre of bin 1, in bins
    fall = 4.5 + (0.6 - 0.5) / (0.6 - 0.3)
    assert line.fwhm == pytest.approx((fall - rise) * 5e-4, abs=1e-12)
    mirrored = summary(density[::-1].copy())
    assert mirrored.fwhm == pytest.approx(line.fwhm, abs=1e-12)


def test_light_in_one_bin() -> None:
    density = np.zeros(4000 + 1400)
    density[700 + 2000] = 3.0
    line = summary(density)
    assert line.centroid == pytest.approx(5e-5, abs=1e-5)
    assert line.w90 == pytest.approx(0.9e-4, abs=1e-12)
    # One full bin of 0.5 mm between two empty ones.
    assert line.fwhm == pytest.approx(5e-4, abs=1e-12)


def test_no_light_at_all() -> None:
    line = summary(np.zeros(4000 + 1400))
    assert line == FocalLine(
        centroid=None,
        w50=None,
        w90=None,
        w95=None,
        fwhm=None,
        standard_error_w90=None,
        share_within_absorber_diameter=None,
    )


def test_stray_light_alone_has_widths_but_no_peak() -> None:
    """Light beyond the fine bins counts in the widths, to 1 % of its place."""
    density = np.zeros(4000 + 1400)
    density[100], density[-101] = 1.0, 1.0
    line = summary(density)
    assert line.fwhm is None
    assert line.centroid == pytest.approx(0.0, abs=1e-9)
    assert line.w50 == pytest.approx(2.0 * 0.2 * 1.01**599.5, rel=0.01)
    assert line.share_within_absorber_diameter == pytest.approx(0.0, abs=1e-12)


def test_light_in_one_replicate_only() -> None:
    profiles = np.zeros((REPLICATES, 4000 + 1400))
    profiles[3, 700 + 1990 : 700 + 2010] = 1.0
    line = summarise_profile(profiles, WINDOW, 0.04)
    assert line.w90 == pytest.approx(0.9 * 0.002, abs=1e-12)
    assert line.standard_error_w90 is not None
    assert math.isfinite(line.standard_error_w90)


def test_a_few_stray_rays_do_not_move_the_centroid() -> None:
    """One part in a hundred, a metre away, on one side: the mean would go by 10 mm."""
    edges = WINDOW.edges()
    strip, stray = held_between(edges, -0.005, 0.005), held_between(edges, 1.0, 1.1)
    line = summary(0.99 * strip / strip.sum() + 0.01 * stray / stray.sum())
    assert line.centroid == pytest.approx(0.0, abs=1e-4)


def test_standard_error_of_w90_is_that_of_the_spread_between_runs() -> None:
    """Against the spread of many runs of rays at random, of which it is to tell the error."""
    rng = np.random.default_rng(11)
    edges = WINDOW.edges()
    widths, errors = [], []
    for _ in range(60):
        places = rng.normal(0.0, 0.01, (REPLICATES, 500))
        profiles = np.array([np.histogram(own, bins=edges)[0].astype(float) for own in places])
        line = summarise_profile(profiles, WINDOW, 0.04)
        assert line.w90 is not None
        assert line.standard_error_w90 is not None
        widths.append(line.w90)
        errors.append(line.standard_error_w90)
    # The spread of sixty is known to 9 %, and sixteen replicates know theirs to 18 % each.
    assert math.sqrt(float(np.mean(np.square(errors)))) == pytest.approx(float(np.std(widths, ddof=1)), rel=0.4)
    assert float(np.mean(widths)) == pytest.approx(2.0 * 1.64485 * 0.01, rel=0.01)


@pytest.mark.parametrize("transversal", [0.0, 2.0, -30.0, 80.0])
def test_window_follows_the_light_and_keeps_an_edge_at_the_middle(transversal: float) -> None:
    """The ray through the middle of the lens lands at -height tan(angle); bins of 0.5 mm keep an edge at x = 0."""
    scene = Scene(
        lens=Lens(width=0.6, length=1.0, focal_length=0.8, grooves_toward="tubes", cut_for="tubes"),
        tubes=Tubes(count=1, length=1.0, absorber_diameter=0.047),
        sun=SunOptics(),
        lens_height=0.8,
    )
    tangent = math.tan(math.radians(transversal))
    window = profile_window(scene, tangent)
    assert window.centre == pytest.approx(-0.8 * tangent, abs=2.5e-4)
    assert window.centre / 5e-4 == pytest.approx(round(window.centre / 5e-4), abs=1e-9)
    assert window.fine_bins % 10 == 0
    assert 0.5 * window.fine_bins * window.fine_width >= 0.3
