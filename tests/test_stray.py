"""Where the light lands around the tubes."""

import math
from dataclasses import replace

import numpy as np
import pytest

from raytrace.optics.materials import constant_material
from raytrace.scene import Envelope, Lens, Scene, SunOptics, Tubes
from raytrace.stray import FACE_PATCH, Face, stray_light
from raytrace.trace import prepare, trace_prepared

INDEX = 1.49


def _scene(*, count: int = 1, glass: bool = True) -> Scene:
    envelope = Envelope(outer_diameter=0.058, wall=0.0016, material=constant_material(1.47, 4.0)) if glass else None
    return Scene(
        lens=Lens(
            width=0.4, length=0.6, focal_length=0.5, grooves_toward="tubes", cut_for="tubes", groove_pitch=0.001,
            material=constant_material(INDEX, 5.0),
        ),
        tubes=Tubes(count=count, spacing=0.07 if count > 1 else 0.0, length=0.7, absorber_diameter=0.047,
                    envelope=envelope),
        sun=SunOptics(wavelength=587.6),
        lens_height=0.49,
    )  # fmt: skip


def _level(depth: float, half: float) -> Face:
    return Face(
        corner=(-half, -half, -depth), side_a=(1.0, 0.0, 0.0), side_b=(0.0, 1.0, 0.0), length_a=2 * half,
        length_b=2 * half,
    )  # fmt: skip


@pytest.mark.parametrize("angles", [(0.0, 0.0), (6.0, 25.0)])
def test_maps_hold_the_missed_light_of_the_ledger(angles: tuple[float, float]) -> None:
    prepared = prepare(_scene(count=2))
    faces = (
        _level(0.7, 0.3),
        Face(corner=(-0.2, -1.0, -0.80), side_a=(0.6, 0.0, 0.8), side_b=(0.0, 1.0, 0.0), length_a=0.3, length_b=2.0),
    )
    found = stray_light(
        prepared, faces, transversal_angle=angles[0], longitudinal_angle=angles[1], rays=1 << 17, seed=3
    )
    traced = trace_prepared(
        prepared, transversal_angle=angles[0], longitudinal_angle=angles[1], rays=1 << 17, seed=3
    )
    collected = 0.4 * 0.6 / math.sqrt(1 + sum(math.tan(math.radians(angle)) ** 2 for angle in angles))
    on_maps = [
        float(light.flux.sum()) * face.patch_area / collected for face, light in zip(faces, found.faces, strict=True)
    ]
    for light, sum_of_map in zip(found.faces, on_maps, strict=True):
        assert sum_of_map == pytest.approx(light.fraction.value, rel=1e-9)
        assert light.peak.value <= float(light.flux.max()) * (1 + 1e-12)
    assert found.before.value == 0.0  # all faces lie behind the tubes
    assert sum(on_maps) + found.away.value == pytest.approx(found.missed.value, rel=1e-9)
    # The same rays by another loop: they differ by rays that graze an edge, far less than a standard error.
    assert found.missed.value == pytest.approx(traced.ledger.missed, abs=found.missed.standard_error + 1e-9)
    for tube, seen in zip(traced.tubes, found.tubes, strict=True):
        assert seen.value == pytest.approx(tube.intercepted_fraction.value, abs=seen.standard_error + 1e-9)


def test_flux_on_a_tilted_plane_under_a_thin_lens() -> None:
    # Derived: light of a point at infinity that a lens bends by tan(delta) = x / f holds its y, and comes together in x
    # as 1 - s / f at the distance s. On a plane turned by beta about x, one dy of the beam covers dy / cos(beta), so
    # flux / DNI = T cos(beta) / (1 - s / f), with T = (1 - r)^2, r = ((n - 1) / (n + 1))^2 near the middle.
    beta, middle, half = math.radians(40.0), 0.5, 0.2
    scene = _scene(glass=False)
    scene = replace(
        scene,
        lens=replace(
            scene.lens, width=0.2, length=0.5, focal_length=1.0, slope_error=0.0, draft_angle=0.0, groove_pitch=0.0001,
            thickness=0.001, material=constant_material(INDEX, 0.0),
        ),
        sun=SunOptics(sunshape="point", wavelength=587.6),
    )  # fmt: skip
    side = (0.0, math.cos(beta), -math.sin(beta))
    plane = Face(
        corner=(-0.02, -half * side[1], -middle - half * side[2]), side_a=(1.0, 0.0, 0.0), side_b=side, length_a=0.04,
        length_b=2 * half,
    )  # fmt: skip
    found = stray_light(
        prepare(scene), (plane,), transversal_angle=0.0, longitudinal_angle=0.0, rays=1 << 19, missing_tube=0
    )
    place = (np.arange(plane.patches[1]) + 0.5) * plane.length_b / plane.patches[1] - half
    distance = middle + place * math.sin(beta)
    through = (1.0 - ((INDEX - 1.0) / (INDEX + 1.0)) ** 2) ** 2
    expected = through * math.cos(beta) / (1.0 - distance)
    # Patches of 10 mm in a beam of grooves 0.1 mm wide; the facets' slant near the middle takes less than 0.1 %.
    assert found.faces[0].flux.mean(axis=0) == pytest.approx(expected, rel=0.01)
    assert float(np.mean(found.faces[0].flux / expected)) == pytest.approx(1.0, abs=0.002)


