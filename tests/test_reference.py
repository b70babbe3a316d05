"""The plain tracer itself, against closed forms and published tables, before others are held against it.

All scenes here are inventions of ours.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from reference.plain_tracer import (
    LEDGER,
    Rays,
    Tally,
    buie_profile,
    chi_for,
    distance_to_cylinder,
    drawn_by_rejection,
    plain_trace,
    realised_ratio,
    refracted,
    sheet_of,
    through_sheet,
    wavelengths,
)

from raytrace.arrays import Floats
from raytrace.optics.materials import constant_material
from raytrace.scene import Envelope, Lens, Scene, SunOptics, Tubes

CLEAR = constant_material(1.49, 0.0)
LENS = Lens(
    width=0.4,
    length=0.5,
    focal_length=0.8,
    grooves_toward="tubes",
    cut_for="tubes",
    groove_pitch=0.002,
    slope_error=0.0,
    material=CLEAR,
)
# A focal length so long and grooves so flat that the sheet is a slab, but for angles below 0.03 deg.
SLAB = replace(LENS, width=0.02, length=5.0, focal_length=10.0, draft_angle=0.0, groove_pitch=0.01)
WIDE = Tubes(count=1, length=10.0, absorber_diameter=0.3)
POINT = SunOptics(sunshape="point", wavelength=587.6)


def through(lens: Lens, x: Floats, direction: Floats) -> Rays:
    """Rays that start at x (n,) on the sunward face plane, all in one direction (3,), where they leave below."""
    count = len(x)
    rays = Rays(
        number=np.arange(count),
        point=np.column_stack([x, np.zeros(count), np.full(count, lens.thickness)]),
        direction=np.tile(direction / np.linalg.norm(direction), (count, 1)),
        power=np.ones(count),
        index=np.full(count, 1.49),
        absorption=np.zeros(count),
    )
    tally = Tally(np.zeros(count, dtype=np.int64))
    out = through_sheet(np.random.default_rng(1), lens, sheet_of(lens), rays, tally)
    assert sum(sums.sum() for sums in tally.sums.values()) + out.power.sum() == pytest.approx(count, rel=1e-12)
    return out


def test_one_surface_refracts_by_snell_and_reflects_by_fresnel() -> None:
    # n = 1.526: Duffie and Beckman, Solar Engineering of Thermal Processes, sec. 5.1 (values from memory, to be
    # confirmed; each computed from the formulas too): at 60 deg the angle inside is 34.58 deg, r = (.1855 + .0014) /
    # 2; at 0 deg r = .0434.
    for angle, inside, reflectance in ((60.0, 34.58, 0.0935), (0.0, 0.0, 0.0434)):
        radians = math.radians(angle)
        direction = np.array([[math.sin(radians) * 0.6, math.sin(radians) * 0.8, -math.cos(radians)]])
        out, r, total = refracted(direction, np.array([[0.0, 0.0, -1.0]]), np.array([1.0]), np.array([1.526]))
        assert math.degrees(math.acos(-out[0, 2])) == pytest.approx(inside, abs=0.005)
        assert out[0, :2] == pytest.approx(direction[0, :2] / 1.526, abs=1e-15)
        assert r[0] == pytest.approx(reflectance, abs=1e-4)
        assert not total[0]


def test_light_beyond_the_critical_angle_is_mirrored_whole() -> None:
    # asin(1 / 1.49) = 42.1552 deg.
    for angle, expected in ((42.15, False), (42.16, True)):
        direction = np.array([[math.sin(math.radians(angle)), 0.0, -math.cos(math.radians(angle))]])
        out, r, total = refracted(direction, np.array([[0.0, 0.0, -1.0]]), np.array([1.49]), np.array([1.0]))
        assert total[0] == expected
        if expected:
            assert out[0] == pytest.approx(direction[0] * np.array([1.0, 1.0, -1.0]), abs=1e-15)
            assert r[0] == 1.0


@pytest.mark.parametrize(("angle", "share"), [(0.0, 0.92405), (30.0, 0.92117), (45.0, 0.90470), (60.0, 0.83262)])
@pytest.mark.parametrize("side", ["tubes", "sun"])
def test_flat_slab_passes_one_minus_r_squared(angle: float, share: float, side: str) -> None:
    # (1 - r)^2 with each surface starting unpolarised, n = 1.49; derived from Fresnel's equations.
    lens = replace(SLAB, grooves_toward=side, cut_for=side)
    radians = math.radians(angle)
    x = np.linspace(-0.004, 0.004, 400)
    out = through(lens, x, np.array([0.0, math.sin(radians), -math.cos(radians)]))
    # The grooves' slopes of up to 0.1 deg are felt in the last digit.
    assert out.power.mean() == pytest.approx(share, abs=1e-4)


def test_normal_light_falls_on_a_spot_one_pitch_wide() -> None:
    # Grooves toward the tubes, point sun, one wavelength: each facet sends its light parallel towards the focal line.
    x = (np.arange(2000) + 0.5) / 2000 * 0.4 - 0.2
    out = through(LENS, x, np.array([0.0, 0.0, -1.0]))
    landed = out.point[:, 0] + (0.8 + out.point[:, 2]) / -out.direction[:, 2] * out.direction[:, 0]
    # Each ray from (x, z) on the facet of a groove about xc goes straight for x - xc, but for the height z of its
    # start.
    centre = (np.floor(out.point[:, 0] / 0.002) + 0.5) * 0.002
    expected = out.point[:, 0] - (0.8 + out.point[:, 2]) * centre / 0.8
    on_facet = np.abs(landed - expected) < 1e-9
    assert on_facet.mean() > 0.95  # with a draft angle of 2 deg few meet a riser
    lift = 0.25 * out.point[:, 2].max()  # |xc| / f is at most 1/4
    assert np.abs(landed[on_facet]).max() <= 0.001 + lift
    assert (
        np.ptp(landed[on_facet]) > 0.0018
    )  # nine tenths of a pitch between the first and last of ten rays to a groove


def test_sunward_grooves_land_where_the_uncorrected_law_says() -> None:
    # |x| - z_f tan(asin(sin delta / n)) - f tan delta, z_f the height at which the facet was met; derived from
    # Snell's law.
    lens = replace(LENS, grooves_toward="sun", cut_for="sun", draft_angle=0.0)
    x = (np.arange(2000) + 0.5) / 2000 * 0.4 - 0.2
    out = through(lens, x, np.array([0.0, 0.0, -1.0]))
    start = x[out.number]
    landed = out.point[:, 0] + (0.8 + out.point[:, 2]) / -out.direction[:, 2] * out.direction[:, 0]
    centre = (np.floor(np.abs(start) / 0.002) + 0.5) * 0.002
    delta = np.arctan(centre / 0.8)
    slope = np.sin(delta) / (np.sqrt(1.49**2 - np.sin(delta) ** 2) - 1.0)
    met_at = lens.thickness - (np.abs(start) - centre + 0.001) * slope
    expected = np.abs(start) - met_at * np.tan(np.arcsin(np.sin(delta) / 1.49)) - 0.8 * np.tan(delta)
    error = np.abs(landed * np.sign(start) - expected)
    assert (error < 1e-9).mean() > 0.9  # the rest met a riser on its way through the sheet


@pytest.mark.parametrize(("skew", "ratio"), [(10.0, 0.97478), (30.0, 0.78938), (45.0, 0.57325)])
def test_skew_shortens_the_focal_length(skew: float, ratio: float) -> None:
    # f / f0 = (n - 1) / (n_eff - 1), n_eff = sqrt(n^2 - sin^2 g) / cos g, near the axis; derived from Snell's law.
    n_eff = math.sqrt(1.49**2 - math.sin(math.radians(skew)) ** 2) / math.cos(math.radians(skew))
    assert 0.49 / (n_eff - 1.0) == pytest.approx(ratio, abs=1e-5)
    lens = replace(LENS, width=0.02, groove_pitch=0.0005)
    x = np.array([0.00025 + 0.0005 * k for k in range(4, 19)])
    out = through(lens, x, np.array([0.0, math.sin(math.radians(skew)), -math.cos(math.radians(skew))]))
    focus = out.point[:, 0] * out.direction[:, 2] / out.direction[:, 0]  # how far below the face it crosses x = 0
    assert len(focus) == len(x)
    assert focus == pytest.approx(0.8 * ratio, rel=2e-3)  # x / f up to 0.012, and a tenth of a groove in x


def test_buie_profile_and_its_realised_ratios() -> None:
    # Buie, Monger and Dey, Solar Energy 74 (2003) 113-122, constants from agreeing restatements, values computed from
    # them.
    theta = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 4.65])
    assert buie_profile(theta, 0.0) == pytest.approx([1.0, 0.99411, 0.97387, 0.92707, 0.79326, 0.39716], abs=1e-5)
    assert buie_profile(np.array([10.0]), 0.1)[0] == pytest.approx(5.217e-3, rel=1e-3)
    for chi, ratio in ((0.02, 0.00581), (0.05, 0.04313), (0.10, 0.10027), (0.30, 0.27426)):
        assert realised_ratio(chi) == pytest.approx(ratio, abs=1e-4)
    assert realised_ratio(chi_for(0.2)) == pytest.approx(0.2, abs=1e-9)


def test_disc_drawn_by_rejection_has_the_profile_s_moment() -> None:
    # rms radial angle 3.1401 mrad, computed from the profile.
    theta = drawn_by_rejection(np.random.default_rng(2), 200_000, 0.0, 4.65, 0.0)
    square = theta**2
    assert square.mean() == pytest.approx(3.1401**2, abs=4.0 * square.std() / math.sqrt(square.size) + 1e-3)


def test_wavelengths_follow_the_direct_spectrum() -> None:
    # ASTM G173-03 direct: quarter, half and three quarters of its energy lie below these, computed from the table.
    drawn = wavelengths(np.random.default_rng(3), SunOptics(), 200_000)
    for share, nm in ((0.25, 559.1), (0.5, 741.2), (0.75, 1038.8)):
        below = float((drawn < nm).mean())
        assert below == pytest.approx(share, abs=4.0 * math.sqrt(share * (1.0 - share) / drawn.size) + 1e-4)


def test_cylinder_is_met_where_geometry_says() -> None:
    rays = Rays(
        number=np.arange(4),
        point=np.array([[0.0, 0.0, 1.0], [0.03, 0.0, 1.0], [0.06, 0.0, 1.0], [0.0, 2.0, 0.0]]),
        direction=np.array(
            [[0.0, 0.0, -1.0], [0.0, 0.0, -1.0], [0.0, 0.0, -1.0], [0.0, -0.998, -math.sqrt(1 - 0.998**2)]]
        ),
        power=np.ones(4),
        index=np.ones(4),
        absorption=np.zeros(4),
    )
    way = distance_to_cylinder(rays, np.zeros(3), np.array([0.0, 1.0, 0.0]), 0.05, 3.0)
    # From above to the crown, to the flank (3, 4, 5), past it, and through the open end to the inside of the far wall.
    assert way == pytest.approx([0.95, 0.96, math.inf, 0.05 / math.sqrt(1 - 0.998**2)], rel=1e-12)


def test_tube_in_glass_that_bends_nothing_is_a_bare_tube() -> None:
    lens = replace(LENS, slope_error=3.0)
    bare = Scene(lens=lens, tubes=replace(WIDE, absorber_diameter=0.02), sun=SunOptics(), lens_height=0.75)
    nothing = Envelope(outer_diameter=0.05, wall=0.003, material=constant_material(1.0, 0.0))
    glass = replace(bare, tubes=replace(bare.tubes, envelope=nothing))
    one, two = plain_trace(bare, rays=20_000, seed=1), plain_trace(glass, rays=20_000, seed=1)
    assert two.intercepted_fraction.value == pytest.approx(one.intercepted_fraction.value, abs=1e-12)
    assert two.ledger["envelope"].value == pytest.approx(0.0, abs=1e-15)


def test_ledger_of_a_plain_trace_closes() -> None:
    lens = replace(LENS, sag=0.01, slope_error=10.0, transmittance_factor=0.9, material=constant_material(1.49, 20.0))
    glass = Envelope(outer_diameter=0.05, wall=0.003, material=constant_material(1.5, 5.0))
    scene = Scene(
        lens=lens,
        tubes=Tubes(count=3, length=0.4, absorber_diameter=0.04, spacing=0.055, envelope=glass),
        sun=SunOptics(circumsolar_ratio=0.1),
        lens_height=0.7,
        aiming_error=10.0,
    )
    result = plain_trace(scene, rays=20_000, transversal_angle=3.0, longitudinal_angle=20.0, seed=4)
    assert sum(result.ledger[name].value for name in LEDGER) == pytest.approx(1.0, abs=1e-12)
    assert sum(tube.value for tube in result.tubes_absorbed) == pytest.approx(result.absorbed_fraction.value, abs=1e-12)
