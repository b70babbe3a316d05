"""Whole traces: same bits on any number of threads, a ledger that closes, symmetry, honest errors, edges of the input.

All scenes here are inventions of ours.
"""

import itertools
import math
from dataclasses import replace

import numba
import numpy as np
import pytest
from reference.callable_kernels import (
    cos_sin_turn,
    from_table,
    lattice_point,
    sun_direction,
    turned,
    walk_row,
    walk_sheet,
)

import raytrace.trace
from raytrace.arrays import Floats
from raytrace.kernels import path, points
from raytrace.kernels.sheet import DOWN, EDGE, UP
from raytrace.kernels.tube import IN_ENVELOPE, MISSED
from raytrace.lens import grooves_of
from raytrace.optics.materials import constant_material, material_named
from raytrace.points import Replicates, lattice_vector, normal_quantiles, replicates_for, shifts_and_key
from raytrace.profile import profile_window
from raytrace.result import LEDGER_ENTRIES, Estimate, TraceResult
from raytrace.scene import Envelope, Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import prepare, run_replicates, trace, trace_prepared

CLEAR = constant_material(1.49, 0.0)
GLASS = Envelope(outer_diameter=0.058, wall=0.0016, material=material_named("borosilicate"))
LENS = Lens(width=0.6, length=0.7, focal_length=0.8, grooves_toward="tubes", cut_for="tubes")
SUNWARD = replace(LENS, grooves_toward="sun", cut_for="sun")
COARSE = replace(LENS, groove_pitch=0.01, thickness=0.012, draft_angle=5.0)
ONE = Tubes(count=1, length=0.9, absorber_diameter=0.03)
ROW = Tubes(count=5, length=0.5, absorber_diameter=0.047, spacing=0.06, envelope=GLASS)
SUN = SunOptics()
LINE = SunOptics(sunshape="point", wavelength=587.6)

SCENES = {
    "plain": (Scene(lens=LENS, tubes=ONE, sun=SUN, lens_height=0.8), 0.0, 0.0),
    "row in glass under skewed light": (
        Scene(lens=SUNWARD, tubes=ROW, sun=replace(SUN, circumsolar_ratio=0.1), lens_height=0.75, aiming_error=5.0),
        -2.0,
        25.0,
    ),
    "row across a sagging lens": (
        Scene(
            lens=replace(LENS, sag=0.01, transmittance_factor=0.9, slope_error=5.0),
            tubes=replace(
                ROW, angle_to_grooves=90.0, count=8, absorptance_angles=((0.0, 1.0), (60.0, 0.9), (90.0, 0.0))
            ),
            sun=SUN,
            lens_height=0.79,
        ),
        1.0,
        -10.0,
    ),
    "the wrong way round": (
        Scene(lens=replace(LENS, grooves_toward="sun"), tubes=replace(ROW, envelope=None), sun=SUN, lens_height=0.7),
        12.0,
        5.0,
    ),
    "coarse grooves, point sun": (Scene(lens=COARSE, tubes=ONE, sun=LINE, lens_height=0.8), 0.5, 3.0),
    "grazing sun": (Scene(lens=SUNWARD, tubes=ROW, sun=SUN, lens_height=0.8, aiming_error=2.0), 89.9, -60.0),
    "sun along the grooves": (Scene(lens=COARSE, tubes=ROW, sun=SUN, lens_height=0.8), 0.0, 85.0),
    "water-clear sheet of glass index": (
        Scene(lens=replace(LENS, material=CLEAR), tubes=replace(ROW, angle_to_grooves=35.0), sun=SUN, lens_height=0.8),
        -5.0,
        -20.0,
    ),
}
MANY_RAYS = pytest.mark.skipif(
    bool(numba.config.DISABLE_JIT), reason="too many rays for uncompiled kernels, which run for coverage"
)


def traced(name: str, rays: int = 1 << 14, **options: object) -> TraceResult:
    scene, transversal, longitudinal = SCENES[name]
    return trace(scene, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=rays, **options)  # type: ignore[arg-type]


def z_score(first: Estimate, second: Estimate) -> float:
    """Difference over its standard error."""
    return (first.value - second.value) / math.hypot(first.standard_error, second.standard_error)


