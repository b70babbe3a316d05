"""Single rays and flux maps: the fates and powers of the trace, seen one by one."""

from dataclasses import replace

import numpy as np
import pytest

from raytrace.maps import flux_maps, profiles
from raytrace.optics.materials import material_named
from raytrace.paths import ray_paths, without_spread
from raytrace.scene import Envelope, Lens, Scene, SunOptics, Tubes
from raytrace.trace import trace

GLASS = Envelope(outer_diameter=0.058, wall=0.0016, material=material_named("borosilicate"))
SCENE = Scene(
    lens=Lens(width=0.6, length=0.5, focal_length=0.7, grooves_toward="tubes", cut_for="tubes", groove_pitch=0.002),
    tubes=Tubes(count=3, length=0.7, absorber_diameter=0.047, spacing=0.07, envelope=GLASS),
    sun=SunOptics(),
    lens_height=0.6,
)
ANGLES = {"transversal_angle": 2.0, "longitudinal_angle": 12.0}


@pytest.mark.parametrize(
    "scene",
    [SCENE, replace(SCENE, aiming_error=5.0, lens=replace(SCENE.lens, sag=0.01, grooves_toward="sun", cut_for="sun"))],
    ids=["flat", "sagging, aiming error"],
)
def test_single_rays_share_the_ledger_of_the_trace(scene: Scene) -> None:
    rays = 4096
    paths = ray_paths(scene, rays=rays, **ANGLES)
    result = trace(scene, rays=200_000, **ANGLES)
    ledger = result.ledger
    for fate, expected in (
        ("reached", result.intercepted_fraction.value),
        ("missed", ledger.missed),
        ("upward", ledger.upward_lens),
        ("edge", ledger.edge_lens),
    ):
        found = sum(path.weight for path in paths if path.fate == fate) / rays
        # 4096 rays of random fate: a standard error of at most 0.5 / 64 = 0.008; four of these.
        assert found == pytest.approx(expected, abs=0.032), fate


def test_rays_end_on_their_absorber() -> None:
    for path in ray_paths(SCENE, rays=256, **ANGLES):
        if path.fate == "reached":
            assert path.tube is not None
            end = path.points[-1] - [(path.tube - 1) * 0.07, 0.0, -0.6]
            assert np.hypot(end[0], end[2]) == pytest.approx(0.0235, abs=1e-9)
            assert path.points[0, 2] > path.points[1, 2] > path.points[2, 2] > path.points[3, 2]


def test_clean_rays_of_one_colour_meet_in_the_focal_line() -> None:
    scene = without_spread(replace(SCENE, sun=SunOptics(wavelength=587.6), lens_height=0.7))
    for path in ray_paths(scene, rays=64):
        if len(path.points) == 4:
            a, b = path.points[2], path.points[3]
            x = a[0] + (b[0] - a[0]) * (-0.7 - a[2]) / (b[2] - a[2])
            # A groove of 2 mm sends its light down as a strip of that width; the law leaves out the run in the slab.
            if path.fate == "reached":
                assert abs(x) < 0.004


def test_flux_map_holds_the_power_of_the_trace_and_lies_on_the_lens_s_side() -> None:
    maps = flux_maps(SCENE, rays=100_000, **ANGLES)
    result = trace(SCENE, rays=100_000, **ANGLES)
    patch = (maps.along[1] - maps.along[0]) * np.pi * 0.047 * (maps.around[1] - maps.around[0]) / 360.0
    cosine = 1.0 / np.sqrt(1.0 + np.tan(np.radians(2.0)) ** 2 + np.tan(np.radians(12.0)) ** 2)
    share = maps.ratio.sum(axis=(1, 2)) * patch / (0.6 * 0.5 * cosine)
    assert share == pytest.approx([tube.intercepted_fraction.value for tube in result.tubes], rel=1e-9)
    around = maps.ratio.sum(axis=(0, 1))
    assert around[:18].sum() + around[54:].sum() > 0.9 * around.sum()


def test_flux_of_a_sun_from_the_side_lies_towards_it() -> None:
    # Light from +x through the lens goes towards -x: the line falls on the tube at -x, from its side of +x.
    maps = flux_maps(replace(SCENE, lens_height=0.7), transversal_angle=5.7, rays=50_000)
    assert maps.ratio.sum(axis=(1, 2)).argmax() == 0


def test_profile_agrees_with_the_focal_line_of_the_trace() -> None:
    found = profiles(SCENE, [0.55, 0.6, 0.65], rays=100_000, **ANGLES)
    line = trace(SCENE, rays=100_000, **ANGLES).focal_line
    assert found.w90[1] == line.w90
    assert found.centroid[1] == line.centroid
    # All light that the bins hold: what leaves the lens, within the stray light beyond the window.
    light = found.ratio.sum(axis=1) * (found.edges[1] - found.edges[0]) / 0.6
    assert np.all((light > 0.7) & (light < 1.0))
