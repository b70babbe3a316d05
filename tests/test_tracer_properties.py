"""What holds for every scene, on scenes that hypothesis draws; and an honest standard error.

All scenes here are inventions of ours. Where a draw finds a counterexample it is printed in full.
"""

import math
from dataclasses import asdict, replace

import numba
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import raytrace.trace
from raytrace.optics.materials import constant_material, material_named
from raytrace.points import shifts_and_key
from raytrace.result import LEDGER_ENTRIES, Estimate, TraceResult
from raytrace.scene import Envelope, Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import prepare, trace, trace_prepared
from tracking.mount import Mount, aim, lens_angles, row_pose

FEW = 1 << 10
SOME = 1 << 13
EXAMPLES = 5 if numba.config.DISABLE_JIT else 25
drawn = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow])
MANY_RAYS = pytest.mark.skipif(
    bool(numba.config.DISABLE_JIT), reason="too many rays for uncompiled kernels, which run for coverage"
)
ERRORS = 5.0  # standard errors: 16 replicates know theirs to a sixth, and some hundred comparisons are drawn
LONG_TUBES = 10.0  # [m], the longest allowed: far beyond where light lands from the lenses drawn here


@st.composite
def lenses(draw: st.DrawFn) -> Lens:
    """Lenses of all kinds that are slow enough for their facet laws."""
    width = draw(st.floats(0.1, 1.0))
    toward = draw(st.sampled_from(["tubes", "sun"]))
    return Lens(
        width=width,
        length=draw(st.floats(0.1, 1.0)),
        focal_length=width * draw(st.floats(0.8, 2.5)),
        thickness=0.02,
        groove_pitch=draw(st.floats(0.0005, 0.012)),
        grooves_toward=toward,  # type: ignore[arg-type]
        cut_for=draw(st.sampled_from([toward, toward, "tubes", "sun"])),  # type: ignore[arg-type]
        draft_angle=draw(st.floats(0.0, 14.0)),
        slope_error=draw(st.sampled_from([0.0, 1.0, 20.0])),
        sag=draw(st.sampled_from([0.0, 0.0, 0.004])),
        transmittance_factor=draw(st.floats(0.5, 1.0)),
        material=draw(
            st.sampled_from([material_named("PMMA"), constant_material(1.49, 3.0), constant_material(1.6, 80.0)])
        ),
    )


@st.composite
def rows(draw: st.DrawFn) -> Tubes:
    """Rows of tubes, bare or in glass."""
    diameter = draw(st.floats(0.005, 0.08))
    enveloped = draw(st.booleans())
    outer = diameter + 0.012 if enveloped else diameter
    glass = Envelope(outer_diameter=outer, wall=0.0016, material=material_named("borosilicate")) if enveloped else None
    return Tubes(
        count=draw(st.integers(1, 6)),
        length=draw(st.floats(0.1, 2.0)),
        absorber_diameter=diameter,
        spacing=outer * draw(st.floats(1.0001, 2.0)),
        angle_to_grooves=draw(st.floats(-90.0, 90.0)),
        envelope=glass,
        absorptance=draw(st.floats(0.0, 1.0)),
        absorptance_angles=draw(st.sampled_from([(), ((0.0, 1.0), (60.0, 0.9), (90.0, 0.0))])),
    )


@st.composite
def scenes(draw: st.DrawFn) -> Scene:
    """Whole scenes, in and out of focus."""
    lens = draw(lenses())
    shape = draw(st.sampled_from(["limb-darkened", "uniform", "point"]))
    return Scene(
        lens=lens,
        tubes=draw(rows()),
        sun=SunOptics(
            sunshape=shape,
            circumsolar_ratio=draw(st.sampled_from([0.0, 0.1])) if shape == "limb-darkened" else 0.0,
            wavelength=draw(st.sampled_from([None, 587.6])),
        ),
        lens_height=lens.focal_length * draw(st.floats(0.8, 1.2)) + 0.05,
        aiming_error=draw(st.sampled_from([0.0, 3.0])),
    )


angles = st.floats(-30.0, 30.0)
seeds = st.integers(0, 1 << 40)


