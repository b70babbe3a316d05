"""From random numbers to the direction from which a ray comes."""

import math

from raytrace.kernels.jit import inlined
from raytrace.kernels.points import sin_cos_small


@inlined
def sun_direction(
    tan_transversal: float, tan_longitudinal: float, radius_sq: float, cos_turn: float, sin_turn: float
) -> tuple[float, float, float]:
    """Unit vector, in the lens frame, towards a point of the sun's disc or aureole.

    The sun's centre lies along (tan transversal, tan longitudinal, 1); the point lies sqrt(radius_sq) radians from
    it. Sine and cosine of that small angle by their series, to 2e-9 at 44 mrad.
    """
    norm = 1.0 / math.sqrt(tan_transversal * tan_transversal + tan_longitudinal * tan_longitudinal + 1.0)
    cx, cy, cz = tan_transversal * norm, tan_longitudinal * norm, norm
    # Two unit vectors at right angles to the centre: e in the plane across the grooves, f = centre x e.
    across = 1.0 / math.sqrt(cx * cx + cz * cz)
    ex, ez = cz * across, -cx * across
    fx, fy, fz = cy * ez, cz * ex - cx * ez, -cy * ex
    sine = math.sqrt(radius_sq) * (1.0 - radius_sq * (1.0 / 6.0))
    cosine = 1.0 - radius_sq * (0.5 - radius_sq * (1.0 / 24.0))
    a, b = sine * cos_turn, sine * sin_turn
    return cosine * cx + a * ex + b * fx, cosine * cy + b * fy, cosine * cz + a * ez + b * fz


@inlined
def tan_of_sum(tangent: float, angle: float) -> float:
    """Tangent of an angle turned by a small one [rad], from its tangent: tan(atan(tangent) + angle)."""
    sine, cosine = sin_cos_small(angle)
    return (tangent * cosine + sine) / (cosine - tangent * sine)
