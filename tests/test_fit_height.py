"""Hours drawn from a span, and the search for the lens height: physics, estimates, Ctrl-C."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from raytrace.optics.materials import constant_material
from raytrace.scene import Lens, Scene, SunOptics, Tubes
from tracking.energy.fit.height import BestHeight, best_height, lowest_height
from tracking.energy.fit.hours import Span, Sunlight, aimed_settings, hours_of, sunlight
from tracking.energy.fit.sample import Effort, absorbed_energies, drawn, estimate
from tracking.mount import Mount
from tracking.scenefile import read_scene

INDEX = 1.49
QUICK = Effort(draws=2, rays=512, threads=1)
MOUNT = Mount(kind="swivel-tilt")


def even_light(longitudinal: float, transversal: float = 0.0, count: int = 50) -> Sunlight:
    """The sun at one place in the lens frame all the time."""
    one = np.ones(count)
    return Sunlight(
        transversal=transversal * one, longitudinal=longitudinal * one, tilt=0.0 * one, swivel=0.0 * one, energy=one
    )


def narrow_lens() -> Scene:
    """A lens up to x/f = 0.25, of one index, cut for grooves toward the tubes, over a thin tube; invented."""
    lens = Lens(
        width=0.5, length=0.3, focal_length=1.0, grooves_toward="tubes", cut_for="tubes", slope_error=0.0,
        material=constant_material(INDEX, 0.0),
    )  # fmt: skip
    tubes = Tubes(count=1, length=4.0, absorber_diameter=0.004)
    return Scene(lens=lens, tubes=tubes, sun=SunOptics(sunshape="point", wavelength=587.6), lens_height=1.0)


def focal_share(skew: float, zone: float) -> float:
    """Height of focus over the focal length for light at a skew [deg] through the zone x / f.

    In the plane across the grooves the lens acts as one of index sqrt(n^2 - sin^2 skew) / cos skew: derived from
    Snell's law for grooves that do not change along themselves; no publication seen.
    """
    delta = math.atan(zone)
    facet = math.atan(math.sin(delta) / (INDEX - math.cos(delta)))
    s = math.radians(skew)
    skewed = math.sqrt(INDEX**2 - math.sin(s) ** 2) / math.cos(s)
    return zone / math.tan(math.asin(skewed * math.sin(facet)) - facet)


# Paraxial and at x/f = 0.25, for n = 1.49, derived as above: 0.97478 and 0.97138 at 10 deg, 0.78938 and 0.75845 at 30.
@pytest.mark.parametrize(("skew", "paraxial", "outer"), [(10.0, 0.97478, 0.97138), (30.0, 0.78938, 0.75845)])
def test_skewed_light_wants_a_lower_lens(skew: float, paraxial: float, outer: float) -> None:
    assert focal_share(skew, 0.25) == pytest.approx(outer, abs=1e-4)
    assert focal_share(skew, 1e-3) == pytest.approx(paraxial, abs=1e-4)
    straight = best_height(narrow_lens(), MOUNT, even_light(0.0), effort=QUICK)
    skewed = best_height(narrow_lens(), MOUNT, even_light(skew), effort=QUICK)
    # A thin tube takes all the light within some millimetres of height: f / W times its diameter, 8 mm, either way.
    assert straight.height.value == pytest.approx(1.0, abs=0.016)
    assert outer - 0.016 <= skewed.height.value <= paraxial + 0.016
    assert skewed.height.value < straight.height.value


def test_bands_nest_and_hold_the_best_height() -> None:
    found = best_height(narrow_lens(), MOUNT, even_light(20.0), effort=QUICK)
    low, high = found.height.value, found.height.value
    for band in found.bands:
        assert band.low is not None
        assert band.high is not None
        assert band.low.value < low
        assert high < band.high.value
        low, high = band.low.value, band.high.value
    assert found.own is not None
    assert found.own.shortfall.value > 0.0
    assert not found.at_end


def test_ctrl_c_keeps_the_best_so_far() -> None:
    calls = []

    def tired(share: float) -> None:
        calls.append(share)
        if len(calls) == 6:
            raise KeyboardInterrupt

    found = best_height(narrow_lens(), MOUNT, even_light(0.0), effort=QUICK, progress=tired)
    assert found.interrupted
    assert len(found.tried) == 6
    assert found.absorbed.value == max(each.absorbed.value for each in found.tried)
    with pytest.raises(KeyboardInterrupt):
        best_height(narrow_lens(), MOUNT, even_light(0.0), effort=QUICK, progress=_at_once)


def _at_once(share: float) -> None:
    del share
    raise KeyboardInterrupt


def test_same_bits_on_any_number_of_threads() -> None:
    scene, light = narrow_lens(), even_light(5.0)
    energies = []
    for threads in (1, 3):
        effort = replace(QUICK, threads=threads)
        energies.append(absorbed_energies(scene, MOUNT, drawn(light, scene, effort), effort))
    assert np.array_equal(*energies)


def test_draws_stand_for_the_whole_span() -> None:
    rng = np.random.default_rng(3)
    count = 4000
    light = Sunlight(
        transversal=rng.normal(0.0, 20.0, count), longitudinal=rng.uniform(-40.0, 40.0, count), tilt=np.zeros(count),
        swivel=np.zeros(count), energy=rng.exponential(1.0, count),
    )  # fmt: skip
    scene = narrow_lens()
    for guess in (None, np.exp(-(light.transversal**2))):
        draws = drawn(light, scene, Effort(draws=64), guess)
        # Any quantity, here the energy itself and that at large skew: each replicate estimates its sum without bias.
        for which in (np.ones(count), (light.longitudinal > 20.0).astype(float)):
            found = estimate((draws.energy * which[draws.index]).sum(axis=1))
            assert abs(found.value - float((light.energy * which).sum())) <= 4.0 * found.standard_error + 1e-9
    dark = replace(light, energy=np.zeros(count))
    assert not drawn(dark, scene, QUICK).energy.any()


def test_a_span_without_light_has_no_best_height() -> None:
    found: BestHeight = best_height(narrow_lens(), MOUNT, replace(even_light(0.0), energy=np.zeros(50)), effort=QUICK)
    assert found.absorbed.value == 0.0
    assert found.possible_gain == 0.0


def test_the_lowest_height_keeps_tubes_clear_of_a_sheet_that_tilts() -> None:
    scene = narrow_lens()
    assert lowest_height(scene, MOUNT) == pytest.approx(0.02)
    base = Mount(kind="tilt", facing=90.0, row_turns_with="base", grooves="upslope", tilt_range=(0.0, 30.0))
    # Tubes 4 m long pierce the sheet from below where half its length reaches: 0.15 m up the slope, at 30 deg.
    assert lowest_height(scene, base) > 0.15 * math.tan(math.radians(30.0))


def test_hours_of_a_day(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    hours = hours_of(file, Span(year=2026, month=3, day=20))
    # At the equinox the sun is above 5 deg for 12 h less 2 x 5 deg / cos(40 deg) of its path: 11.1 h.
    assert hours.seconds.sum() / 3600.0 == pytest.approx(11.1, abs=0.15)
    assert hours.dni_sum == pytest.approx(800.0 * hours.seconds.sum() / 3600.0)
    light = sunlight(file, hours, *aimed_settings(file.mount, hours))
    # Kept aimed with both axes: DNI x 0.4 m x 0.6 m, no cosine.
    assert light.total == pytest.approx(800.0 * 0.24 * hours.seconds.sum(), rel=1e-9)
    assert hours_of(file, Span(year=2026, month=2)).days == 28
    assert hours_of(file, Span(year=2026)).of_month(2).days == 28