def numbers(result: TraceResult) -> dict[str, float]:
    """All fractions of a result, by name."""
    found = {entry: getattr(result.ledger, entry) for entry in LEDGER_ENTRIES}
    for k, tube in enumerate(result.tubes):
        found[f"intercepted by tube {k}"] = tube.intercepted_fraction.value
        found[f"absorbed by tube {k}"] = tube.absorbed_fraction.value
    found["intercepted fraction"] = result.intercepted_fraction.value
    found["absorbed fraction"] = result.absorbed_fraction.value
    found["intercept factor"] = result.intercept_factor.value
    return found


def same_within_errors(first: Estimate, second: Estimate, rays: int) -> bool:
    """Whether two estimates agree; where few rays arrive the weight of four of them stands for an error."""
    error = math.hypot(first.standard_error, second.standard_error)
    return abs(first.value - second.value) <= ERRORS * error + 4.0 / rays


@drawn
@given(scene=scenes(), transversal=st.floats(-89.9, 89.9), longitudinal=st.floats(-89.9, 89.9), seed=seeds)
def test_the_ledger_closes_and_every_fraction_is_one(
    scene: Scene, transversal: float, longitudinal: float, seed: int
) -> None:
    result = trace(scene, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=FEW, seed=seed)
    assert result.ledger.total() == pytest.approx(1.0, abs=1e-12)
    for name, value in numbers(result).items():
        assert 0.0 <= value <= 1.0 + 1e-12, name
    reached = result.ledger.absorbed + result.ledger.reflected_absorber
    assert result.intercepted_fraction.value == pytest.approx(reached, abs=1e-12)


@MANY_RAYS
@drawn
@given(scene=scenes(), transversal=angles, longitudinal=angles, mirror=st.sampled_from([(-1, 1), (1, -1), (-1, -1)]))
def test_a_mirrored_world_mirrors_the_answer(
    scene: Scene, transversal: float, longitudinal: float, mirror: tuple[int, int]
) -> None:
    """In x and in y: sun and row mirrored. In x the tubes come in reverse order."""
    x, y = mirror
    prepared, turn = prepare(scene), scene.tubes.angle_to_grooves
    first, second = (
        trace_prepared(
            prepared,
            transversal_angle=a * transversal,
            longitudinal_angle=b * longitudinal,
            row=RowPose.level(a * b * turn),
            rays=SOME,
            seed=17 + a + 3 * b,
        )
        for a, b in ((1, 1), (x, y))
    )
    assert same_within_errors(first.intercepted_fraction, second.intercepted_fraction, SOME)
    for mine, theirs in zip(first.tubes, second.tubes[::x], strict=True):
        assert same_within_errors(mine.intercepted_fraction, theirs.intercepted_fraction, SOME)


@MANY_RAYS
@drawn
@given(
    scene=scenes(),
    azimuth=st.floats(0.0, 360.0),
    elevation=st.floats(15.0, 89.0),
    turn=st.floats(-360.0, 360.0),
    kind=st.sampled_from(["level", "upslope"]),
    row=st.sampled_from(["lens", "base"]),
)
def test_turning_the_whole_world_changes_nothing(
    scene: Scene, azimuth: float, elevation: float, turn: float, kind: str, row: str
) -> None:
    """Sun and machine turned about the vertical by the same angle: the same settings but for that turn, and the same
    light to the last digits that the angles keep.
    """
    results = []
    for extra in (0.0, turn):
        mount = Mount(kind="swivel-tilt", grooves=kind, row_turns_with=row)  # type: ignore[arg-type]
        setting = aim(mount, (azimuth + extra) % 360.0, elevation)
        assert setting is not None
        seen = lens_angles(mount, *setting, (azimuth + extra) % 360.0, elevation)
        results.append(
            trace(
                scene,
                # A lens that is not perfectly aimed: some degrees across, as aiming alone would leave none.
                transversal_angle=float(seen.transversal) + 1.5,
                longitudinal_angle=float(seen.longitudinal),
                row=row_pose(mount, setting.tilt, scene.tubes.angle_to_grooves),
                rays=FEW,
            )
        )
    first, second = (numbers(result) for result in results)
    # Rounding moves a ray here and there across an edge: the weight of two of them.
    assert second == pytest.approx(first, abs=2.0 / FEW)