@pytest.mark.parametrize("name", ["row in glass under skewed light", "coarse grooves, point sun"])
def test_same_seed_same_bits_on_any_number_of_threads(name: str) -> None:
    """Over more than twenty blocks and no whole number of them: rounded up to the next replicate of 1024 rays."""
    results = [traced(name, rays=20 * 1024 + 300, seed=9, threads=threads) for threads in (1, 2, 3)]
    assert results[0] == results[1] == results[2]
    assert results[0].rays == 21 * 1024
    assert traced(name, rays=20 * 1024 + 300, seed=10, threads=2) != results[0]


def test_progress_rises_to_one_and_changes_nothing() -> None:
    told: list[float] = []
    with_progress = traced("plain", rays=1024, threads=2, progress=told.append)
    assert with_progress == traced("plain", rays=1024, threads=2)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) == 16


@pytest.mark.parametrize("name", SCENES)
def test_the_ledger_closes(name: str) -> None:
    result = traced(name)
    ledger = result.ledger
    assert ledger.total() == pytest.approx(1.0, abs=1e-12)
    for entry in LEDGER_ENTRIES:
        assert 0.0 <= getattr(ledger, entry) <= 1.0, entry
    assert result.absorbed_fraction.value == pytest.approx(ledger.absorbed, abs=1e-12)
    reached = ledger.absorbed + ledger.reflected_absorber
    assert result.intercepted_fraction.value == pytest.approx(reached, abs=1e-12)
    assert sum(tube.intercepted_fraction.value for tube in result.tubes) == pytest.approx(reached, abs=1e-12)
    assert sum(tube.absorbed_fraction.value for tube in result.tubes) == pytest.approx(ledger.absorbed, abs=1e-12)
    downward = ledger.missed + ledger.envelope + reached
    assert result.intercept_factor.value * downward == pytest.approx(reached, abs=1e-12)
    if all(factor == 1.0 for _, factor in SCENES[name][0].tubes.absorptance_angles):
        assert ledger.absorbed == pytest.approx(SCENES[name][0].tubes.absorptance * reached, abs=1e-12)


def numbers(result: TraceResult) -> list[float]:
    """All fractions of a result."""
    found = [getattr(result.ledger, entry) for entry in LEDGER_ENTRIES]
    found += [tube.intercepted_fraction.value for tube in result.tubes]
    return [*found, result.intercepted_fraction.value, result.intercept_factor.value]


