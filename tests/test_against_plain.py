"""Whole traces against the slow, obvious tracer of `reference/plain_tracer.py`, which shares no code with the kernels.

All scenes here are inventions of ours. They are chosen so that each part of the optical model carries weight in some
of them. Both sides are estimates: they must agree within 4 combined standard errors, and where that would be less
than what a count of a few rays can tell, within the weight of 8 rays. The two take colours differently (drawn one by
one here, a number of equal-energy lines there), which stays far below these errors.
"""

import math
from dataclasses import dataclass, replace

import numba
import pytest
from reference.plain_tracer import LEDGER, PlainResult, plain_trace

from raytrace.optics.materials import constant_material, material_named
from raytrace.result import TraceResult
from raytrace.scene import Envelope, Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import trace

pytestmark = pytest.mark.skipif(
    bool(numba.config.DISABLE_JIT), reason="too many rays for uncompiled kernels, which run for coverage"
)

ERRORS = 4.0  # combined standard errors
FEW = 8.0  # rays; a rare fate has a standard error that is itself unsure


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A scene and the light on it; angles in [deg]."""

    scene: Scene
    transversal: float = 0.0
    longitudinal: float = 0.0
    row: RowPose | None = None


def base_row(tilt: float, angle_to_grooves: float) -> RowPose:
    """A row that does not tilt with its lens, level grooves; both angles in [deg]."""
    cos_t, sin_t = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
    cos_w, sin_w = math.cos(math.radians(angle_to_grooves)), math.sin(math.radians(angle_to_grooves))
    return RowPose(row=(cos_t * cos_w, sin_w, sin_t * cos_w), tube=(-cos_t * sin_w, cos_w, -sin_t * sin_w))


TO_TUBES = Lens(width=0.6, length=0.7, focal_length=0.8, grooves_toward="tubes", cut_for="tubes", groove_pitch=0.002)
TO_SUN = replace(TO_TUBES, grooves_toward="sun", cut_for="sun")
ACRYLIC = constant_material(1.49, 5.0)
GLASS = Envelope(outer_diameter=0.058, wall=0.0016, material=material_named("borosilicate"))
ONE = Tubes(count=1, length=0.9, absorber_diameter=0.02)
ROW = Tubes(count=4, length=0.8, absorber_diameter=0.047, spacing=0.06)
IN_GLASS = replace(ROW, envelope=GLASS)
SUN = SunOptics()
LINE = SunOptics(wavelength=587.6)

CASES = {
    "one bare tube in focus": Case(scene=Scene(lens=TO_TUBES, tubes=ONE, sun=SUN, lens_height=0.8)),
    "grooves toward the sun over a tube in glass": Case(
        scene=Scene(
            lens=TO_SUN, tubes=replace(ONE, envelope=replace(GLASS, outer_diameter=0.03)), sun=SUN, lens_height=0.78
        ),
        transversal=0.5,
    ),
    "fine grooves, as sold": Case(
        scene=Scene(lens=replace(TO_TUBES, groove_pitch=0.0005), tubes=IN_GLASS, sun=SUN, lens_height=0.75),
        transversal=-1.5,
        longitudinal=12.0,
    ),
    "cut for the tubes, grooves toward the sun": Case(
        scene=Scene(lens=replace(TO_SUN, cut_for="tubes"), tubes=ROW, sun=SUN, lens_height=0.7),
        transversal=6.0,
        longitudinal=-5.0,
    ),
    "cut for the sun, grooves toward the tubes": Case(
        scene=Scene(lens=replace(TO_TUBES, cut_for="sun"), tubes=ROW, sun=SUN, lens_height=0.7),
        transversal=-2.0,
        longitudinal=8.0,
    ),
    "row across the grooves, skewed light": Case(
        scene=Scene(lens=TO_TUBES, tubes=replace(IN_GLASS, angle_to_grooves=90.0, count=9), sun=SUN, lens_height=0.72),
        transversal=1.0,
        longitudinal=20.0,
    ),
    "row askew": Case(
        scene=Scene(lens=TO_SUN, tubes=replace(ROW, angle_to_grooves=-35.0), sun=SUN, lens_height=0.8),
        transversal=2.0,
        longitudinal=-15.0,
    ),
    "row that slopes in the lens frame": Case(
        scene=Scene(lens=TO_TUBES, tubes=replace(IN_GLASS, angle_to_grooves=25.0), sun=SUN, lens_height=0.74),
        transversal=-3.0,
        longitudinal=10.0,
        row=base_row(35.0, 25.0),
    ),
    "row beside its place": Case(
        scene=Scene(lens=TO_TUBES, tubes=replace(IN_GLASS, angle_to_grooves=70.0), sun=SUN, lens_height=0.74),
        transversal=1.0,
        longitudinal=12.0,
        row=replace(base_row(15.0, 70.0), offset=(0.06, -0.2, 0.03)),
    ),
    "coarse grooves, large draft, out of focus": Case(
        scene=Scene(
            lens=replace(TO_TUBES, groove_pitch=0.012, thickness=0.012, draft_angle=14.0, material=ACRYLIC),
            tubes=ROW,
            sun=LINE,
            lens_height=0.6,
        ),
        transversal=3.0,
        longitudinal=5.0,
    ),
    "coarse grooves toward the sun, large draft, short sheet": Case(
        scene=Scene(
            lens=replace(
                TO_SUN,
                groove_pitch=0.02,
                thickness=0.016,
                draft_angle=14.0,
                length=0.06,
                material=ACRYLIC,
                transmittance_factor=0.8,
            ),
            tubes=replace(ROW, length=1.2),
            sun=LINE,
            lens_height=0.8,
        ),
        transversal=-5.0,
        longitudinal=35.0,
    ),
    "coarse grooves toward the tubes, short sheet": Case(
        scene=Scene(
            lens=replace(TO_TUBES, groove_pitch=0.02, thickness=0.016, length=0.06),
            tubes=replace(ROW, length=1.2),
            sun=LINE,
            lens_height=0.7,
        ),
        transversal=8.0,
        longitudinal=-30.0,
    ),
    "large slope error": Case(
        scene=Scene(
            lens=replace(TO_TUBES, slope_error=20.0), tubes=ONE, sun=SunOptics(sunshape="uniform"), lens_height=0.79
        ),
        longitudinal=3.0,
    ),
    "very large slope error toward the sun": Case(
        scene=Scene(lens=replace(TO_SUN, slope_error=50.0), tubes=replace(ROW, count=16), sun=SUN, lens_height=0.79),
        transversal=25.0,
    ),
    "sagging, dirty sheet": Case(
        scene=Scene(lens=replace(TO_TUBES, sag=0.02, transmittance_factor=0.85), tubes=ONE, sun=SUN, lens_height=0.8),
        transversal=0.5,
        longitudinal=4.0,
    ),
    "sagging the other way, grooves toward the sun": Case(
        scene=Scene(lens=replace(TO_SUN, sag=-0.015), tubes=ONE, sun=SUN, lens_height=0.8), transversal=-0.4
    ),
    "aureole and aiming error": Case(
        scene=Scene(
            lens=TO_SUN, tubes=IN_GLASS, sun=replace(SUN, circumsolar_ratio=0.3), lens_height=0.77, aiming_error=10.0
        ),
        transversal=1.0,
    ),
    "lens near its limit, much total reflection": Case(
        scene=Scene(lens=replace(TO_TUBES, focal_length=0.32, thickness=0.006), tubes=ROW, sun=SUN, lens_height=0.3),
        transversal=4.0,
        longitudinal=30.0,
    ),
    "light far aside": Case(
        scene=Scene(
            lens=replace(TO_TUBES, material=material_named("polycarbonate")),
            tubes=replace(IN_GLASS, count=20),
            sun=SUN,
            lens_height=0.5,
        ),
        transversal=45.0,
        longitudinal=10.0,
    ),
    "light far aside on grooves toward the sun": Case(
        scene=Scene(lens=replace(TO_SUN, thickness=0.006), tubes=replace(IN_GLASS, count=20), sun=SUN, lens_height=0.4),
        transversal=-50.0,
        longitudinal=-20.0,
    ),
    "wide short tubes with open ends": Case(
        scene=Scene(
            lens=TO_TUBES,
            tubes=Tubes(
                count=2,
                length=0.15,
                absorber_diameter=0.1,
                spacing=0.2,
                absorptance=0.9,
                absorptance_angles=((0.0, 1.0), (40.0, 1.05), (70.0, 0.7), (90.0, 0.0)),
                angle_to_grooves=60.0,
                envelope=Envelope(outer_diameter=0.15, wall=0.008, material=constant_material(1.5, 20.0)),
            ),
            sun=SUN,
            lens_height=0.5,
        ),
        transversal=5.0,
        longitudinal=20.0,
        row=base_row(-40.0, 60.0),
    ),
    "thick dense glass, tubes that touch": Case(
        scene=Scene(
            lens=TO_TUBES,
            tubes=Tubes(
                count=9,
                length=0.9,
                absorber_diameter=0.02,
                spacing=0.058,
                envelope=Envelope(outer_diameter=0.058, wall=0.012, material=constant_material(1.8, 3.0)),
            ),
            sun=LINE,
            lens_height=0.45,
        ),
        transversal=12.0,
        longitudinal=6.0,
    ),
    "point sun": Case(
        scene=Scene(
            lens=replace(TO_SUN, slope_error=0.0),
            tubes=replace(ONE, absorber_diameter=0.006),
            sun=replace(LINE, sunshape="point"),
            lens_height=0.8,
        )
    ),
}


def differences(result: TraceResult, plain: PlainResult) -> list[str]:
    """What differs by more than it may, one line each; empty when all agrees."""
    same_rays = math.sqrt(
        plain.rays / result.rays
    )  # a lattice point set does no worse than random points, by and large
    floor = FEW / plain.rays

    def line(name: str, value: float, error: float, reference: float, reference_error: float) -> list[str]:
        allowed = max(ERRORS * math.hypot(error, reference_error), floor)
        if abs(value - reference) <= allowed:
            return []
        return [f"{name}: traced {value:.6f} +- {error:.6f}, plain {reference:.6f} +- {reference_error:.6f}"]

    found: list[str] = []
    for name in ("intercepted_fraction", "absorbed_fraction", "intercept_factor"):
        ours, theirs = getattr(result, name), getattr(plain, name)
        found += line(name, ours.value, ours.standard_error, theirs.value, theirs.standard_error)
    for name in LEDGER:
        theirs = plain.ledger[name]
        error = same_rays * theirs.standard_error
        found += line(name, getattr(result.ledger, name), error, theirs.value, theirs.standard_error)
    for number, tube in enumerate(result.tubes):
        for name, ours, theirs in (
            ("intercepted", tube.intercepted_fraction, plain.tubes_intercepted[number]),
            ("absorbed", tube.absorbed_fraction, plain.tubes_absorbed[number]),
        ):
            found += line(f"tube {number} {name}", ours.value, ours.standard_error, theirs.value, theirs.standard_error)
    return found


def widths_that_differ(result: TraceResult, plain: PlainResult) -> list[str]:
    """As `differences`, for the focal line."""
    assert plain.focal_line is not None
    found: list[str] = []
    for name in ("centroid", "w50", "w90", "w95", "fwhm", "share_within_absorber_diameter"):
        value, theirs = getattr(result.focal_line, name), plain.focal_line[name]
        error = math.hypot(1.0, math.sqrt(plain.rays / result.rays)) * theirs.standard_error
        # The highest of noisy bins of 0.5 mm stands too high: some per cent of the width at half of it, and a bin.
        allowed = ERRORS * error + (0.05 * theirs.value + 0.0005 if name == "fwhm" else 1e-5)
        if abs(value - theirs.value) > allowed:
            found.append(f"{name}: traced {value:.6f}, plain {theirs.value:.6f} +- {theirs.standard_error:.6f}")
    return found


def both(case: Case, rays: int, seed: int) -> tuple[TraceResult, PlainResult]:
    """The same scene traced by the compiled tracer and by the plain one."""
    angles = {"transversal_angle": case.transversal, "longitudinal_angle": case.longitudinal}
    result = trace(case.scene, **angles, rays=rays, seed=seed, row=case.row)
    return result, plain_trace(case.scene, **angles, rays=rays, seed=seed, row=case.row)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_plain_tracer_agrees(case: Case) -> None:
    result, plain = both(case, rays=50_000, seed=5)
    assert differences(result, plain) + widths_that_differ(result, plain) == []


@pytest.mark.long
@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_plain_tracer_agrees_to_the_last_thousandth(case: Case) -> None:
    result, plain = both(case, rays=1_000_000, seed=6)
    assert differences(result, plain) + widths_that_differ(result, plain) == []
