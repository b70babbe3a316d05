"""Snell and Fresnel at one surface, in normal components of n times the direction: no angle is ever formed.

A ray carries its optical momentum p = n * direction. Across a smooth surface the tangential part of p stays, and the
normal part follows from |p| = n on either side: Snell's law in three dimensions. Born and Wolf, Principles of Optics,
7th ed. 1999, sec. 1.5 (Fresnel) and sec. 3.2 (law of refraction in vector form).
"""

from raytrace.kernels.jit import inlined

TINY = 1e-30
"""Guard of divisors: far below any value that a plain ray has, so that a failing one gives numbers, not NaN."""


@inlined
def transmittance(n_from: float, n_to: float, normal_from: float, normal_to: float) -> float:
    """Share of unpolarised light that passes a surface.

    `normal_*` are n * cos(angle to the normal) on either side, both positive. Written as one minus the mean of the
    two reflectances, so that reflected and transmitted parts add to 1 in every digit.
    """
    s_sum, s_difference = normal_from + normal_to, normal_from - normal_to
    a, b = n_to * n_to * normal_from, n_from * n_from * normal_to
    p_sum, p_difference = a + b, a - b
    s_part, p_part, whole = s_difference * p_sum, p_difference * s_sum, s_sum * p_sum
    return 1.0 - 0.5 * (s_part * s_part + p_part * p_part) / (whole * whole)  # one division for both


@inlined
def normal_after_sq(n_from: float, n_to: float, normal_from: float) -> float:
    """Square of the normal component after refraction; not positive under total internal reflection."""
    return n_to * n_to - n_from * n_from + normal_from * normal_from


HALVINGS = 6
DEEPEST = 60.0


@inlined
def attenuation(absorption: float, path: float) -> float:
    """Share of light left after a path, Beer and Lambert's law: exp(-absorption * path).

    exp(-x) as the 64th power of the series of exp(-x / 64), without a call that would stop the compiler from making
    vector code. Its error stays below 1e-11 of the light that entered; beyond x = 60 the value of 60, 1e-26, stands.
    """
    e = -min(max(absorption * path, 0.0), DEEPEST) * (1.0 / 64.0)
    r = 1.0 + e * (1.0 + e * (1.0 / 2 + e * (1.0 / 6 + e * (1.0 / 24 + e * (1.0 / 120 + e * (1.0 / 720))))))
    for _ in range(HALVINGS):
        r *= r
    return r
