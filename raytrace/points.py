"""Point sets: the lattice of a replicate, its shifts, and the tables that turn them into what a ray needs.

The lattice is kept after measuring it, benchmarks/sampling.py: with 2^18 rays on the shipped scenes and one with bare
tubes, sun on the lens normal, the standard error of the intercepted fraction is 1.7 to 11 times smaller than plain
Monte Carlo's and 0.8 to 3.1 times smaller than that of scrambled Sobol points. It falls with the -0.56th to -0.69th
power of the rays (Monte Carlo: -0.48 to -0.53), more slowly than for smooth integrands: a tube is hit or missed. A
vector found by benchmarks/lattice.py gave 1.0 to 1.4 times the error. Each error is the spread of 32 replicates, itself
known to an eighth. The order of the vector's components was chosen among 251 by errors at slanted suns; at other suns,
with 2^12 to 2^16 rays, the published order gives 1.12 times the errors and orders drawn at random 1.0 to 1.6 times
(benchmarks/vectors.py).
"""

import functools
import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from raytrace.arrays import Floats, Ints
from raytrace.kernels.points import DIMENSIONS

LATTICE_VECTOR = (1, 469891, 118627, 250185, 408519, 182667, 446247, 498753)
"""Generating vector of an extensible rank-1 lattice in base 2 for up to 2^20 points.

Components of F. Kuo's lattice rule "exod2_base2_m20", built as in Cools, Kuo and Nuyens, SIAM J. Sci. Comput. 28 (2006)
2162, in an order of our own, see the module. Values from memory, to be confirmed; what matters, how evenly their points
lie, is tested.
"""

LARGEST_REPLICATE = 1 << 20
LEAST_REPLICATES = 16
TABLE_CELLS = 2048
"""Cells of a sampling table. The distribution is exact at the nodes and even within a cell."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Replicates:
    """How a number of rays is cut up: `count` replicates of `rays_each`, a power of two.

    Replicate k belongs to group k mod `groups`; sums are kept for each group, so memory does not grow with the rays.
    """

    count: int
    rays_each: int
    groups: int

    @property
    def rays(self) -> int:
        """All rays."""
        return self.count * self.rays_each


def replicates_for(rays: int) -> Replicates:
    """At least 16 replicates that hold at least `rays` rays, and at most a sixteenth more (16 where that is more).

    Raises
    ------
    ValueError
        If `rays` is not at least 1.
    """
    if rays < 1:
        raise ValueError(f"rays must be at least 1, got {rays}.")
    each = min(LARGEST_REPLICATE, 1 << max(0, int(math.log2(max(1.0, rays / LEAST_REPLICATES)))))
    count = max(LEAST_REPLICATES, -(-rays // each))
    # As many replicates in each group: from 16 to 31 groups, so that rounding up adds less than a sixteenth.
    per_group = count // LEAST_REPLICATES
    groups = -(-count // per_group)
    return Replicates(count=groups * per_group, rays_each=each, groups=groups)


@functools.lru_cache(maxsize=256)
def shifts_and_key(seed: int, replicate: int) -> tuple[Ints, int]:
    """The random shift of a replicate's lattice, (8,) int of 2^-32, and the key of its hashed numbers.

    Remembered, as a table traces the same few replicates at each of its nodes; so the shift must not be written to.
    """
    sequence = np.random.SeedSequence(entropy=seed, spawn_key=(replicate,))
    rng = np.random.Generator(np.random.PCG64(sequence))
    return rng.integers(-(1 << 31), 1 << 31, DIMENSIONS), int(rng.integers(0, 1 << 62))


def lattice_vector(rays_each: int) -> Ints:
    """The generating vector for `rays_each` points, (8,) int of 2^-32, as `kernels.points.lattice_point` wants it."""
    scaled = np.array(LATTICE_VECTOR, dtype=np.int64) * ((1 << 32) // rays_each)
    return (scaled + (1 << 31)) % (1 << 32) - (1 << 31)


@functools.cache
def normal_quantiles(cells: int = TABLE_CELLS) -> Floats:
    """Quantiles of the standard normal distribution at u = k / cells, (cells + 1,) float.

    The two outermost nodes would be infinite; they are put where the table's variance is exactly 1.
    """
    law = NormalDist()
    upper = np.array([law.inv_cdf(k / cells) for k in range(cells // 2 + 1, cells)])
    nodes = np.concatenate([[0.0], upper])
    a, b = nodes[:-1], nodes[1:]
    # Second moment of a cell with an even density: (a^2 + ab + b^2) / 3.
    missing = 3.0 * 0.5 * cells - float(np.sum(a * a + a * b + b * b))
    last = nodes[-1]
    outermost = 0.5 * (-last + math.sqrt(4.0 * missing - 3.0 * last * last))
    half = np.concatenate([nodes, [outermost]])
    table = np.concatenate([-half[:0:-1], half])
    table.flags.writeable = False
    return table