class ByHand:
    """Slow, obvious twin of a whole trace: one ray after the other, through the sheet and then past the tubes."""

    def __init__(self, scene: Scene, transversal: float, longitudinal: float, row: RowPose | None = None) -> None:
        tangents = [math.tan(math.radians(angle)) for angle in (transversal, longitudinal)]
        self.window = profile_window(scene, tangents[0])
        pose = row or RowPose.level(scene.tubes.angle_to_grooves)
        self.inputs = prepare(scene).inputs(*tangents, pose, self.window)
        self.scene = scene
        self.totals = np.zeros(path.SUMS)
        self.tubes = np.zeros((2, scene.tubes.count))
        self.profile = np.zeros(self.window.fine_bins + 2 * self.window.outer_bins)

    def trace(self, plan: Replicates, seed: int) -> None:
        """All rays of a plan."""
        vector = lattice_vector(plan.rays_each)
        for replicate in range(plan.count):
            shift, key = shifts_and_key(seed, replicate)
            for ray in range(plan.rays_each):
                u = [lattice_point(ray, int(z), int(s)) for z, s in zip(vector, shift, strict=True)]
                self.trace_ray(u, key, ray)

    def trace_ray(self, u: list[float], key: int, ray: int) -> None:
        """One ray from its eight random numbers."""
        sheet, sun = self.inputs.sheet, self.inputs.sun
        centre = [sun.sin_transversal, sun.cos_transversal, sun.sin_longitudinal, sun.cos_longitudinal]
        if sun.aiming_error > 0.0:
            turns = [sun.aiming_error * from_table(sun.normal, u[k]) for k in (points.AIM_ACROSS, points.AIM_ALONG)]
            centre = [*turned(*centre[:2], turns[0]), *turned(*centre[2:], turns[1])]
        turn = cos_sin_turn(u[points.SUN_AZIMUTH])
        towards = np.array(sun_direction(*centre, from_table(sun.radius_sq, u[points.SUN_RADIUS]), *turn))
        power = towards[2]
        if power <= 0.0:
            return
        self.totals[path.STARTED] += power
        line = int(u[points.LINE] * len(sun.sheet_index))
        facet_turn = sheet.slope_error * from_table(sun.normal, u[points.SLOPE])
        start = np.array(
            [
                (2.0 * u[points.ACROSS] - 1.0) * sheet.half_width,
                (2.0 * u[points.ALONG] - 1.0) * sheet.half_length,
                sheet.thickness,
            ]
        )
        origin, to_piece = self.piece(start[0])
        place, heading = to_piece @ (start - origin), to_piece @ -towards
        if heading[2] >= 0.0:
            # Under the turned piece of a sagging sheet: past the lens.
            self.totals[[path.MISSED_ROW, path.LEFT_DOWN]] += power
            return
        place = place + (sheet.thickness - place[2]) / heading[2] * heading
        fate, weight, x, y, z, px, py, pz, reflected, absorbed = walk_sheet(
            sheet, sun.sheet_index[line], sun.sheet_absorption[line], sun.normal, facet_turn, key, ray,
            place[0] + origin[0], place[1], *heading,
        )  # fmt: skip
        self.totals[path.REFLECTED_LENS] += power * reflected
        self.totals[path.ABSORBED_LENS] += power * absorbed
        if fate == DOWN:
            place = to_piece.T @ (np.array([x, y, z]) - [origin[0], 0.0, 0.0]) + origin
            self.meet_row(power * weight, place, to_piece.T @ np.array([px, py, pz]), line)
        else:
            self.totals[{UP: path.UPWARD_LENS, EDGE: path.EDGE_LENS}.get(fate, path.TRAPPED_LENS)] += power * weight

    def piece(self, x: float) -> tuple[Floats, Floats]:
        """Origin and axes (rows) of a groove's piece of the sheet: lowered and turned as a parabola of that sag."""
        half, sag, pitch = 0.5 * self.scene.lens.width, self.scene.lens.sag, self.inputs.sheet.pitch
        centre = math.copysign((math.floor(abs(x) / pitch) + 0.5) * pitch, x)
        slope = math.atan(2.0 * sag * centre / half**2)
        axes = np.array(
            [[math.cos(slope), 0.0, math.sin(slope)], [0.0, 1.0, 0.0], [-math.sin(slope), 0.0, math.cos(slope)]]
        )
        return np.array([centre, 0.0, -sag * (1.0 - (centre / half) ** 2)]), axes

    def meet_row(self, weight: float, place: Floats, heading: Floats, line: int) -> None:
        """From the sheet to the tubes."""
        row, sun = self.inputs.row, self.inputs.sun
        self.totals[path.LEFT_DOWN] += weight
        if heading[2] < 0.0:
            crossing = place[0] - (place[2] + row.height) / heading[2] * heading[0]
            edges = self.window.edges()
            number = int(np.searchsorted(edges, crossing, side="right")) - 1
            self.profile[min(max(number, 0), len(self.profile) - 1)] += weight
        u, v, w = row.axes @ (place + np.array([-row.shift_x, -row.shift_y, row.height]))
        tube, arrived, lost, factor, _ = walk_row(
            row, sun.glass_index[line], sun.glass_absorption[line], weight, u, v, w, *(row.axes @ heading)
        )
        self.totals[path.ENVELOPE] += lost
        if tube == MISSED:
            self.totals[path.MISSED_ROW] += arrived
        elif tube == IN_ENVELOPE:
            self.totals[path.ENVELOPE] += arrived
        else:
            self.totals[path.INTERCEPTED] += arrived
            self.totals[path.ABSORBED] += arrived * factor
            self.totals[path.REFLECTED_ABSORBER] += arrived * (1.0 - factor)
            self.tubes[:, tube] += arrived, arrived * factor


@pytest.mark.parametrize("name", SCENES)
def test_a_trace_books_what_its_rays_do_one_by_one(name: str) -> None:
    """The compiled tracer takes rays in blocks; the twin takes the same rays one after the other."""
    assert_booked_alike(ByHand(*SCENES[name]))


