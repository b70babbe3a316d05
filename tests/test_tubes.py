"""Rays at the row of tubes, one by one, against closed forms and a slow, obvious twin."""

import math
from collections.abc import Iterator

import numpy as np
import pytest
from reference.callable_kernels import walk_row

from raytrace.arrays import Floats
from raytrace.kernels.tube import IN_ENVELOPE, MISSED, Row

ABSORBER = 0.0235  # [m], radius
INNER, OUTER = 0.0270, 0.0290  # [m], radii of the glass
GLASS = 1.47
HALF_LENGTH = 0.8  # [m]
COSINE_TABLE = np.linspace(0.0, 1.0, 65)  # an "absorptance" that tells the cosine of the angle of incidence


def row_of(count: int = 1, spacing: float = 0.06, *, glass: bool = False, half_length: float = HALF_LENGTH) -> Row:
    """A row of our own invention, bare or in glass."""
    return Row(
        tubes=count,
        spacing=spacing,
        half_length=half_length,
        absorber_radius=ABSORBER,
        enveloped=glass,
        inner_radius=INNER if glass else ABSORBER,
        outer_radius=OUTER if glass else ABSORBER,
        absorptance=COSINE_TABLE,
        axes=np.eye(3),
        height=1.0,
        patches_along=160,
        patches_around=72,
        shift_x=0.0,
        shift_y=0.0,
    )


def walk(
    row: Row, start: Floats, heading: Floats, *, index: float = GLASS, absorption: float = 0.0
) -> tuple[int, float, float, float, int]:
    """Tube, weight that arrives, weight lost in glass, factor, patch of a ray of weight 1 in the row frame."""
    u, v, w = (float(a) for a in start)
    pu, pv, pw = (float(a) for a in heading / np.linalg.norm(heading))
    return walk_row(row, index, absorption, 1.0, u, v, w, pu, pv, pw)


def axis_of(row: Row, tube: int) -> float:
    """Place of a tube's axis along the row [m]."""
    return (tube - 0.5 * (row.tubes - 1)) * row.spacing


@pytest.mark.parametrize("slant", [0.0, 0.3, -1.2])
@pytest.mark.parametrize("lean", [0.0, 0.4, -3.0])
def test_a_bare_tube_takes_what_passes_its_axis_within_its_radius(slant: float, lean: float) -> None:
    """The cosine of the angle of incidence is sqrt(1 - (b / R)^2) times the share of the direction across the tube."""
    row, heading = row_of(), np.array([lean, slant, -1.0])
    heading /= np.linalg.norm(heading)
    across = math.hypot(heading[0], heading[2])
    sideways = np.array([-heading[2], 0.0, heading[0]]) / across
    for offset in np.linspace(-1.2, 1.2, 24) * ABSORBER:
        tube, arrived, lost, factor, _ = walk(row, offset * sideways - 0.2 * heading, heading)
        assert lost == 0.0
        assert arrived == 1.0
        if abs(offset) < ABSORBER:
            assert tube == 0
            assert factor == pytest.approx(math.sqrt(1.0 - (offset / ABSORBER) ** 2) * across, abs=1e-12)
        else:
            assert tube == MISSED


def test_patches_lie_where_the_ray_lands() -> None:
    """Patches run along the tube first in 10 mm steps, then around it in 5 deg steps from the side of low u."""
    row = row_of()
    for v in (-0.795, -0.004, 0.003, 0.612):
        for offset in (-0.02, -0.001, 0.004, 0.0234):
            _, _, _, _, patch = walk(row, np.array([offset, v, 0.5]), np.array([0.0, 0.0, -1.0]))
            turn = math.atan2(math.sqrt(ABSORBER**2 - offset**2), offset) + math.pi
            assert patch // 72 == math.floor((v + HALF_LENGTH) / 0.01)
            assert patch % 72 == math.floor(math.degrees(turn) / 5.0)


