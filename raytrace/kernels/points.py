"""Random numbers of a ray: a shifted rank-1 lattice for what every ray needs, a hash for the rare rest.

Ray i of a replicate of N = 2^m rays has u_j = frac(i z_j / N + shift_j): Cools, Kuo and Nuyens, SIAM J. Sci. Comput. 28
(2006) 2162. The shift is the replicate's own, so replicates are independent and each is unbiased.
"""

import math
from collections.abc import Callable

import numba
import numpy as np

from raytrace.kernels.jit import inlined, low_32_bits

# The dimensions of a ray.
ACROSS, ALONG, SUN_RADIUS, SUN_AZIMUTH, LINE, SLOPE, AIM_ACROSS, AIM_ALONG = range(8)
DIMENSIONS = 8

# Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014: the SplitMix64 constants.
GOLDEN = np.uint64(0x9E3779B97F4A7C15)
MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
MIX_2 = np.uint64(0x94D049BB133111EB)
S30, S27, S31, S11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)
TWO_TO_MINUS_32 = 1.0 / 4294967296.0
TWO_TO_MINUS_53 = 1.0 / 9007199254740992.0


@inlined
def lattice_point(i: int, z: int, shift: int) -> float:
    """Coordinate of point i in [0, 1), in whole numbers of 2^-32.

    `z` is the component of the generating vector times 2^32 / N and `shift` the shift times 2^32, both less 2^32 where
    they are 2^31 or more: 32-bit numbers wrap around as the coordinate does. Signed ones turn into floats in one vector
    instruction, hence the half.
    """
    return float(low_32_bits(i * z + shift)) * TWO_TO_MINUS_32 + 0.5


@inlined
def _hashed_uniform(key: int, ray: int, draw: int) -> float:
    """A number in [0, 1) that depends on the replicate's key, the ray and the count of its draws alone."""
    v = np.uint64(key) + GOLDEN * (np.uint64(ray) * np.uint64(64) + np.uint64(draw) + np.uint64(1))
    v = (v ^ (v >> S30)) * MIX_1
    v = (v ^ (v >> S27)) * MIX_2
    v = v ^ (v >> S31)
    return float(v >> S11) * TWO_TO_MINUS_53


def _hashed_uniform_plainly(key: int, ray: int, draw: int) -> float:
    """The same in Python's own whole numbers: numpy's warn where they wrap around."""
    mask = 0xFFFFFFFFFFFFFFFF
    v = (int(key) + int(GOLDEN) * (int(ray) * 64 + int(draw) + 1)) & mask
    v = ((v ^ (v >> 30)) * int(MIX_1)) & mask
    v = ((v ^ (v >> 27)) * int(MIX_2)) & mask
    return float((v ^ (v >> 31)) >> 11) * TWO_TO_MINUS_53


hashed_uniform: Callable[[int, int, int], float] = (
    _hashed_uniform_plainly if numba.config.DISABLE_JIT else _hashed_uniform
)


@inlined
def from_table(table: np.ndarray, u: float) -> float:
    """Value at u of a table whose nodes are evenly spaced over [0, 1], linear in between."""
    cells = table.shape[0] - 1
    position = u * cells
    cell = min(int(position), cells - 1)
    low: float = table[cell]
    high: float = table[cell + 1]
    return low + (high - low) * float(position - cell)


@inlined
def sin_cos_quarter(a: float) -> tuple[float, float]:
    """Sine and cosine for |a| up to a quarter turn [rad], by their series, to 6e-8: no call, so vector code."""
    q = a * a
    s = a * (1.0 - q * (1.0 / 6 - q * (1.0 / 120 - q * (1.0 / 5040 - q * (1.0 / 362880 - q * (1.0 / 39916800))))))
    c = 1.0 - q * (1.0 / 2 - q * (1.0 / 24 - q * (1.0 / 720 - q * (1.0 / 40320 - q * (
        1.0 / 3628800 - q * (1.0 / 479001600))))))
    return s, c


@inlined
def sin_cos_small(a: float) -> tuple[float, float]:
    """Sine and cosine for |a| up to 0.25 rad, five times the largest slope error, by their series, to 1e-11."""
    q = a * a
    s = a * (1.0 - q * (1.0 / 6 - q * (1.0 / 120 - q * (1.0 / 5040))))
    c = 1.0 - q * (1.0 / 2 - q * (1.0 / 24 - q * (1.0 / 720 - q * (1.0 / 40320))))
    return s, c


@inlined
def cos_sin_turn(u: float) -> tuple[float, float]:
    """Cosine and sine of u full turns, u in [0, 1), to 6e-8: it places a point on the sun's disc, 0.005 rad across."""
    t = u - 0.5
    s, c = sin_cos_quarter(2.0 * math.pi * (abs(t) - 0.25))
    return s, c if t < 0.0 else -c