@pytest.mark.parametrize("envelope", [None, GLASS], ids=["bare", "in glass"])
@pytest.mark.parametrize(
    ("lean", "transversal", "longitudinal"),
    [(80.0, 0.0, 20.0), (84.0, 3.0, -20.0), (-40.0, 25.0, 30.0), (0.0, 3.0, 35.0)],
    ids=["lit from below", "lit from below and askew", "slanted light", "past the ends"],
)
def test_a_row_that_does_not_lean_with_the_lens_is_booked_one_by_one_too(
    lean: float, transversal: float, longitudinal: float, envelope: Envelope | None
) -> None:
    """Light comes to such a row from the side and from below, and meets another tube first than the nearest one."""
    scene = Scene(lens=LENS, tubes=replace(ROW, envelope=envelope), sun=SUN, lens_height=0.8)
    turn = math.radians(lean)
    row = RowPose(row=(math.cos(turn), 0.0, math.sin(turn)), tube=(0.0, 1.0, 0.0))
    twin = ByHand(scene, transversal, longitudinal, row)
    assert_booked_alike(twin)
    assert twin.totals[path.INTERCEPTED] > 0.0


@pytest.mark.parametrize("lean", [0.0, 20.0])
def test_a_tube_beside_its_place_gets_what_the_tube_of_a_row_gets_there(lean: float) -> None:
    """The tubes of this row are too far apart to share a ray: each is as a single tube at its place."""
    tubes = replace(ROW, count=3, spacing=0.12)
    turn = math.radians(lean)
    pose = RowPose(row=(math.cos(turn), 0.0, math.sin(turn)), tube=(0.0, 1.0, 0.0))
    scene = Scene(lens=LENS, tubes=tubes, sun=SUN, lens_height=0.4)
    together = trace(scene, rays=1 << 13, row=pose)
    single = replace(scene, tubes=replace(tubes, count=1, spacing=0.0))
    for k, tube in enumerate(together.tubes):
        there = replace(pose, offset=tuple((k - 1) * tubes.spacing * x for x in pose.row))
        alone = trace(single, rays=1 << 13, row=there).absorbed_fraction.value
        assert alone > 0.05
        assert alone == pytest.approx(tube.absorbed_fraction.value, rel=1e-9)


@pytest.mark.parametrize("skew", [0.0, 8.0])
def test_two_short_tubes_end_to_end_are_one_long_tube(skew: float) -> None:
    """A bare tube moved along itself by half its length, one way and the other, is one of twice the length."""
    tubes = Tubes(count=1, length=0.6, absorber_diameter=0.047)
    long = Scene(lens=LENS, tubes=tubes, sun=SUN, lens_height=0.78)
    short = replace(long, tubes=replace(tubes, length=0.3))
    before, behind = (
        trace(
            short, longitudinal_angle=skew, row=replace(RowPose.level(0.0), offset=(0.0, y, 0.0))
        ).intercepted_fraction.value
        for y in (-0.15, 0.15)
    )
    whole = trace(long, longitudinal_angle=skew).intercepted_fraction.value
    if skew > 0.0:  # the sun stands over the end with y > 0: light moves on toward the other
        assert before > behind + 0.05
    # Through the end between the two, light falls inside the one behind it that has met the other one's outside: on a
    # length of one diameter x tan(skew) at most, and of the sun's own 0.27 deg and the skew of slanted rays.
    reach = tubes.absorber_diameter * math.tan(math.radians(skew + 0.5))
    assert whole * (1.0 - 1e-9) <= before + behind <= whole * (1.0 + 1.3 * reach / long.tubes.length)


def assert_booked_alike(twin: ByHand) -> None:
    """The compiled tracer, in blocks, against its twin on the same rays."""
    plan = replicates_for(1 << 11)
    twin.trace(plan, seed=4)
    sums = run_replicates(twin.inputs, plan=plan, seed=4, threads=1)
    # Where rounding puts a ray on the other side of an edge it is booked elsewhere: none of 2048 should be so close.
    assert sums.totals.sum(axis=0) == pytest.approx(twin.totals, rel=1e-9, abs=1e-6)
    assert sums.tubes.sum(axis=0) == pytest.approx(twin.tubes, rel=1e-9, abs=1e-6)
    assert sums.profile.sum(axis=0) == pytest.approx(twin.profile, rel=1e-9, abs=1e-6)
    assert sums.flux.sum() == pytest.approx(twin.totals[path.INTERCEPTED], rel=1e-9)


