"""Settings of the mount, pose of lens and row, and the sun's angles in the lens frame. Knows no dates.

World frame: east, north, up. Lens frame: x across the grooves, y along them, z along the lens normal towards the sun.
Every kind of mount turns with a swivel in a plane across an upright u, and leans with a tilt T from u towards h:

    n = cos T u + sin T h    (normal)    d = cos T h - sin T u    (downhill)    l = n x d = u x h    (the tilt axis)

swivel-tilt, tilt, fixed: u is up, h points level towards the swivel azimuth A.
polar: u = cos H m + sin H v points to the sun's hour circle, h = -p, and T = -D, with p = (0, cos phi, sin phi),
m = (0, -sin phi, cos phi), v = (-1, 0, 0): H is the hour angle, afternoon positive, and D the declination setting.
Level grooves: x = d, y = l. Upslope grooves: x = -l, y = d.
"""

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from raytrace.scene import RowPose

MountKind = Literal["swivel-tilt", "tilt", "polar", "fixed"]
Grooves = Literal["level", "upslope"]
RowTurnsWith = Literal["lens", "base"]
Marks = float | tuple[float, ...]
"""Marked settings [deg]: one number for its multiples from 0, or a list."""

DEFAULT_TILT_RANGE = (0.0, 90.0)
"""Tilts [deg] of a mount that names no range: from flat to upright."""
DEFAULT_DECLINATION_RANGE = (-90.0, 90.0)
"""Declination settings [deg] of a polar mount that names no range: all."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Mount:
    """How the lens is held. Angles in [deg].

    Parameters
    ----------
    kind : "swivel-tilt", "tilt", "polar" or "fixed"
        What moves. `tilt` swings about a level axis and leans towards the azimuth `facing`; `polar` turns about the
        earth's axis (swivel: hour angle) and leans by the declination (tilt: declination).
    grooves : "level" or "upslope"
        Whether the grooves run along the tilt axis or up the slope of the sheet.
    row_turns_with : "lens" or "base"
        Whether the row of tubes tilts with the lens. It always turns with the swivel.
    facing : float, for `tilt` and `fixed`
        Azimuth towards which a positive tilt leans the normal.
    tilt : float, for `fixed`
        The one tilt.
    tilt_range : (float, float)
        Lowest and highest tilt; may start below 0. Default: DEFAULT_TILT_RANGE, polar: DEFAULT_DECLINATION_RANGE.
    swivel_range : (float, float)
        First and last swivel, counted on from the first: (300, 60) means 300 to 420. Default: unlimited.
    tilt_marks, swivel_marks : float or list of float
        Marked settings: one number for its multiples from 0, or a list. Only held here.
    latitude : float, for `polar`
        Latitude of the site, north positive.

    Raises
    ------
    ValueError
        If a value is missing for this kind or out of range.
    """

    kind: MountKind
    grooves: Grooves = "level"
    row_turns_with: RowTurnsWith = "lens"
    facing: float | None = None
    tilt: float | None = None
    tilt_range: tuple[float, float] | None = None
    swivel_range: tuple[float, float] | None = None
    tilt_marks: Marks | None = None
    swivel_marks: Marks | None = None
    latitude: float | None = None

    def __post_init__(self) -> None:
        _require_word("Mount.kind", self.kind, ("swivel-tilt", "tilt", "polar", "fixed"))
        _require_word("Mount.grooves", self.grooves, ("level", "upslope"))
        _require_word("Mount.row_turns_with", self.row_turns_with, ("lens", "base"))
        if self.kind in ("tilt", "fixed") and self.facing is None:
            raise ValueError(
                f'Mount.facing must be given for the kind "{self.kind}": it is the azimuth towards which a positive '
                f"tilt leans the lens, in deg clockwise from north."
            )
        if self.kind == "fixed" and self.tilt is None:
            raise ValueError('Mount.tilt must be given for the kind "fixed": it is the one tilt of the lens, in deg.')
        if self.kind == "polar" and self.latitude is None:
            raise ValueError('Mount.latitude must be given for the kind "polar": its axis points to the pole.')
        _require_angle("Mount.facing", self.facing, -360.0, 360.0)
        _require_angle("Mount.tilt", self.tilt, -90.0, 90.0)
        _require_angle("Mount.latitude", self.latitude, -90.0, 90.0)
        if self.tilt_range is not None:
            low, high = self.tilt_range
            _require_angle("Mount.tilt_range", low, -90.0, 90.0)
            _require_angle("Mount.tilt_range", high, -90.0, 90.0)
            if low >= high:
                raise ValueError(
                    f"Mount.tilt_range must rise from the lowest to the highest tilt, got {low:g} to {high:g} deg."
                )
        if self.swivel_range is not None:
            first, last = self.swivel_range
            _require_angle("Mount.swivel_range", first, -720.0, 720.0)
            _require_angle("Mount.swivel_range", last, -720.0, 720.0)
            if first == last:
                raise ValueError(
                    f"Mount.swivel_range must leave room to turn, got {first:g} to {last:g} deg: a whole turn is "
                    f"written {first:g} to {first + 360.0:g} deg."
                )
        _require_marks("Mount.tilt_marks", self.tilt_marks)
        _require_marks("Mount.swivel_marks", self.swivel_marks)

    @property
    def tilt_limits(self) -> tuple[float, float]:
        """Lowest and highest tilt [deg], default filled in; the one tilt twice where it is fixed."""
        if self.kind == "fixed" and self.tilt is not None:
            return (self.tilt, self.tilt)
        if self.tilt_range is not None:
            return self.tilt_range
        return DEFAULT_DECLINATION_RANGE if self.kind == "polar" else DEFAULT_TILT_RANGE

    @property
    def swivel_limits(self) -> tuple[float, float] | None:
        """First and last swivel [deg], the last counted on from the first; None where unlimited."""
        if self.kind in ("tilt", "fixed") and self.facing is not None:
            return (self.facing, self.facing)
        if self.swivel_range is None:
            return None
        first, last = self.swivel_range
        while last <= first:
            last += 360.0
        return (first, last)

    @property
    def unused(self) -> tuple[str, ...]:
        """Names of the values that are given but mean nothing for this kind of mount."""
        meaningless = {
            "swivel-tilt": ("facing", "tilt"),
            "tilt": ("tilt", "swivel_range", "swivel_marks"),
            "polar": ("facing", "tilt"),
            "fixed": ("tilt_range", "swivel_range", "tilt_marks", "swivel_marks"),
        }[self.kind]
        return tuple(name for name in meaningless if getattr(self, name) is not None)


class Setting(NamedTuple):
    """Where the mount stands [deg]. For `polar` the tilt is the declination setting and the swivel the hour angle."""

    tilt: float
    swivel: float


class LensAngles(NamedTuple):
    """The sun in the lens frame [deg]; its vector there is in proportion to (tan transversal, tan longitudinal, 1)."""

    transversal: Floats
    longitudinal: Floats
    incidence: Floats


class LensAxes(NamedTuple):
    """Unit vectors (..., 3) in east, north, up: across the grooves, along them, along the normal."""

    x: Floats
    y: Floats
    n: Floats


def lens_axes(mount: Mount, tilt: ArrayLike, swivel: ArrayLike) -> LensAxes:
    """Axes of the lens frame at a setting.

    Parameters
    ----------
    mount : Mount
        The mount.
    tilt, swivel : float or (...) float
        The setting [deg]; arrays are broadcast together.

    Returns
    -------
    LensAxes
        Right-handed, orthonormal: x across the grooves, y along them, n the normal. Each (..., 3).
    """
    tilt, swivel = np.broadcast_arrays(np.asarray(tilt, dtype=np.float64), np.asarray(swivel, dtype=np.float64))
    upright, lean_to, axis = _base_axes(mount, swivel)
    lean = np.radians(lean_sign(mount) * tilt)[..., np.newaxis]
    normal = np.cos(lean) * upright + np.sin(lean) * lean_to
    downhill = np.cos(lean) * lean_to - np.sin(lean) * upright
    if mount.grooves == "level":
        return LensAxes(x=downhill, y=axis, n=normal)
    return LensAxes(x=-axis, y=downhill, n=normal)


def lens_angles(
    mount: Mount, tilt: ArrayLike, swivel: ArrayLike, sun_azimuth: ArrayLike, sun_elevation: ArrayLike
) -> LensAngles:
    """Angles of the sun in the lens frame at a setting.

    Parameters
    ----------
    mount : Mount
        The mount.
    tilt, swivel : float or (...) float
        The setting [deg].
    sun_azimuth, sun_elevation : float or (...) float
        Apparent position of the sun [deg]. All four are broadcast together.

    Returns
    -------
    LensAngles
        transversal = atan2(s_x, s_z), longitudinal = atan2(s_y, s_z), incidence = acos(s_z), each (...) in [deg].
        An incidence above 90 means a sun behind the lens.
    """
    x, y, n = lens_axes(mount, tilt, swivel)
    sun = sun_vector(sun_azimuth, sun_elevation)
    s_x, s_y, s_z = (np.sum(sun * axis, axis=-1) for axis in (x, y, n))
    return LensAngles(
        transversal=np.degrees(np.arctan2(s_x, s_z)),
        longitudinal=np.degrees(np.arctan2(s_y, s_z)),
        incidence=np.degrees(np.arctan2(np.hypot(s_x, s_y), s_z)),  # an arccos loses its digits near 0
    )


def sun_vector(sun_azimuth: ArrayLike, sun_elevation: ArrayLike) -> Floats:
    """Unit vector (..., 3) towards the sun in east, north, up, from azimuth and elevation [deg]."""
    azimuth, elevation = np.broadcast_arrays(np.radians(sun_azimuth), np.radians(sun_elevation))
    level = np.cos(elevation)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)


def row_pose(mount: Mount, tilt: float, angle_to_grooves: float) -> RowPose:
    """How the row lies in the lens frame at a tilt.

    Parameters
    ----------
    mount : Mount
        The mount; the row always turns with its swivel, and tilts if `row_turns_with` is "lens".
    tilt : float
        The tilt, for `polar` the declination setting [deg].
    angle_to_grooves : float
        Angle w of the tubes to the grooves as laid out at tilt 0 [deg].

    Returns
    -------
    RowPose
        Unit vectors along the row and along its tubes, in the lens frame.
    """
    if mount.row_turns_with == "lens":
        return RowPose.level(angle_to_grooves)
    w, lean = math.radians(angle_to_grooves), math.radians(lean_sign(mount) * tilt)
    cos_w, sin_w, cos_t, sin_t = math.cos(w), math.sin(w), math.cos(lean), math.sin(lean)
    if mount.grooves == "level":
        return RowPose(row=(cos_t * cos_w, sin_w, sin_t * cos_w), tube=(-cos_t * sin_w, cos_w, -sin_t * sin_w))
    return RowPose(row=(cos_w, cos_t * sin_w, sin_t * sin_w), tube=(-sin_w, cos_t * cos_w, sin_t * cos_w))


def tube_slope(mount: Mount, tilt: float, swivel: float, angle_to_grooves: float) -> float:
    """Slope of the tubes against level at a setting [deg]: positive where the tube direction of `row_pose` points up.

    Parameters are those of `lens_axes` and `row_pose`. The poses (A, T) and (A + 180, -T) of a row that turns with the
    lens show the same tubes with the opposite sign, as x and y are reversed.
    """
    tube = row_pose(mount, tilt, angle_to_grooves).tube
    x, y, n = lens_axes(mount, tilt, swivel)
    up = tube[0] * x[2] + tube[1] * y[2] + tube[2] * n[2]
    return math.degrees(math.asin(min(1.0, max(-1.0, float(up)))))


def lean_sign(mount: Mount) -> float:
    """Sign between the tilt setting and the lean T of the formulas above: a declination setting leans the other way."""
    return -1.0 if mount.kind == "polar" else 1.0


def _base_axes(mount: Mount, swivel: Floats) -> tuple[Floats, Floats, Floats]:
    """Upright, lean direction and tilt axis of the base at a swivel [deg], each (..., 3) in east, north, up."""
    turn = np.radians(swivel)
    sin, cos, zero = np.sin(turn), np.cos(turn), np.zeros_like(turn)
    if mount.kind == "polar":
        pole, meridian, west = equator_axes(mount)
        upright = cos[..., np.newaxis] * meridian + sin[..., np.newaxis] * west
        axis = sin[..., np.newaxis] * meridian - cos[..., np.newaxis] * west
        return upright, np.broadcast_to(-pole, upright.shape), axis
    lean_to = np.stack([sin, cos, zero], axis=-1)
    axis = np.stack([-cos, sin, zero], axis=-1)
    return np.broadcast_to(np.array([0.0, 0.0, 1.0]), lean_to.shape), lean_to, axis


def equator_axes(mount: Mount) -> tuple[Floats, Floats, Floats]:
    """The pole p, the equator's highest point m, and the west point v, (3,) each in east, north, up."""
    latitude = math.radians(mount.latitude or 0.0)
    pole = np.array([0.0, math.cos(latitude), math.sin(latitude)])
    meridian = np.array([0.0, -math.sin(latitude), math.cos(latitude)])
    return pole, meridian, np.array([-1.0, 0.0, 0.0])


def _require_word(name: str, value: object, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise ValueError(f"{name} must be {' or '.join(repr(word) for word in allowed)}, got {value!r}.")


def _require_angle(name: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g} deg, got {value!r} deg.")


def _require_marks(name: str, marks: Marks | None) -> None:
    if marks is None:
        return
    if isinstance(marks, (int, float)):
        if not (math.isfinite(marks) and 0.0 < marks <= 90.0):
            raise ValueError(f"{name} must be an interval of more than 0 and at most 90 deg, got {marks!r} deg.")
        return
    if len(marks) == 0 or list(marks) != sorted(set(marks)) or not all(math.isfinite(mark) for mark in marks):
        raise ValueError(f"{name} must be a list of rising angles, got {list(marks)!r} deg.")