@drawn
@given(scene=scenes(), transversal=angles, longitudinal=angles, factor=st.floats(1.0, 30.0), what=st.integers(0, 3))
def test_more_absorption_never_adds_power(
    scene: Scene, transversal: float, longitudinal: float, factor: float, what: int
) -> None:
    """In sheet or glass, by dirt, or by an absorber that takes less: ray by ray the same paths, with less weight."""
    lens, tubes = scene.lens, scene.tubes
    clear = replace(scene, lens=replace(lens, material=constant_material(1.49, 2.0)))
    if what == 0:
        darker = replace(clear, lens=replace(lens, material=constant_material(1.49, 2.0 * factor)))
    elif what == 1:
        darker = replace(clear, lens=replace(clear.lens, transmittance_factor=lens.transmittance_factor / factor))
    elif what == 2 or tubes.envelope is None:
        darker = replace(clear, tubes=replace(tubes, absorptance=tubes.absorptance / factor))
    else:
        glasses = [replace(tubes.envelope, material=constant_material(1.47, a)) for a in (3.0, 3.0 * factor)]
        clear, darker = (replace(clear, tubes=replace(tubes, envelope=glass)) for glass in glasses)
    first, second = (
        trace(each, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=FEW)
        for each in (clear, darker)
    )
    assert second.absorbed_fraction.value <= first.absorbed_fraction.value + 1e-12
    for mine, theirs in zip(second.tubes, first.tubes, strict=True):
        assert mine.absorbed_fraction.value <= theirs.absorbed_fraction.value + 1e-12


@drawn
@given(scene=scenes(), transversal=angles, longitudinal=angles, wider=st.floats(1.0, 3.0))
def test_a_wider_absorber_never_intercepts_less(
    scene: Scene, transversal: float, longitudinal: float, wider: float
) -> None:
    """Bare tubes so long that no light passes their ends: each ray that meets the narrow ones meets the wide ones."""
    tubes = replace(scene.tubes, length=LONG_TUBES, envelope=None, spacing=3.5 * scene.tubes.absorber_diameter)
    narrow, wide = (
        trace(
            replace(scene, tubes=replace(tubes, absorber_diameter=diameter)),
            transversal_angle=transversal,
            longitudinal_angle=longitudinal,
            rays=FEW,
        ).intercepted_fraction.value
        for diameter in (tubes.absorber_diameter, wider * tubes.absorber_diameter)
    )
    assert wide >= narrow - 1e-12


@drawn
@given(scene=scenes(), transversal=angles, longitudinal=angles, gap=st.floats(0.001, 0.02))
def test_an_envelope_of_index_one_changes_nothing(
    scene: Scene, transversal: float, longitudinal: float, gap: float
) -> None:
    """And without absorption; tubes so long that no light falls on the cut ends of the glass."""
    air = constant_material(1.0, 0.0)
    diameter = scene.tubes.absorber_diameter
    outer = diameter + 2.0 * gap
    bare = replace(scene.tubes, length=LONG_TUBES, envelope=None, spacing=1.01 * outer)
    glass = Envelope(outer_diameter=outer, wall=0.4 * gap, material=air)
    first, second = (
        trace(
            replace(scene, tubes=replace(bare, envelope=envelope)),
            transversal_angle=transversal,
            longitudinal_angle=longitudinal,
            rays=FEW,
        )
        for envelope in (None, glass)
    )
    # Light that passes four tubes within their glass has met its sixteen surfaces: the weight of two rays.
    assert numbers(second) == pytest.approx(numbers(first), abs=2.0 / FEW)
    # Another entry of the compiler sums the same light: alike but for the last digits.
    assert asdict(second.focal_line) == pytest.approx(asdict(first.focal_line), rel=1e-9, abs=1e-12)


@MANY_RAYS
@drawn
@given(scene=scenes(), transversal=angles, longitudinal=angles, seed=st.integers(1, 1000))
def test_swapping_replicates_changes_nothing_beyond_the_error(
    scene: Scene, transversal: float, longitudinal: float, seed: int
) -> None:
    """In another order the same replicates give the same sums; other replicates agree within their errors."""
    given_order = trace(scene, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=SOME)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(raytrace.trace, "shifts_and_key", lambda seed, k: shifts_and_key(seed, k ^ 1))
        swapped = trace(scene, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=SOME)
    assert numbers(swapped) == pytest.approx(numbers(given_order), abs=1e-12)
    first, second = given_order.intercepted_fraction, swapped.intercepted_fraction
    assert second.standard_error == pytest.approx(first.standard_error, rel=1e-6, abs=1e-12)
    others = trace(scene, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=SOME, seed=seed)
    assert same_within_errors(others.intercepted_fraction, first, SOME)


