"""Whether the tubes keep clear of the sheet, at every tilt of the mount."""

from collections.abc import Sequence

import numpy as np

from raytrace.arrays import Floats
from raytrace.scene import RowPose, Scene

_SEARCH_STEPS = 40
"""Steps of a golden-section search: they narrow a tube's length by a factor of 2e8, below a tenth of a micron."""

_GOLDEN = (5.0**0.5 - 1.0) / 2.0


def gaps(scene: Scene, poses: Sequence[RowPose]) -> Floats:
    """Smallest distance between the sheet and the axis of any tube, less the tube's radius, for each pose of the row.

    Parameters
    ----------
    scene
        Lens, tubes and lens height; the row is centred below the middle of the lens.
    poses : (n,) sequence
        How the row lies in the lens frame.

    Returns
    -------
    (n,) float
        Below zero where a tube touches or pierces the sheet. Ends are taken as round, and a sag as if the whole sheet
        hung down by it: both on the safe side. [m]

    Notes
    -----
    The sheet is a box, so the distance to it is convex along a tube's axis and one search along each axis finds it.
    """
    row = np.array([pose.row for pose in poses])[:, None, :]
    tube = np.array([pose.tube for pose in poses])[:, None, :]
    count = scene.tubes.count
    offset = (np.arange(count) - 0.5 * (count - 1)) * scene.tubes.spacing
    middle = offset[None, :, None] * row - np.array([0.0, 0.0, scene.lens_height])
    low = np.full((len(poses), count), -0.5 * scene.tubes.length)
    high = -low
    for _ in range(_SEARCH_STEPS):
        step = _GOLDEN * (high - low)
        left, right = high - step, low + step
        at_left, at_right = (_distance(scene, middle + along[..., None] * tube) for along in (left, right))
        low, high = np.where(at_left < at_right, low, left), np.where(at_left < at_right, right, high)
    distance = _distance(scene, middle + (0.5 * (low + high))[..., None] * tube)
    return np.asarray(distance.min(axis=1) - 0.5 * scene.tubes.outer_diameter)


def _distance(scene: Scene, points: Floats) -> Floats:
    """Distance of points (..., 3) from the box that holds the sheet [m]."""
    lens = scene.lens
    low = np.array([-0.5 * lens.width, -0.5 * lens.length, -max(0.0, lens.sag)])
    high = np.array([0.5 * lens.width, 0.5 * lens.length, lens.thickness + max(0.0, -lens.sag)])
    outside = np.maximum(np.maximum(low - points, points - high), 0.0)
    return np.asarray(np.sqrt((outside * outside).sum(axis=-1)))
