"""Snell and Fresnel at one surface, in normal components of n times the direction: no angle is ever formed.

A ray carries its optical momentum p = n * direction. Across a smooth surface the tangential part of p stays, and the
normal part follows from |p| = n on either side: Snell's law in three dimensions. Born and Wolf, Principles of Optics,
7th ed. 1999, sec. 1.5 (Fresnel) and sec. 3.2 (law of refraction in vector form).
"""

import math

from raytrace.kernels.jit import kernel


@kernel
def transmittance(n_from: float, n_to: float, normal_from: float, normal_to: float) -> float:
    """Share of unpolarised light that passes a surface.

    `normal_*` are n * cos(angle to the normal) on either side, both positive. Written as one minus the mean of the
    two reflectances, so that reflected and transmitted parts add to 1 in every digit.
    """
    s = (normal_from - normal_to) / (normal_from + normal_to)
    a, b = n_to * n_to * normal_from, n_from * n_from * normal_to
    p = (a - b) / (a + b)
    return 1.0 - 0.5 * (s * s + p * p)


@kernel
def normal_after_sq(n_from: float, n_to: float, normal_from: float) -> float:
    """Square of the normal component after refraction; not positive under total internal reflection."""
    return n_to * n_to - n_from * n_from + normal_from * normal_from


@kernel
def attenuation(absorption: float, path: float) -> float:
    """Share of light left after a path, Beer and Lambert's law."""
    return math.exp(-absorption * path)
