"""Errors of a real mount, and the sun and the drives as such a mount has them."""

from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from tracking.actuator import Actuator, Actuators, ArmLinkage, GearLinkage
from tracking.mount import Mount, sun_vector


@dataclass(frozen=True, kw_only=True, slots=True)
class MountErrors:
    """What has to be added to what the model says: angles in [deg], the actuator's length in [m]."""

    azimuth_zero: float = 0.0
    tilt_zero: float = 0.0
    base_east: float = 0.0
    base_north: float = 0.0
    tilt_length: float = 0.0


NO_ERRORS = MountErrors()


def tilted_sun(errors: MountErrors, azimuth: Floats, elevation: Floats) -> tuple[Floats, Floats]:
    """Azimuth and elevation (n,) of the sun as a base that leans sees it [deg]: turned back by the base's lean.

    A base that leans to the east has turned about the north axis, one that leans to the north about the west axis.
    """
    vector = sun_vector(azimuth, elevation)
    turn = np.radians(np.array([-errors.base_north, errors.base_east, 0.0]))
    angle = float(np.linalg.norm(turn))
    if angle > 0.0:
        axis = turn / angle
        # Rodrigues' rotation, by minus the angle.
        cross = np.cross(axis, vector)
        vector = (
            vector * np.cos(angle) - cross * np.sin(angle) + axis * (vector @ axis)[:, np.newaxis] * (1 - np.cos(angle))
        )
    seen = np.degrees(np.arctan2(vector[:, 0], vector[:, 1])) % 360.0
    return seen, np.degrees(np.arcsin(np.clip(vector[:, 2], -1.0, 1.0)))


def facing_error(mount: Mount, errors: MountErrors) -> float:
    """Without a swivel motor the whole mount faces wrong: it sees the sun turned back by the azimuth zero [deg]."""
    return errors.azimuth_zero if mount.kind == "tilt" else 0.0


def seen_sun(mount: Mount, errors: MountErrors, azimuth: Floats, elevation: Floats) -> tuple[Floats, Floats]:
    """Azimuth and elevation (n,) of the sun against the mount as it stands [deg]."""
    if errors == NO_ERRORS:
        return azimuth, elevation
    seen_azimuth, seen_elevation = tilted_sun(errors, azimuth, elevation)
    return (seen_azimuth - facing_error(mount, errors)) % 360.0, seen_elevation


def corrected_actuators(actuators: Actuators, errors: MountErrors) -> Actuators:
    """The drives with their zeros where they truly are: the same counts, other angles; limits and home with them."""
    if errors == NO_ERRORS:
        return actuators
    tilt, swivel = actuators.tilt, actuators.swivel
    return Actuators(
        tilt=None if tilt is None else _corrected(tilt, errors.tilt_zero, errors.tilt_length),
        swivel=None if swivel is None else _corrected(swivel, errors.azimuth_zero, 0.0),
    )


def _corrected(drive: Actuator, zero: float, length: float) -> Actuator:
    old = drive.linkage
    if isinstance(old, GearLinkage):
        new: ArmLinkage | GearLinkage = replace(old, zero=old.zero + zero)
    else:
        offset = old.angle_offset + (-zero if old.extends_with_angle else zero)
        new = replace(old, angle_offset=offset, retracted_length=old.retracted_length + length)

    def angle(before: float) -> float:
        travel = float(old.travel(before)) + (zero if isinstance(old, GearLinkage) else length)
        if isinstance(new, ArmLinkage):
            travel = min(max(travel, new.lengths[0]), new.lengths[1])
        return float(new.angle(travel))

    ends = None if drive.limits is None else sorted(angle(limit) for limit in drive.limits)
    return replace(drive, linkage=new, limits=None if ends is None else (ends[0], ends[1]), home=angle(drive.home))