def test_the_nearest_face_takes_the_light() -> None:
    found = stray_light(
        prepare(_scene()), (_level(0.8, 0.5), _level(0.6, 0.5)), transversal_angle=8.0, longitudinal_angle=0.0,
        rays=1 << 14,
    )  # fmt: skip
    assert found.faces[0].fraction.value == 0.0
    assert found.faces[1].fraction.value > 0.5


def test_a_face_before_the_tubes_sees_their_light_too_and_casts_no_shadow() -> None:
    prepared = prepare(_scene())
    angles = {"transversal_angle": 0.5, "longitudinal_angle": 0.0}
    behind = (_level(0.6, 0.5),)
    alone = stray_light(prepared, behind, rays=1 << 12, **angles)
    both = stray_light(prepared, (*behind, _level(0.4, 0.5)), rays=1 << 12, **angles)
    assert alone.before.value == 0.0
    # The plate catches all light that has passed the lens; the tubes and the ledger do not notice it.
    through = trace_prepared(prepared, rays=1 << 12, seed=0, **angles).ledger
    leaves = through.missed + through.envelope + through.reflected_absorber + through.absorbed
    assert both.faces[1].fraction.value == pytest.approx(leaves, abs=2e-4)
    assert [each.value for each in both.tubes] == [each.value for each in alone.tubes]
    assert both.missed == alone.missed
    assert both.faces[0].fraction.value == 0.0
    assert both.faces[1].fraction.value == pytest.approx(
        both.missed.value - both.away.value + both.before.value, rel=1e-9
    )
    assert both.before.value > 0.5
    # Derived: 0.1 of 0.5 m before the focus the light is a fifth as wide as the lens, so its flux is near five suns;
    # here over the middle 40 mm by 400 mm, where some 1300 rays land.
    assert float(both.faces[1].flux[48:52, 30:70].mean()) == pytest.approx(5.0 * leaves, rel=0.15)


def test_a_missing_tube_lets_its_light_pass() -> None:
    prepared = prepare(_scene(count=3))
    faces = (_level(0.6, 0.5),)
    whole = stray_light(prepared, faces, transversal_angle=0.0, longitudinal_angle=0.0, rays=1 << 15)
    broken = stray_light(prepared, faces, transversal_angle=0.0, longitudinal_angle=0.0, rays=1 << 15, missing_tube=1)
    assert broken.tubes[1].value == 0.0
    assert broken.missed.value >= whole.missed.value + whole.tubes[1].value
    assert broken.tubes[0].value == pytest.approx(whole.tubes[0].value, abs=0.01)
    assert broken.faces[0].peak.value > 5.0 * max(whole.faces[0].peak.value, 0.1)


def test_results_do_not_depend_on_threads() -> None:
    prepared, faces = prepare(_scene()), (_level(0.6, 0.3),)
    one, two = (
        stray_light(
            prepared, faces, transversal_angle=5.0, longitudinal_angle=1.0, rays=1 << 13, threads=threads
        )
        for threads in (1, 2)
    )
    assert np.array_equal(one.faces[0].flux, two.faces[0].flux)
    assert one.missed == two.missed


def test_patches_are_never_larger_than_said() -> None:
    face = Face(
        corner=(0.0, 0.0, -1.0), side_a=(1.0, 0.0, 0.0), side_b=(0.0, 1.0, 0.0), length_a=0.305, length_b=0.004
    )
    assert face.patches == (31, 1)
    assert face.patch_area <= FACE_PATCH**2


def test_a_tube_that_is_not_there_cannot_be_missing() -> None:
    with pytest.raises(ValueError, match="missing_tube must lie between 0 and 0, got 1"):
        stray_light(prepare(_scene()), (), transversal_angle=0.0, longitudinal_angle=0.0, missing_tube=1)
