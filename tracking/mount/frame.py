"""The room that the unit needs: how high, how wide, and the circles that lens and row sweep as they lean and turn.

Lengths are counted from the middle of the row, which no setting moves: there the tilt axis and the swivel axis cross.
Counted are the sheet and the tubes in their glass, not the frame around them, which nobody has drawn yet.
"""

import math
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from raytrace.scene import Scene
from tracking.mount.pose import Mount, Setting, lens_axes, row_pose, sun_vector

TILT_STEP = 1.0
"""Step of the settings among which the extremes are sought [deg]: off by less than 0.01 % of the reach."""

SHOWN_STEP = 15.0
"""Step of the settings that are told one by one [deg], beside the ends of the range."""

SWIVEL_STEP = 5.0
"""The same for the hour angles of a polar mount; any other swivel axis is upright and changes no height [deg]."""

RIM_POINTS = 360
"""Points on the rim of a tube's end: they miss its farthest point by less than 4e-5 of the diameter."""

ALL_ROUND = (-180.0, 180.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Extent:
    """The room that lens and row take at one setting [m].

    `top` and `bottom` are the heights of the highest and of the lowest point over the middle of the row; `along` is the
    level length in the direction of the tilt axis, `across` the level length at right angles to it (for `polar`: east
    to west and north to south); `radius` is the level distance of the farthest point from the upright line through the
    middle of the row; `inclination` [deg] lies between the sheet and level.
    """

    setting: Setting
    inclination: float
    top: float
    bottom: float
    along: float
    across: float
    radius: float

    @property
    def height(self) -> float:
        """Overall height [m]."""
        return self.top - self.bottom


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """The room of a unit over all settings of its mount [m].

    `shown` are single settings, the extremes of the range among them. `top`, `bottom` are the extremes over all
    settings, so `-bottom` is the least height of the row's middle over the ground. `tallest` is the setting with the
    greatest overall height. `turning_radius`: no point comes farther from the upright line through the middle of the
    row. `leaning_radius`: no point of the sheet, nor of a row that leans with it, comes farther from the tilt axis.
    """

    shown: tuple[Extent, ...]
    tallest: Extent
    top: float
    bottom: float
    turning_radius: float
    leaning_radius: float


def frame_of(mount: Mount, scene: Scene) -> Frame:
    """Overall height, width and swept radii of a unit over the range of its mount."""
    tilts = _settings(mount.tilt_limits, TILT_STEP)
    swivels = np.array([_facing(mount)])
    if mount.kind == "polar":
        swivels = _settings(mount.swivel_limits or ALL_ROUND, SWIVEL_STEP)
    every = [each for tilt in tilts for each in extents(mount, scene, float(tilt), swivels)]
    return Frame(
        shown=tuple(extent(mount, scene, setting) for setting in shown_settings(mount)),
        tallest=max(every, key=lambda each: each.height),
        top=max(each.top for each in every),
        bottom=min(each.bottom for each in every),
        turning_radius=max(each.radius for each in every),
        leaning_radius=leaning_radius(mount, scene),
    )


def shown_settings(mount: Mount) -> tuple[Setting, ...]:
    """Settings to be told one by one: the ends of the tilts and some between; for `polar` with the ends of both."""
    low, high = mount.tilt_limits
    if mount.kind != "polar":
        return tuple(Setting(float(tilt), _facing(mount)) for tilt in _settings((low, high), SHOWN_STEP))
    first, last = mount.swivel_limits or ALL_ROUND
    middle = 0.0 if first < 0.0 < last else 0.5 * (first + last)
    return tuple(Setting(tilt, swivel) for tilt in (low, high) for swivel in (first, middle, last))


def _settings(limits: tuple[float, float], step: float) -> Floats:
    """Both limits and the multiples of a step between them (n,) [deg]."""
    low, high = limits
    between = np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step
    return np.unique(np.concatenate([[low], between, [high]]))


def _facing(mount: Mount) -> float:
    """A swivel to count lengths at: the only one, or the first [deg]."""
    limits = mount.swivel_limits
    return 0.0 if limits is None else limits[0]


def extent(mount: Mount, scene: Scene, setting: Setting) -> Extent:
    """The room that lens and row take at a setting."""
    return extents(mount, scene, setting.tilt, np.array([setting.swivel]))[0]


def extents(mount: Mount, scene: Scene, tilt: float, swivels: Floats) -> list[Extent]:
    """The room at a tilt and each of some swivels (n,) [deg]."""
    x, y, n = lens_axes(mount, np.full(len(swivels), tilt), swivels)
    inside = np.concatenate([_sheet_points(scene), _row_points(mount, scene, tilt)])
    points = inside @ np.stack([x, y, n], axis=1)  # (swivels, points, 3) in east, north, up
    # Level directions along the tilt axis and across it, turned with the swivel; east and north for `polar`.
    azimuths = np.zeros(len(swivels)) if mount.kind == "polar" else swivels
    along, across = (
        np.einsum("spk,sk->sp", points, sun_vector(azimuths + turn, np.zeros(len(swivels)))) for turn in (90.0, 0.0)
    )
    heights, radii = points[..., 2], np.hypot(points[..., 0], points[..., 1])
    inclinations = np.degrees(np.arctan2(np.hypot(n[:, 0], n[:, 1]), np.abs(n[:, 2])))
    return [
        Extent(
            setting=Setting(tilt, float(swivels[k])),
            inclination=float(inclinations[k]),
            top=float(heights[k].max()),
            bottom=float(heights[k].min()),
            along=float(np.ptp(along[k])),
            across=float(np.ptp(across[k])),
            radius=float(radii[k].max()),
        )
        for k in range(len(swivels))
    ]


def leaning_radius(mount: Mount, scene: Scene) -> float:
    """Distance of the farthest point of what leans from the tilt axis [m]; the axis goes through the row's middle."""
    points = _sheet_points(scene)
    if mount.row_turns_with == "lens":
        points = np.concatenate([points, _row_points(mount, scene, 0.0)])
    across = points[:, 0] if mount.grooves == "level" else points[:, 1]
    return float(np.hypot(across, points[:, 2]).max())


def _sheet_points(scene: Scene) -> Floats:
    """Corners of the box that holds the sheet, sag included, (8, 3) in the lens frame from the row's middle [m]."""
    lens = scene.lens
    ends = (
        (-0.5 * lens.width, 0.5 * lens.width),
        (-0.5 * lens.length, 0.5 * lens.length),
        (scene.lens_height - max(0.0, lens.sag), scene.lens_height + lens.thickness + max(0.0, -lens.sag)),
    )
    return np.array([(a, b, c) for a in ends[0] for b in ends[1] for c in ends[2]])


def _row_points(mount: Mount, scene: Scene, tilt: float) -> Floats:
    """Rims of the ends of the outermost tubes, (n, 3) in the lens frame from the row's middle [m]."""
    tubes = scene.tubes
    pose = row_pose(mount, tilt, tubes.angle_to_grooves)
    row, tube = np.array(pose.row), np.array(pose.tube)
    turn = np.linspace(0.0, 2.0 * math.pi, RIM_POINTS, endpoint=False)[:, None]
    rim = 0.5 * tubes.outer_diameter * (np.cos(turn) * row + np.sin(turn) * np.cross(row, tube))
    outermost = 0.5 * (tubes.count - 1) * tubes.spacing
    middles = [side * outermost * row + end * 0.5 * tubes.length * tube for side in (-1, 1) for end in (-1, 1)]
    return np.concatenate([rim + middle for middle in middles])
