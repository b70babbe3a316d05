"""From random numbers to the direction from which a ray comes."""

import math
from typing import NamedTuple

import numpy as np

from raytrace.kernels.jit import inlined
from raytrace.kernels.points import sin_cos_small


class Sun(NamedTuple):
    """Direction of the sun's centre, sampling tables, and the lines that stand for the spectrum."""

    sin_transversal: float
    cos_transversal: float
    sin_longitudinal: float
    cos_longitudinal: float
    aiming_error: float
    radius_sq: np.ndarray  # squared radius [rad2] over evenly spaced u
    normal: np.ndarray  # quantiles of the standard normal distribution over evenly spaced u
    sheet_index: np.ndarray
    sheet_absorption: np.ndarray
    glass_index: np.ndarray
    glass_absorption: np.ndarray


@inlined
def sun_direction(
    sin_t: float, cos_t: float, sin_l: float, cos_l: float, radius_sq: float, cos_turn: float, sin_turn: float
) -> tuple[float, float, float]:
    """Unit vector, in the lens frame, towards a point of the sun's disc or aureole.

    The sun's centre lies along (sin_t cos_l, cos_t sin_l, cos_t cos_l), for its transversal and longitudinal angle; the
    point lies sqrt(radius_sq) radians from it. Sine and cosine of that small angle by their series, to 2e-9 at 44 mrad.
    """
    norm = 1.0 / math.sqrt(cos_t * cos_t + sin_t * sin_t * cos_l * cos_l)
    # Beside the centre c two unit vectors at right angles to it: e = (cos_t, 0, -sin_t), and f = c x e, which is
    # norm (-sin_t cos_t sin_l, cos_l, -cos_t cos_t sin_l). The sum cosine c + a e + b f in order of its parts:
    sine = math.sqrt(radius_sq) * (1.0 - radius_sq * (1.0 / 6.0))
    cosine = 1.0 - radius_sq * (0.5 - radius_sq * (1.0 / 24.0))
    a, b = sine * cos_turn, sine * sin_turn
    before = (cosine * cos_l - b * cos_t * sin_l) * norm
    return sin_t * before + a * cos_t, (cosine * cos_t * sin_l + b * cos_l) * norm, cos_t * before - a * sin_t


@inlined
def turned(sine: float, cosine: float, turn: float) -> tuple[float, float]:
    """Sine and cosine of an angle with a small `turn` [rad] added to it.

    So a sun that is turned past 90 deg comes to lie behind the lens.
    """
    s, c = sin_cos_small(turn)
    return sine * c + cosine * s, cosine * c - sine * s