SEEDS, REPLICATES = 200, 16
HONEST = {
    # Invented scenes whose tubes are smaller than the image, so that where rays land decides.
    "bare tube, grooves toward the tubes": (
        Scene(
            lens=Lens(width=0.6, length=0.7, focal_length=0.8, grooves_toward="tubes", cut_for="tubes"),
            tubes=Tubes(count=1, length=0.6, absorber_diameter=0.015),
            sun=SunOptics(),
            lens_height=0.79,
        ),
        0.2,
        5.0,
    ),
    "row in glass across, grooves toward the sun": (
        Scene(
            lens=Lens(width=0.6, length=0.7, focal_length=0.8, grooves_toward="sun", cut_for="sun", slope_error=4.0),
            tubes=Tubes(
                count=6,
                length=0.3,
                absorber_diameter=0.047,
                spacing=0.06,
                angle_to_grooves=70.0,
                envelope=Envelope(outer_diameter=0.058, wall=0.0016, material=material_named("borosilicate")),
            ),
            sun=SunOptics(circumsolar_ratio=0.05),
            lens_height=0.8,
        ),
        -0.5,
        12.0,
    ),
}


@pytest.mark.long
@MANY_RAYS
@pytest.mark.parametrize("name", HONEST)
@pytest.mark.parametrize("quantity", ["intercepted_fraction", "absorbed_fraction"])
def test_the_standard_error_is_honest(name: str, quantity: str) -> None:
    """Deviations from an independent run of 128 times the rays, over the standard error: a Student distribution.

    With R replicates its mean is 0 and its variance (R - 1) / (R - 3). Over N seeds the mean is known to
    sqrt(variance / N), to which the error of that run comes, the same for all seeds; the variance is known to its
    standard error from the fourth moment, 3 (R - 1)^2 / ((R - 3) (R - 5)). Bounds of 3 such errors.
    """
    scene, transversal, longitudinal = HONEST[name]
    prepared = prepare(scene)
    light = {"transversal_angle": transversal, "longitudinal_angle": longitudinal}
    truth = getattr(trace_prepared(prepared, rays=128 * SOME, seed=1 << 50, **light), quantity)  # type: ignore[arg-type]
    assert truth.value > 0.05
    runs = [
        getattr(trace_prepared(prepared, rays=SOME, seed=seed, **light), quantity)  # type: ignore[arg-type]
        for seed in range(SEEDS)
    ]
    errors = np.array([run.standard_error for run in runs])
    deviations = (np.array([run.value for run in runs]) - truth.value) / errors
    shared = truth.standard_error / math.sqrt(float(np.mean(errors**2)))
    assert shared < 0.1
    r = REPLICATES
    variance, fourth = (r - 1) / (r - 3), 3.0 * (r - 1) ** 2 / ((r - 3) * (r - 5))
    assert abs(np.mean(deviations)) < 3.0 * math.hypot(math.sqrt(variance / SEEDS), shared)
    assert abs(np.var(deviations, ddof=1) - variance) < 3.0 * math.sqrt((fourth - variance**2) / SEEDS)


def test_a_dishonest_standard_error_is_found_out() -> None:
    """Errors that are too small by a quarter, or a bias of half an error, lie outside these bounds."""
    rng = np.random.default_rng(3)
    r = REPLICATES
    variance, fourth = (r - 1) / (r - 3), 3.0 * (r - 1) ** 2 / ((r - 3) * (r - 5))
    t = rng.standard_t(r - 1, SEEDS)
    bound = 3.0 * math.sqrt((fourth - variance**2) / SEEDS)
    assert abs(np.var(t, ddof=1) - variance) < bound
    assert abs(np.var(t / 0.75, ddof=1) - variance) > bound
    assert abs(np.mean(t + 0.5)) > 3.0 * math.sqrt(variance / SEEDS)
