"""From random numbers to the direction from which a ray comes."""

import math
from typing import NamedTuple

import numpy as np

from raytrace.kernels.jit import inlined
from raytrace.kernels.points import sin_cos_small


class Sun(NamedTuple):
    """Direction of the sun's centre, sampling tables, and the lines that stand for the spectrum."""

    tan_transversal: float
    tan_longitudinal: float
    aiming_error: float
    radius_sq: np.ndarray  # squared radius [rad2] over evenly spaced u
    normal: np.ndarray  # quantiles of the standard normal distribution over evenly spaced u
    sheet_index: np.ndarray
    sheet_absorption: np.ndarray
    glass_index: np.ndarray
    glass_absorption: np.ndarray


@inlined
def sun_direction(
    x: float, y: float, z: float, radius_sq: float, cos_turn: float, sin_turn: float
) -> tuple[float, float, float]:
    """Unit vector, in the lens frame, towards a point of the sun's disc or aureole.

    The sun's centre lies along (x, y, z), of any length; the point lies sqrt(radius_sq) radians from it. Sine and
    cosine of that small angle by their series, to 2e-9 at 44 mrad.
    """
    norm = 1.0 / math.sqrt(x * x + y * y + z * z)
    cx, cy, cz = x * norm, y * norm, z * norm
    # Two unit vectors at right angles to the centre: e in the plane across the grooves, f = centre x e.
    across = 1.0 / math.sqrt(cx * cx + cz * cz)
    ex, ez = cz * across, -cx * across
    fx, fy, fz = cy * ez, cz * ex - cx * ez, -cy * ex
    sine = math.sqrt(radius_sq) * (1.0 - radius_sq * (1.0 / 6.0))
    cosine = 1.0 - radius_sq * (0.5 - radius_sq * (1.0 / 24.0))
    a, b = sine * cos_turn, sine * sin_turn
    return cosine * cx + a * ex + b * fx, cosine * cy + b * fy, cosine * cz + a * ez + b * fz


@inlined
def turned_centre(
    tan_transversal: float, tan_longitudinal: float, across: float, along: float
) -> tuple[float, float, float]:
    """Direction of the sun's centre with `across` and `along` [rad] added to its two angles; not of unit length.

    By sines and cosines, so that a sun that is turned past 90 deg comes to lie behind the lens.
    """
    cos_t = 1.0 / math.sqrt(1.0 + tan_transversal * tan_transversal)
    cos_l = 1.0 / math.sqrt(1.0 + tan_longitudinal * tan_longitudinal)
    sin_t, sin_l = tan_transversal * cos_t, tan_longitudinal * cos_l
    s, c = sin_cos_small(across)
    sin_t, cos_t = sin_t * c + cos_t * s, cos_t * c - sin_t * s
    s, c = sin_cos_small(along)
    sin_l, cos_l = sin_l * c + cos_l * s, cos_l * c - sin_l * s
    return sin_t * cos_l, cos_t * sin_l, cos_t * cos_l