@MANY_RAYS
@pytest.mark.parametrize(
    "name", ["row in glass under skewed light", "the wrong way round", "water-clear sheet of glass index"]
)
def test_a_mirrored_sun_mirrors_the_answer(name: str) -> None:
    """In x the row is mirrored as well, so its tubes come in reverse order; in y each tube stays what it was."""
    scene, transversal, longitudinal = SCENES[name]
    prepared = prepare(scene)
    results = {
        (x, y): trace_prepared(
            prepared,
            transversal_angle=x * transversal,
            longitudinal_angle=y * longitudinal,
            row=RowPose.level(x * y * scene.tubes.angle_to_grooves),
            rays=1 << 17,
            seed=5 + x + 3 * y,
        )
        for x, y in itertools.product((1, -1), repeat=2)
    }
    reference = results[1, 1]
    assert reference.intercepted_fraction.value > 0.01
    for (x, _), result in results.items():
        if result is reference:
            continue
        assert abs(z_score(result.intercepted_fraction, reference.intercepted_fraction)) < 4.0
        for mine, theirs in zip(result.tubes, reference.tubes[::x], strict=True):
            if theirs.intercepted_fraction.standard_error > 0.0:
                # A tube that few rays meet does not know its error well.
                assert abs(z_score(mine.intercepted_fraction, theirs.intercepted_fraction)) < 5.0
        for entry in LEDGER_ENTRIES:
            assert getattr(result.ledger, entry) == pytest.approx(getattr(reference.ledger, entry), abs=2e-3)
        assert result.focal_line.w50 == pytest.approx(reference.focal_line.w50, rel=0.02)


@pytest.mark.parametrize("lens", [LENS, SUNWARD, COARSE])
def test_single_rays_are_mirrored_to_the_last_digit(lens: Lens) -> None:
    sheet = prepare(Scene(lens=lens, tubes=ONE, sun=SUN, lens_height=0.8)).sheet
    rng = np.random.default_rng(2)
    for _ in range(200):
        x, y, a, b, turn = rng.uniform(-1.0, 1.0, 5) * (0.3, 0.35, 1.0, 1.0, 0.01)
        direction = np.array([a, b, -1.0]) / math.sqrt(a * a + b * b + 1.0)

        def walk(sx: float, sy: float, place: tuple[float, float], turn: float, p: Floats) -> tuple[float, ...]:
            fate, weight, x, y, z, px, py, pz, *rest = walk_sheet(
                sheet,
                1.49,
                3.0,
                normal_quantiles(),
                turn,
                7,
                11,
                sx * place[0],
                sy * place[1],
                sx * p[0],
                sy * p[1],
                p[2],
            )
            return (fate, weight, sx * x, sy * y, z, sx * px, sy * py, pz, *rest)

        ahead = walk(1.0, 1.0, (x, y), turn, direction)
        assert walk(-1.0, 1.0, (x, y), turn, direction) == ahead
        assert walk(1.0, -1.0, (x, y), turn, direction) == ahead
        assert ahead[1] + ahead[8] + ahead[9] == pytest.approx(1.0, abs=1e-14)
        assert math.hypot(*ahead[5:8]) == pytest.approx(1.0 if ahead[0] < 2 else 1.49, abs=1e-12)


@MANY_RAYS
@pytest.mark.parametrize("name", ["plain", "row in glass under skewed light"])
def test_standard_errors_are_honest(name: str) -> None:
    """Of 32 seeds, deviations from a long run over their own standard errors: mean 0, mean square a little above 1.

    With sixteen replicates the deviation follows Student's law of 15 degrees of freedom, mean square 15 / 13. The mean
    of 32 squares scatters by about 0.35.
    """
    scene, transversal, longitudinal = SCENES[name]
    prepared = prepare(scene)
    angles = {"transversal_angle": transversal, "longitudinal_angle": longitudinal}
    truth = trace_prepared(prepared, rays=1 << 22, seed=1000, **angles)  # type: ignore[arg-type]
    runs = [trace_prepared(prepared, rays=1 << 13, seed=seed, **angles) for seed in range(32)]  # type: ignore[arg-type]

    def check(deviations: list[float]) -> None:
        z = np.array(deviations)
        assert abs(z.mean()) < 4.0 * math.sqrt(15.0 / 13.0 / len(z))
        assert 0.35 < float((z * z).mean()) < 2.4

    for figure in ("intercepted_fraction", "absorbed_fraction", "intercept_factor"):
        check([z_score(getattr(run, figure), getattr(truth, figure)) for run in runs])
    assert truth.focal_line.w90 is not None
    widths = [(run.focal_line.w90, run.focal_line.standard_error_w90) for run in runs]
    check([(w90 - truth.focal_line.w90) / error for w90, error in widths if w90 is not None and error is not None])


