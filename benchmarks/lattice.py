"""A generating vector of our own: component by component, for all sizes of 2^8 to 2^20 points at once.

Each component is the one whose worst-case error, over the best that this component could reach at that size, is least
at its worst size, as in Cools, Kuo and Nuyens, SIAM J. Sci. Comput. 28 (2006) 2162, but against the best component
rather than the best vector of each size. Korobov space of smoothness 2, product weights. Odd components up to sign are
powers of 5 modulo 2^m, so that the sums over all points are circular correlations: Nuyens and Cools, Math. Comput. 75
(2006) 903. Points 2^t u with odd u belong to the lattices of at least 2^(m - t) points, so sums by t give all sizes.
"""

import math
import time

import numpy as np
from measuring import is_quick, print_heading, print_table

from raytrace.arrays import Floats, Ints

LEAST_POWER = 8
WEIGHTS = (1.0, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5)
"""One for where a ray starts across the grooves, half for each further dimension. Common practice, no source."""


def kernel_of_space(x: Floats) -> Floats:
    """2 pi^2 B_2(x), the kernel of the Korobov space of smoothness 2 less 1."""
    return np.asarray(2.0 * math.pi**2 * (x * x - x + 1.0 / 6.0))


def powers_of_five(power: int) -> Ints:
    """5^k modulo 2^power, all of them, (2^(power - 2),) int."""
    out = np.ones(1, dtype=np.int64)
    step = 5
    while len(out) < 1 << (power - 2):
        out = np.concatenate([out, out * step % (1 << power)])
        step = step * step % (1 << power)
    return out


def sums_for_all_components(product: Floats, power: int) -> Floats:
    """Sum of product times kernel over each embedded lattice and for each component 5^k: (sizes, 2^(power - 2))."""
    candidates = 1 << (power - 2)
    so_far = np.full(candidates, product[0] * kernel_of_space(np.zeros(1))[0])
    out = []
    for t in range(power - 1, -1, -1):
        odd = power - t  # the points 2^t u, u odd modulo 2^odd
        modulus = 1 << odd
        if odd < 3:
            u = np.arange(1, modulus, 2)
            so_far = so_far + float((product[u << t] * kernel_of_space(u / modulus)).sum())
        else:
            u = powers_of_five(odd)
            folded = product[u << t] + product[(modulus - u) << t]
            # sum over j of folded[j] kernel(5^(j + k)): a circular correlation.
            spectrum = np.fft.rfft(kernel_of_space(u / modulus)) * np.conj(np.fft.rfft(folded))
            so_far = so_far + np.tile(np.fft.irfft(spectrum, len(u)), candidates // len(u))
        if odd >= LEAST_POWER:
            out.append(so_far / modulus)
    return np.array(out)


def generating_vector(power: int) -> list[int]:
    """The vector for up to 2^power points."""
    count = 1 << power
    i = np.arange(count)
    components = powers_of_five(power)
    vector = [1]
    product = 1.0 + WEIGHTS[0] * kernel_of_space(i / count)
    for weight in WEIGHTS[1:]:
        sizes = [1 << m for m in range(LEAST_POWER, power + 1)]
        known = np.array([product[:: count // size].mean() - 1.0 for size in sizes])
        errors = known[:, None] + weight * sums_for_all_components(product, power)
        ratio = errors / errors.min(axis=1, keepdims=True)
        taken = [int(np.flatnonzero(components == z)[0]) for z in vector if z in components]
        ratio[:, taken] = np.inf
        best = int(components[int(ratio.max(axis=0).argmin())])
        vector.append(best)
        product = product * (1.0 + weight * kernel_of_space(i * best % count / count))
    return vector


def worst_case_error(vector: list[int], power: int) -> float:
    """Worst-case error in the space, of the first 2^power points."""
    i = np.arange(1 << power)
    product = np.ones(1 << power)
    for z, weight in zip(vector, WEIGHTS, strict=True):
        product *= 1.0 + weight * kernel_of_space(i * z % (1 << power) / (1 << power))
    return math.sqrt(max(0.0, float(product.mean()) - 1.0))


def main() -> None:
    """Search and print, beside the tracer's vector."""
    from raytrace.points import LATTICE_VECTOR

    power = 14 if is_quick(__doc__ or "") else 20
    print_heading(f"Generating vector for up to 2^{power} points", threads="1", scene="none", runs=1)
    began = time.perf_counter()
    vector = generating_vector(power)
    print(f"found in {time.perf_counter() - began:.1f} s: {vector}\n")
    rows = []
    for m in range(LEAST_POWER, power + 1, 2):
        theirs = worst_case_error(list(LATTICE_VECTOR), m)
        rows.append([f"2^{m}", f"{worst_case_error(vector, m):.3e}", f"{theirs:.3e}"])
    print_table(["points", "worst-case error, vector found here", "the tracer's vector"], rows)


if __name__ == "__main__":
    main()
