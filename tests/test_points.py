"""Replicates, lattice, shifts and tables: how evenly the random numbers of a trace lie."""

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from reference.callable_kernels import cos_sin_turn, from_table, hashed_uniform, lattice_point

from raytrace.arrays import Floats
from raytrace.kernels.points import DIMENSIONS
from raytrace.points import (
    LARGEST_REPLICATE,
    LATTICE_VECTOR,
    LEAST_REPLICATES,
    lattice_vector,
    normal_quantiles,
    replicates_for,
    shifts_and_key,
)


@given(rays=st.integers(1, 1 << 32))
@example(rays=1)
@example(rays=16)
@example(rays=17)
@example(rays=31)
@example(rays=20 * 1024 + 300)
@example(rays=33 * LARGEST_REPLICATE)
@example(rays=47 * LARGEST_REPLICATE + 1)
def test_replicates_hold_all_rays_and_few_more(rays: int) -> None:
    plan = replicates_for(rays)
    assert plan.count >= LEAST_REPLICATES
    assert plan.rays_each & (plan.rays_each - 1) == 0
    assert plan.rays_each <= LARGEST_REPLICATE
    assert plan.rays >= rays
    assert plan.rays <= max(LEAST_REPLICATES, rays + rays / LEAST_REPLICATES)
    # As many replicates in each group, so that the spread between groups tells the error; memory stays bounded.
    assert plan.count % plan.groups == 0
    assert LEAST_REPLICATES <= plan.groups < 2 * LEAST_REPLICATES


def test_replicates_of_a_number_of_rays_that_is_no_multiple() -> None:
    plan = replicates_for(20 * 1024 + 300)
    assert (plan.count, plan.rays_each, plan.rays) == (21, 1024, 21 * 1024)


@pytest.mark.parametrize("rays", [0, -5])
def test_no_rays_are_refused(rays: int) -> None:
    with pytest.raises(ValueError, match=f"rays must be at least 1, got {rays}"):
        replicates_for(rays)


def lattice(count: int, shift: tuple[int, ...] = (0,) * DIMENSIONS) -> Floats:
    """The points of a replicate as the tracer makes them, (count, 8) float."""
    vector = lattice_vector(count)
    return np.array([[lattice_point(i, int(vector[j]), shift[j]) for j in range(DIMENSIONS)] for i in range(count)])


def lattice_by_formula(count: int) -> Floats:
    """frac(i z / N), (count, 8) float: Cools, Kuo and Nuyens, SIAM J. Sci. Comput. 28 (2006) 2162."""
    return (np.arange(count)[:, None] * np.array(LATTICE_VECTOR)[None, :] % count) / count


@pytest.mark.parametrize("count", [1, 2, 64, 1024])
def test_lattice_points_follow_the_formula(count: int) -> None:
    """Half of 1 further on, as the kernel's whole numbers are signed; a random shift follows in any case."""
    assert lattice(count) == pytest.approx((lattice_by_formula(count) + 0.5) % 1.0, abs=1e-15)


def test_shifted_points_stay_in_the_unit_cube() -> None:
    """A shift moves all points alike, modulo 1."""
    shift, _ = shifts_and_key(3, 5)
    points = lattice(256, tuple(int(s) for s in shift))
    assert points.min() >= 0.0
    assert points.max() < 1.0
    moved = (points - lattice(256)) % 1.0
    assert moved == pytest.approx(np.broadcast_to(moved[0], moved.shape), abs=1e-9)


def test_every_coordinate_alone_is_perfectly_even() -> None:
    """An odd component reaches each of the N places k / N once, for every N that is a power of two."""
    assert all(z % 2 == 1 for z in LATTICE_VECTOR)
    for count in (16, 1024):
        assert np.sort(lattice_by_formula(count), axis=0) == pytest.approx(
            np.repeat(np.arange(count)[:, None] / count, DIMENSIONS, axis=1)
        )


def figure_of_merit(points: Floats) -> float:
    """P_2, the worst-case error squared over smooth periodic functions: the mean of prod(1 + 2 pi^2 B_2(x)), less 1.

    I. H. Sloan and S. Joe, Lattice Methods for Multiple Integration, Oxford 1994, sec. 4.1; value from memory, to be
    confirmed. For N independent points its mean is ((1 + pi^2 / 3)^d - 1) / N.
    """
    bernoulli = points * points - points + 1.0 / 6.0
    return float(np.prod(1.0 + 2.0 * math.pi**2 * bernoulli, axis=1).mean()) - 1.0


@pytest.mark.parametrize(("count", "share"), [(1 << 10, 0.2), (1 << 12, 0.1), (1 << 16, 0.01)])
def test_every_pair_of_coordinates_is_even(count: int, share: float) -> None:
    """Each pair serves some pair of a ray's needs: place and angle, angle and wavelength, and so on.

    The components are built for pairs; some triples lie less evenly. One pair is at 0.19 with 2^10 points.
    """
    points = lattice_by_formula(count)
    at_random = ((1.0 + math.pi**2 / 3.0) ** 2 - 1.0) / count
    for pair in itertools.combinations(range(DIMENSIONS), 2):
        assert figure_of_merit(points[:, pair]) < share * at_random, pair