@MANY_RAYS
@pytest.mark.parametrize("name", SCENES)
def test_a_million_rays_know_the_intercepted_fraction_to_2e_4(name: str) -> None:
    result = traced(name, rays=1_000_000)
    assert result.rays >= 1_000_000
    assert result.intercepted_fraction.standard_error < 2e-4


def test_one_ray_is_rounded_up_to_sixteen() -> None:
    result = traced("plain", rays=1)
    assert result.rays == 16
    assert result.ledger.total() == pytest.approx(1.0, abs=1e-12)


def test_without_slope_error_and_with_a_point_sun_all_rays_of_a_groove_are_parallel() -> None:
    """Normal incidence, one wavelength: the focal line is no wider than a pitch, and a bin of 0.1 mm."""
    lens = replace(LENS, slope_error=0.0, draft_angle=0.0, material=CLEAR)
    line = trace(Scene(lens=lens, tubes=ONE, sun=LINE, lens_height=0.8), rays=1 << 12).focal_line
    assert line.w95 is not None
    assert line.w95 <= grooves_of(lens).pitch + 1e-4
    assert line.share_within_absorber_diameter == pytest.approx(1.0, abs=1e-3)  # some leaves by the ends of the grooves


@pytest.mark.parametrize("toward", ["tubes", "sun"])
def test_slope_error_widens_the_line(toward: str) -> None:
    """Near the axis a facet turned by e turns light by (n - 1) e, whichever side it is on: derived from Snell's law.

    So rms e on all facets of a narrow lens gives a Gaussian line; its central 90 % are 2 x 1.64485 rms wide.
    """
    lens = replace(
        SUNWARD if toward == "sun" else LENS,
        width=0.02,
        focal_length=1.0,
        groove_pitch=1e-4,
        thickness=5e-4,
        slope_error=5.0,
        material=CLEAR,
    )
    line = trace(Scene(lens=lens, tubes=ONE, sun=LINE, lens_height=1.0), rays=1 << 14).focal_line
    assert line.w90 == pytest.approx(2.0 * 1.64485 * 0.49 * 5e-3, rel=0.02)


@pytest.mark.parametrize("transversal", [0.0, 30.0])
def test_aiming_error_moves_the_line(transversal: float) -> None:
    """A narrow lens of long focal length is nearly a slab: rms e in the angle is h e / cos^2 at height h. Derived."""
    lens = replace(LENS, width=0.02, focal_length=10.0, groove_pitch=1e-4, thickness=5e-4, slope_error=0.0)
    scene = Scene(lens=lens, tubes=replace(ONE, length=0.02), sun=LINE, lens_height=5.0, aiming_error=10.0)
    line = trace(scene, transversal_angle=transversal, rays=1 << 14).focal_line
    expected = 2.0 * 1.64485 * 5.0 * 10e-3 / math.cos(math.radians(transversal)) ** 2
    assert line.w90 == pytest.approx(expected, rel=0.02)
    assert line.centroid == pytest.approx(-5.0 * math.tan(math.radians(transversal)), abs=0.01)


def test_dirt_takes_its_share_once() -> None:
    """transmittance_factor: of what enters the sheet, and booked as absorbed in the lens."""
    clean = replace(LENS, material=CLEAR)
    results = [
        trace(Scene(lens=replace(clean, transmittance_factor=f), tubes=ONE, sun=SUN, lens_height=0.8), rays=1 << 12)
        for f in (1.0, 0.8)
    ]
    for entry in ("missed", "absorbed", "reflected_absorber", "upward_lens", "edge_lens", "trapped_lens"):
        assert getattr(results[1].ledger, entry) == pytest.approx(0.8 * getattr(results[0].ledger, entry), abs=1e-12)
    entered = 1.0 - (0.49 / 2.49) ** 2  # normal incidence on a flat face of index 1.49, to 1e-5 over the sun's disc
    assert results[0].ledger.absorbed_lens == 0.0
    assert results[1].ledger.absorbed_lens == pytest.approx(0.2 * entered, abs=1e-5)


