"""The ways of single rays, as lines to draw: from before the lens through the sheet to where their light ends.

Fates come from the same compiled walk through sheet and row as a trace's. A line is a drawing of the ray: within the
sheet it is one straight piece, and within an envelope it goes straight on, where glass of 2 mm moves it by less than
a millimetre.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from raytrace.arrays import Floats
from raytrace.optics.spectrum import spectral_lines
from raytrace.points import lattice_vector, shifts_and_key
from raytrace.profile import profile_window
from raytrace.scene import RowPose, Scene
from raytrace.trace import SPECTRAL_LINES, KernelInputs, check_sun_angles, prepare

RayFate = Literal["reached", "missed", "envelope", "upward", "edge", "trapped"]
"""Where a ray's light ends: at an absorber, past the row, in a glass, or with the sheet."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RayPath:
    """One ray. `points` (n, 3) in the lens frame [m]; wavelength [nm]; `weight` of what reaches the end, start 1."""

    points: Floats
    fate: RayFate
    tube: int | None
    wavelength: float
    weight: float


def ray_paths(
    scene: Scene,
    *,
    rays: int,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    seed: int = 0,
    row: RowPose | None = None,
    before: float = 0.2,
    beyond: float = 0.2,
) -> tuple[RayPath, ...]:
    """Ways of `rays` rays spread evenly over the aperture, the sun's disc and its colours.

    Parameters
    ----------
    transversal_angle, longitudinal_angle
        The sun's angles across and along the grooves, each in (-90, 90). [deg]
    row
        Pose of the row in the lens frame; the row as laid out at tilt 0 where none is given.
    before, beyond
        Length of the line before the lens, and how far below the tubes' axes a missing ray is drawn. [m]

    Raises
    ------
    ValueError
        If an angle is out of range, `rays` is not positive, or the lens cannot be built.
    """
    from raytrace.kernels import single

    check_sun_angles(transversal_angle, longitudinal_angle)
    if rays < 1:
        raise ValueError(f"rays must be at least 1, got {rays}.")
    prepared = prepare(scene)
    tan_t, tan_l = (math.tan(math.radians(angle)) for angle in (transversal_angle, longitudinal_angle))
    pose = row or RowPose.level(scene.tubes.angle_to_grooves)
    inputs = prepared.inputs(tan_t, tan_l, pose, profile_window(scene, tan_t))
    shift, key = shifts_and_key(seed, 0)
    noted = np.zeros((rays, single.NUMBERS))
    fates = np.zeros((rays, single.FATES), dtype=np.int64)
    single.note_rays(inputs.sheet, inputs.row, inputs.sun, rays, lattice_vector(rays), shift, key, noted, fates)
    wavelengths = (
        spectral_lines(SPECTRAL_LINES) if scene.sun.wavelength is None else np.array([scene.sun.wavelength])
    )
    return tuple(
        _path(inputs, noted[k], fates[k], float(wavelengths[fates[k, single.LINE]]), before, beyond)
        for k in range(rays)
        if noted[k, single.WEIGHT] > 0.0
    )


def _path(
    inputs: KernelInputs, noted: Floats, fates: np.ndarray, wavelength: float, before: float, beyond: float
) -> RayPath:
    from raytrace.kernels import single
    from raytrace.kernels.sheet import DOWN, EDGE, UP
    from raytrace.kernels.tube import IN_ENVELOPE, MISSED

    start, came = noted[single.START : single.START + 3], noted[single.BEFORE : single.BEFORE + 3]
    left, goes = noted[single.LEFT : single.LEFT + 3], noted[single.AFTER : single.AFTER + 3]
    shine = -float(came[2])
    points = [start - before * came, start, left]
    at_sheet, at_row = int(fates[single.AT_SHEET]), int(fates[single.AT_ROW])
    weight = float(noted[single.WEIGHT]) / shine
    tube: int | None = None
    if at_sheet != DOWN:
        fate: RayFate = "upward" if at_sheet == UP else "edge" if at_sheet == EDGE else "trapped"
        if fate == "upward":
            points.append(left + before * goes / np.linalg.norm(goes))
    else:
        weight = float(noted[single.ARRIVED]) / shine
        fate = "missed" if at_row == MISSED else "envelope" if at_row == IN_ENVELOPE else "reached"
        tube = at_row if at_row >= 0 else None
        points.append(left + _way_down(inputs.row, left, goes, fate, tube, beyond) * goes)
    return RayPath(points=np.array(points), fate=fate, tube=tube, wavelength=wavelength, weight=weight)


def _way_down(
    row: object, left: Floats, goes: Floats, fate: RayFate, tube: int | None, beyond: float
) -> float:
    """How far a ray flies from the sheet to where its line ends, in units of |goes|."""
    from raytrace.kernels.tube import Row

    assert isinstance(row, Row)  # noqa: S101  what `PreparedScene.inputs` builds, untyped there for its late import
    place = row.axes @ (left + np.array([-row.shift_x, -row.shift_y, row.height]))
    way = row.axes @ goes
    radius = row.absorber_radius if fate == "reached" else row.outer_radius
    hits = []
    for k in range(row.tubes) if tube is None else (tube,):
        centre = (k - 0.5 * (row.tubes - 1)) * row.spacing
        near, far = _circle(place[0] - centre, place[2], way[0], way[2], radius)
        through_end = far < math.inf and abs(place[1] + near * way[1]) > row.half_length
        if near < math.inf and far > 0.0:
            hits.append(far if through_end else near)
    if fate != "missed" and hits and min(hits) > 0.0:
        return min(hits)
    drop = row.height + float(left[2]) + beyond
    length = float(np.linalg.norm(goes))
    return drop / -float(goes[2]) if goes[2] < -0.2 * length else 5.0 * drop / length


def _circle(u: float, w: float, du: float, dw: float, radius: float) -> tuple[float, float]:
    """Where a line enters and leaves a circle about the origin, in units of |d|; (inf, inf) on a miss."""
    a = du * du + dw * dw
    if a <= 0.0:
        return math.inf, math.inf
    middle = -(u * du + w * dw) / a
    half_sq = (radius * radius - (u + middle * du) ** 2 - (w + middle * dw) ** 2) / a
    if half_sq <= 0.0:
        return math.inf, math.inf
    return middle - math.sqrt(half_sq), middle + math.sqrt(half_sq)


def without_spread(scene: Scene) -> Scene:
    """The same scene under a point of light, with no slope and no aiming error: its rays keep to clean lines."""
    return replace(
        scene,
        lens=replace(scene.lens, slope_error=0.0),
        sun=replace(scene.sun, sunshape="point", circumsolar_ratio=0.0),
        aiming_error=0.0,
    )