def twin(row: Row, start: Floats, heading: Floats) -> tuple[int, float]:
    """Slow, obvious twin for bare rows: the nearest meeting with any of the open cylinders, from outside or inside.

    Returns the tube and the cosine of the angle of incidence.
    """
    heading = heading / np.linalg.norm(heading)
    best, tube, cosine = math.inf, MISSED, 0.0
    for k in range(row.tubes):
        u, w = start[0] - axis_of(row, k), start[2]
        a = heading[0] ** 2 + heading[2] ** 2
        b = 2.0 * (u * heading[0] + w * heading[2])
        c = u * u + w * w - row.absorber_radius**2
        if a == 0.0 or b * b - 4.0 * a * c < 0.0:
            continue
        for sign in (-1.0, 1.0):
            s = (-b + sign * math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)
            if 0.0 < s < best and abs(start[1] + s * heading[1]) <= row.half_length:
                best, tube = s, k
                radial = np.array([u + s * heading[0], w + s * heading[2]]) / row.absorber_radius
                cosine = abs(radial[0] * heading[0] + radial[1] * heading[2])
    return tube, cosine


def random_rays(count: int, seed: int, *, slant: float, lean: float, spread: float) -> Iterator[tuple[Floats, Floats]]:
    """Rays from above the row, aimed at all places near it, some of them past the ends of its tubes."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        aim = np.array([rng.uniform(-spread, spread), rng.uniform(-1.2, 1.2) * HALF_LENGTH, 0.0])
        heading = np.array([rng.uniform(-lean, lean), rng.uniform(-slant, slant), -1.0])
        yield aim - 0.5 * heading, heading


@pytest.mark.parametrize(
    ("count", "spacing", "slant", "lean"),
    [
        (1, 0.06, 0.5, 1.0),
        (1, 0.06, 40.0, 0.1),
        (2, 0.048, 0.4, 6.0),
        (5, 0.05, 3.0, 3.0),
        (12, 2.0 * ABSORBER, 0.5, 20.0),
    ],
)
def test_rows_of_bare_tubes_meet_rays_as_the_twin_does(count: int, spacing: float, slant: float, lean: float) -> None:
    row = row_of(count, spacing)
    met = 0
    for start, heading in random_rays(1000, count, slant=slant, lean=lean, spread=0.5 * count * spacing + 0.05):
        tube, cosine = twin(row, start, heading)
        found, arrived, lost, factor, _ = walk(row, start, heading)
        assert found == tube
        assert (arrived, lost) == (1.0, 0.0)
        if tube != MISSED:
            assert factor == pytest.approx(cosine, abs=1e-7)
            met += 1
    assert 100 < met < 1000


def test_open_ends() -> None:
    """A ray beyond the end does not see the tube; one that enters by the end meets the absorber from inside."""
    row = row_of(half_length=0.1)
    down = np.array([0.0, 0.0, -1.0])
    assert walk(row, np.array([0.0, 0.0999, 0.5]), down)[0] == 0
    assert walk(row, np.array([0.0, 0.1001, 0.5]), down)[0] == MISSED
    # Along the tube and downward: in through the end at v = 0.1, 5 mm above the axis, down onto the far wall.
    inward = np.array([0.0, -1.0, -0.25])
    tube, arrived, _, factor, patch = walk(row, np.array([0.0, 0.1, 0.005]) - inward, inward)
    assert (tube, arrived) == (0, 1.0)
    assert factor == pytest.approx(0.25 / math.hypot(1.0, 0.25), abs=1e-12)
    landed = 0.1 - (0.005 + ABSORBER) / 0.25
    assert patch == math.floor((landed + 0.1) / 0.2 * 160) * 72 + 18  # from below: a quarter turn from low u
    # In through one end and out by the other.
    assert walk(row, np.array([0.0, 0.5, 0.0]), np.array([0.01, -1.0, 0.01]))[0] == MISSED
    assert walk(row, np.array([0.005, 0.5, 0.005]), np.array([0.0, -1.0, 0.0]))[0] == MISSED


@pytest.mark.parametrize("radius", [ABSORBER, OUTER])
def test_rays_that_pass_several_tubes_beyond_their_ends_go_on(radius: float) -> None:
    """A shallow ray crosses the (endless) cylinders of neighbours one after the other, and is past the ends of all."""
    row = row_of(4, 0.06, glass=radius == OUTER)
    for slant in (0.0, 0.01, -0.01):
        heading = np.array([1.0, slant, -0.01])
        assert walk(row, np.array([-0.5, 0.9, 0.005]), heading) == (MISSED, 1.0, 0.0, 0.0, 0)
    # Past the ends of the first two, then onto the third.
    heading = np.array([1.0, -1.0, 0.0])
    start = np.array([axis_of(row, 2) - radius, HALF_LENGTH - 1e-3, 0.0]) - 0.3 * heading
    assert walk(row, start, heading)[0] == 2


@pytest.mark.parametrize("angle", [0.0, 30.0, 60.0, 75.0, 85.0])
def test_neighbours_shade_each_other(angle: float) -> None:
    """Of parallel light at an angle to the row's normal, the first tube takes its whole breadth 2 R, each tube behind
    it at most what comes through the gap: spacing cos(angle). Exact.
    """
    row = row_of(4, 0.05)
    heading = np.array([math.sin(math.radians(angle)), 0.0, -math.cos(math.radians(angle))])
    sideways = np.array([-heading[2], 0.0, heading[0]])
    # More than the row's breadth, in steps of 0.1 mm, midway between whole ones.
    offsets = (np.arange(-1200, 1200) + 0.5) * 1e-4
    tubes = [walk(row, offset * sideways - heading, heading)[0] for offset in offsets]
    through_gap = min(2.0 * ABSORBER, row.spacing * math.cos(math.radians(angle)))
    for tube in range(4):
        expected = 2.0 * ABSORBER if tube == 0 else through_gap
        assert tubes.count(tube) * 1e-4 == pytest.approx(expected, abs=2.01e-4)


def fresnel(before: float, after: float) -> float:
    """Share of unpolarised light that passes, from the two angles [rad] (Born and Wolf, sec. 1.5.2)."""
    perpendicular = math.sin(before - after) ** 2 / math.sin(before + after) ** 2
    parallel = math.tan(before - after) ** 2 / math.tan(before + after) ** 2
    return 1.0 - 0.5 * (perpendicular + parallel)


def wall(offset: float, slant: float, absorption: float) -> tuple[float, float, float, float]:
    """Shares that pass the outer face, the wall and the inner face, and by how much the ray turns about the axis on
    its way in [rad].

    From first principles: the component of n times the direction along the tube stays; about the axis
    n r sin(angle) of the part across the tube stays. `offset` is the distance at which the ray would pass the axis,
    `slant` the sine of its angle to the plane across the tube.
    """
    outside, inside = math.sqrt(1.0 - slant * slant), math.sqrt(GLASS * GLASS - slant * slant)
    turns, shares = 0.0, []
    for radius, (first, second), (n_first, n_second) in (
        (OUTER, (outside, inside), (1.0, GLASS)),
        (INNER, (inside, outside), (GLASS, 1.0)),
    ):
        a, b = (math.asin(min(1.0, outside * offset / (radius * part))) for part in (first, second))
        turns += a - b
        angle, angle_after = math.acos(first * math.cos(a) / n_first), math.acos(second * math.cos(b) / n_second)
        shares.append(fresnel(angle, angle_after) if outside * offset < radius * second else 0.0)
    chord = outside * offset / inside
    path = (math.sqrt(OUTER**2 - chord**2) - math.sqrt(INNER**2 - chord**2)) * GLASS / inside
    return shares[0], math.exp(-absorption * path), shares[1], turns


@pytest.mark.parametrize("slant", [0.02, 0.5])
def test_one_tube_in_glass(slant: float) -> None:
    """A concentric glass changes by no digit at what distance a ray passes the axis, so which rays reach the absorber.

    Light between absorber and inner face goes on through four surfaces, light between the faces of the wall is turned
    back at the inner face and leaves by the outer one, both without meeting the absorber.
    """
    row, absorption = row_of(glass=True), 20.0
    across = math.sqrt(1.0 - slant * slant)
    heading = np.array([0.0, slant, -across])
    for offset in (0.002, 0.015, 0.0234, 0.0236, 0.0262, 0.0272, 0.0285, 0.0291):
        tube, arrived, lost, factor, _ = walk(
            row, np.array([offset, 0.0, 0.0]) - 0.1 * heading, heading, absorption=absorption
        )
        assert arrived + lost == pytest.approx(1.0, abs=1e-14)
        if offset > OUTER:
            assert (tube, arrived) == (MISSED, 1.0)
            continue
        outer, kept, inner, _ = wall(offset, slant, absorption)
        if offset < ABSORBER:
            assert tube == 0
            assert arrived == pytest.approx(outer * kept * inner, rel=1e-10)
            assert factor == pytest.approx(across * math.sqrt(1.0 - (offset / ABSORBER) ** 2), abs=1e-10)
        else:
            assert tube == MISSED
            surfaces = (outer * inner) ** 2 if offset < INNER else outer**2
            assert arrived == pytest.approx(surfaces * kept**2, rel=1e-10)


def test_light_that_passes_one_glass_meets_the_next_tube() -> None:
    """Past the first absorber, inside its glass: the ray keeps its distance from that axis but is turned about it.

    Derived: it turns twice by what one wall turns it. The second tube then sees the new line.
    """
    row = row_of(2, 0.06, glass=True)
    tilt = math.radians(20.0)  # downward from the row
    heading = np.array([math.cos(tilt), 0.0, -math.sin(tilt)])
    upward = np.array([math.sin(tilt), 0.0, math.cos(tilt)])
    offset = 0.0252
    centre = np.array([axis_of(row, 0), 0.0, 0.0])
    tube, arrived, _, factor, _ = walk(row, centre + offset * upward - 0.2 * heading, heading)
    outer, _, inner, turn = wall(offset, 0.0, 0.0)
    # Going past above the axis the ray turns towards it or away from it as the wall says: by 2 turn, clockwise here.
    after = tilt + 2.0 * turn
    heading_after = np.array([math.cos(after), -math.sin(after)])
    closest = offset * np.array([math.sin(after), math.cos(after)])
    to_second = np.array([row.spacing, 0.0]) - closest
    offset_second = abs(to_second[0] * heading_after[1] - to_second[1] * heading_after[0])
    assert offset_second < ABSORBER
    assert tube == 1
    outer_second, _, inner_second, _ = wall(offset_second, 0.0, 0.0)
    assert arrived == pytest.approx((outer * inner) ** 2 * outer_second * inner_second, rel=1e-9)
    assert factor == pytest.approx(math.sqrt(1.0 - (offset_second / ABSORBER) ** 2), abs=1e-9)


def test_glass_that_is_no_glass_changes_nothing() -> None:
    """An envelope of index 1 that absorbs nothing, around tubes longer than where the rays land."""
    bare, glass = row_of(5, 0.06, half_length=5.0), row_of(5, 0.06, glass=True, half_length=5.0)
    for start, heading in random_rays(800, 7, slant=1.0, lean=3.0, spread=0.2):
        expected = walk(bare, start, heading)
        found = walk(glass, start, heading, index=1.0)
        assert found[0] == expected[0]
        assert found[1:4] == pytest.approx(expected[1:4], abs=1e-9)
        assert found[4] == expected[4]


def test_the_cut_end_of_a_glass_takes_what_falls_on_it() -> None:
    """In through the end: onto the wall's cut face, or into the vacuum and from there onto the absorber."""
    row = row_of(glass=True, half_length=0.1)
    inward = np.array([0.0, -1.0, -0.2])
    on_wall = np.array([0.0, 0.1, 0.5 * (INNER + OUTER)])
    assert walk(row, on_wall - inward, inward)[:3] == (IN_ENVELOPE, 1.0, 0.0)
    in_vacuum = np.array([0.0, 0.1, 0.5 * (INNER + ABSORBER)])
    tube, arrived, lost, factor, _ = walk(row, in_vacuum - inward, inward)
    assert (tube, arrived, lost) == (0, 1.0, 0.0)
    assert factor == pytest.approx(0.2 / math.hypot(1.0, 0.2), abs=1e-9)


@pytest.mark.parametrize(("count", "fate"), [(4, MISSED), (5, IN_ENVELOPE)])
def test_the_sixteenth_surface_is_carried_out_and_the_seventeenth_is_not(count: int, fate: int) -> None:
    """Along the row between absorbers and glass, four surfaces at each tube; an index of 1 keeps the ray straight."""
    row = row_of(count, 0.06, glass=True)
    start, heading = np.array([-1.0, 0.0, 0.5 * (ABSORBER + INNER)]), np.array([1.0, 0.0, 0.0])
    tube, arrived, lost, _, _ = walk(row, start, heading, index=1.0)
    assert tube == fate
    assert arrived + lost == pytest.approx(1.0, abs=1e-14)