def test_absorptance_falls_with_the_angle_on_the_absorber() -> None:
    """A factor of 1 up to 89.9 deg changes nothing; a factor of 0.5 at every angle halves what is absorbed."""
    scene = SCENES["plain"][0]
    even = trace(scene, rays=1 << 12)
    flat = replace(scene, tubes=replace(ONE, absorptance_angles=((0.0, 1.0), (90.0, 1.0))))
    halved = replace(scene, tubes=replace(ONE, absorptance_angles=((45.0, 0.5),)))
    falling = replace(scene, tubes=replace(ONE, absorptance_angles=((0.0, 1.0), (30.0, 1.0), (90.0, 0.0))))
    assert trace(flat, rays=1 << 12) == even
    assert trace(halved, rays=1 << 12).ledger.absorbed == pytest.approx(0.5 * even.ledger.absorbed, rel=1e-12)
    assert 0.5 * even.ledger.absorbed < trace(falling, rays=1 << 12).ledger.absorbed < even.ledger.absorbed
    reached = even.intercepted_fraction.value
    assert trace(falling, rays=1 << 12).intercepted_fraction.value == pytest.approx(reached, rel=1e-12)


@pytest.mark.parametrize("name", ["row in glass under skewed light", "the wrong way round"])
def test_an_envelope_of_index_one_changes_nothing(name: str) -> None:
    """Tubes longer than where light lands: so that none falls on the cut ends of the glass."""
    scene, transversal, longitudinal = SCENES[name]
    bare = replace(scene.tubes, length=10.0, envelope=None)
    air = Envelope(outer_diameter=0.058, wall=0.0016, material=constant_material(1.0, 0.0))
    results = [
        trace(
            replace(scene, tubes=replace(bare, envelope=envelope)),
            transversal_angle=transversal,
            longitudinal_angle=longitudinal,
            rays=1 << 13,
        )
        for envelope in (None, air)
    ]
    # Light that passes four tubes within their glass has met its sixteen surfaces; index 1 or not, that is rare.
    assert numbers(results[1]) == pytest.approx(numbers(results[0]), abs=1e-9)
    assert results[1].focal_line == results[0].focal_line


def test_the_focal_line_does_not_know_of_the_tubes() -> None:
    scene, transversal, longitudinal = SCENES["row in glass under skewed light"]
    others = replace(scene, tubes=replace(ROW, count=1, absorber_diameter=0.047, envelope=None))
    angles = {"transversal_angle": transversal, "longitudinal_angle": longitudinal, "rays": 1 << 12}
    assert trace(scene, **angles).focal_line == trace(others, **angles).focal_line  # type: ignore[arg-type]


@pytest.mark.parametrize(("transversal", "longitudinal"), [(89.9, 0.0), (-89.9, 0.0), (0.0, 89.9), (89.9, 89.9)])
def test_grazing_sun(transversal: float, longitudinal: float) -> None:
    """Nearly all is reflected or stray; numbers stay numbers."""
    for lens, sun in itertools.product((LENS, SUNWARD), (SUN, LINE)):
        scene = Scene(lens=lens, tubes=ONE, sun=sun, lens_height=0.8)
        result = trace(scene, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=1 << 10)
        assert result.ledger.total() == pytest.approx(1.0, abs=1e-12)
        assert all(math.isfinite(number) for number in numbers(result))
        assert result.intercepted_fraction.value < 0.05


def test_rays_from_behind_the_lens_carry_nothing() -> None:
    """A sun at 89.9 deg and an aiming error of 50 mrad: about half of the rays come from behind.

    The power of the rest, over that of all at normal incidence, is the mean of max(0, cos) of a Gaussian angle.
    """
    lens = replace(LENS, width=0.02, focal_length=10.0, groove_pitch=1e-4, thickness=5e-4)
    scene = Scene(lens=lens, tubes=ONE, sun=LINE, lens_height=5.0, aiming_error=50.0)
    tangent = math.tan(math.radians(89.9))
    window = profile_window(scene, tangent)
    inputs = prepare(scene).inputs(tangent, 0.0, RowPose.level(0.0), window)
    plan = replicates_for(1 << 13)
    sums = run_replicates(inputs, plan=plan, seed=0, threads=1, with_flux=False)
    angles = math.radians(89.9) + 0.05 * np.linspace(-8.0, 8.0, 20001)
    density = np.exp(-0.5 * np.linspace(-8.0, 8.0, 20001) ** 2)
    # The second angle, along the grooves, shortens the cosine by 0.1 % at most.
    expected = float(np.average(np.maximum(0.0, np.cos(angles)), weights=density))
    assert float(sums.totals[:, path.STARTED].sum()) / plan.rays == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("angle", [90.0, -90.0, 135.0, math.inf, math.nan])