def rms_error(function: Callable[[Floats], Floats], count: int, dimensions: int, exact: float) -> float:
    """Root mean square error of the mean over 16 shifted lattices."""
    points = lattice_by_formula(count)[:, :dimensions]
    shifts = np.random.default_rng(1).random((16, dimensions))
    errors = [float(function((points + shift) % 1.0).mean()) - exact for shift in shifts]
    return math.sqrt(float(np.mean(np.square(errors))))


# Computed for f = prod (pi / 2) sin(pi u), whose integral is 1: errors of plain random points (mean of twenty) and of
# this lattice, shifted, at 1024 and 16384 points. The lattice's hang on the shift: an order is what is asserted.
@pytest.mark.parametrize(
    ("dimensions", "plain", "shifted"),
    [(2, (2.2e-2, 3.7e-3), (2.3e-6, 6.5e-8)), (4, (3.4e-2, 7.2e-3), (6.3e-4, 6.1e-5))],
)
def test_smooth_functions_converge_faster_than_at_random(
    dimensions: int, plain: tuple[float, float], shifted: tuple[float, float]
) -> None:
    def product(u: Floats) -> Floats:
        return np.asarray(np.prod(0.5 * math.pi * np.sin(math.pi * u), axis=1))

    for count, at_random, expected in zip((1024, 16384), plain, shifted, strict=True):
        error = rms_error(product, count, dimensions, 1.0)
        assert error < 0.1 * at_random
        assert error < 10.0 * expected
    counts = [1 << m for m in range(8, 16)]
    errors = [rms_error(product, count, dimensions, 1.0) for count in counts]
    slope = float(np.polyfit(np.log(counts), np.log(errors), 1)[0])
    assert slope <= -0.8


def test_replicates_and_seeds_have_shifts_and_keys_of_their_own() -> None:
    seen = set()
    for seed, replicate in itertools.product(range(8), range(16)):
        shift, key = shifts_and_key(seed, replicate)
        again, key_again = shifts_and_key(seed, replicate)
        assert np.array_equal(shift, again)
        assert key == key_again
        assert shift.shape == (DIMENSIONS,)
        assert shift.min() >= -(1 << 31)
        assert shift.max() < 1 << 31
        seen.add((tuple(int(s) for s in shift), key))
    assert len(seen) == 128


def test_hashed_numbers_are_even_and_independent_of_each_other() -> None:
    """Chi-square over 16 x 16 cells of successive draws, and of neighbouring rays; 255 degrees of freedom.

    Their chi-square lies below 350 in all but one of ten thousand cases; the numbers are fixed by the key.
    """
    _, key = shifts_and_key(0, 0)
    table = np.array([[hashed_uniform(key, ray, draw) for draw in range(1, 5)] for ray in range(1500)])
    assert table.min() >= 0.0
    assert table.max() < 1.0
    for first, second in ((table[:, :-1], table[:, 1:]), (table[:-1], table[1:])):
        cells, _, _ = np.histogram2d(first.ravel(), second.ravel(), bins=16, range=[[0.0, 1.0], [0.0, 1.0]])
        expected = first.size / 256.0
        assert 170.0 < float(((cells - expected) ** 2).sum()) / expected < 350.0


def test_normal_quantiles_have_mean_zero_and_variance_one() -> None:
    """The table is even within a cell; a cell from a to b holds (a^2 + ab + b^2) / 3 of the second moment. Exact."""
    table = normal_quantiles()
    a, b = table[:-1], table[1:]
    assert (b > a).all()
    assert table == pytest.approx(-table[::-1], abs=1e-12)
    assert float(((a * a + a * b + b * b) / 3.0).mean()) == pytest.approx(1.0, abs=1e-12)
    # Fourth moment 3, less what the two cut tails, 1 / 2048 in all each, take away.
    fourth = (a**4 + a**3 * b + a**2 * b**2 + a * b**3 + b**4) / 5.0
    assert float(fourth.mean()) == pytest.approx(3.0, abs=0.02)


# Quantiles of the standard normal distribution: any table, such as Abramowitz and Stegun, Handbook of Mathematical
# Functions, 1964, table 26.5; computed with Python's statistics module as well.
@pytest.mark.parametrize(
    ("u", "quantile"), [(0.5, 0.0), (0.75, 0.67449), (0.9, 1.28155), (0.95, 1.64485), (0.975, 1.95996), (0.99, 2.32635)]
)
def test_normal_quantiles_against_a_table(u: float, quantile: float) -> None:
    """To 1e-4: between two of 2049 nodes the table is straight and the law is not."""
    assert from_table(normal_quantiles(), u) == pytest.approx(quantile, abs=1e-4)
    assert from_table(normal_quantiles(), 1.0 - u) == pytest.approx(-quantile, abs=1e-4)


def test_a_table_is_linear_between_its_nodes_and_holds_at_its_ends() -> None:
    table = np.array([1.0, 3.0, 2.0])
    found = [from_table(table, u) for u in (0.0, 0.25, 0.5, 0.75, 1.0)]
    assert found == pytest.approx([1.0, 2.0, 3.0, 2.5, 2.0], abs=1e-15)


@given(u=st.floats(0.0, 1.0, exclude_max=True))
def test_cosine_and_sine_of_a_turn(u: float) -> None:
    """To 1e-7 turns of a disc 5 mrad wide: far below a nanoradian."""
    assert cos_sin_turn(u) == pytest.approx((math.cos(2.0 * math.pi * u), math.sin(2.0 * math.pi * u)), abs=1e-7)