@pytest.mark.parametrize("name", ["transversal_angle", "longitudinal_angle"])
def test_a_sun_behind_the_lens_is_refused(name: str, angle: float) -> None:
    with pytest.raises(ValueError, match=f"{name} must lie between -90 and 90 deg.*the sun is not before the lens"):
        trace(SCENES["plain"][0], rays=16, **{name: angle})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"rays": 0}, "rays must be at least 1, got 0"),
        ({"rays": -3}, "rays must be at least 1, got -3"),
        ({"threads": 0}, "threads must be at least 1, got 0"),
        ({"threads": -2}, "threads must be at least 1, got -2"),
        ({"seed": -1}, "seed must be a whole number from 0, got -1"),
        ({"target_error": 0.0}, "target_error must be positive, got 0.0"),
        ({"target_error": math.nan}, "target_error must be positive, got nan"),
        ({"target_error": -1e-3}, "target_error must be positive, got -0.001"),
    ],
)
def test_wrong_options_are_refused(options: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        trace(SCENES["plain"][0], **options)  # type: ignore[arg-type]


@MANY_RAYS
@pytest.mark.parametrize("target", [1e-3, 2e-4])
def test_a_target_error_is_reached(target: float) -> None:
    result = traced("row in glass under skewed light", rays=1, target_error=target)
    assert result.target_reached is True
    assert 0.0 < result.intercepted_fraction.standard_error <= target
    again = traced("row in glass under skewed light", rays=1, target_error=target, threads=1)
    assert again == result
    assert traced("row in glass under skewed light", rays=1).target_reached is None


@MANY_RAYS
def test_a_target_error_out_of_reach_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(raytrace.trace, "MOST_RAYS_TO_TARGET", 1 << 16)
    result = traced("row in glass under skewed light", rays=1, target_error=1e-9)
    assert result.target_reached is False
    assert result.intercepted_fraction.standard_error > 1e-9
    assert result.rays == 1 << 16


def test_a_target_error_where_no_light_arrives() -> None:
    """Nothing meets the tube, so nothing scatters: the error is zero and the target reached at once."""
    scene, _, _ = SCENES["plain"]
    far = RowPose(row=(0.0, 1.0, 0.0), tube=(0.0, 0.0, 1.0))  # upright below the middle, its end towards the lens
    thin = replace(scene, tubes=Tubes(count=1, length=0.02, absorber_diameter=0.001))
    result = trace(thin, row=far, transversal_angle=60.0, target_error=1e-3)
    assert result.target_reached is True
    assert result.intercepted_fraction == Estimate(value=0.0, standard_error=0.0)


def test_a_pose_of_the_row_is_where_the_tubes_are() -> None:
    """A row along the focal line takes more than one turned across it, and none is the pose at tilt 0."""
    scene = SCENES["plain"][0]
    given = trace(scene, row=RowPose.level(0.0), rays=1 << 12)
    assert given == trace(scene, rays=1 << 12)
    across = trace(scene, row=RowPose.level(90.0), rays=1 << 12)
    assert across.intercepted_fraction.value < 0.2 < given.intercepted_fraction.value
    assert across.focal_line == given.focal_line


def test_peak_flux_lies_between_the_mean_and_the_bound_of_radiance() -> None:
    """On a bare tube in focus. The mean is what is intercepted over the surface; no patch of 5 deg by 10 mm can exceed
    4 sin(rim angle) / (pi t) times the central chord's radiance, 1.0675 of the mean (derived; see test_concentration).
    """
    result = traced("plain", rays=1 << 16)
    scene = SCENES["plain"][0]
    mean = result.intercepted_fraction.value * scene.lens.width * scene.lens.length / (math.pi * 0.03 * 0.9)
    rim = math.atan(0.3 / 0.785)
    bound = 1.0675 * 4.0 * math.sin(rim) / (math.pi * 4.65e-3)
    assert mean < result.tubes[0].peak_flux_ratio < bound
