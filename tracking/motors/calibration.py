"""From observed aimings to the mount's errors, and to corrected counts.

Someone aims the lens by a shadow pin and writes down the time and the counts of both axes. The mount's model has
errors: the azimuth zero, the tilt zero, the base leaning to the east and to the north, and the retracted length of a
linear tilt actuator. With the right ones, the sun stands at angle 0 in the lens at every observation; least squares
find them.

For a rotary drive an offset of the actuator is the same thing as the zero of its axis, so it is not asked for twice.
The base's lean turns the whole mount about a level axis: by `base_east` towards the east and by `base_north` towards
the north, small angles added as a rotation vector. Gauss-Newton with numeric derivatives; uncertainties are one
standard error from the residuals' scatter and the inverse of the normal matrix (any textbook of least squares).
"""

import csv
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from raytrace.arrays import Floats
from tracking.actuator import Actuators, ArmLinkage
from tracking.errors import InputError
from tracking.motors.export_json import utc
from tracking.motors.mount_errors import MountErrors, facing_error, tilted_sun
from tracking.motors.schedule import Drive
from tracking.mount import aim, lens_angles
from tracking.sky.sunpath import sun_path

ITERATIONS = 25
CONVERGED = 1e-9
STEPS = {"azimuth_zero": 1e-3, "tilt_zero": 1e-3, "base_east": 1e-3, "base_north": 1e-3, "tilt_length": 1e-5}
"""Steps of the numeric derivatives: [deg], the length in [m]."""
SPARE = 1
"""Residuals beyond the number of unknowns that are needed at least."""
WORST_CONDITION = 1e8
"""Condition of the scaled normal matrix beyond which observations cannot tell two errors apart. Chosen, no source."""
WORST_RESIDUAL = 1.0
"""Angle [deg] by which an aiming may be off with the errors found: a shadow pin aims far better. Chosen, no source."""
MOST_OBSERVATIONS = 10_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Observation:
    """The lens was aimed: seconds since 1970 UTC, counts; the swivel's None where it has no motor."""

    seconds: float
    tilt_counts: float
    swivel_counts: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Calibration:
    """Errors found, their standard errors, which were asked for, and the residuals' rms before and after [deg].

    `worst` is the largest residual left [deg], `worst_at` when that aiming was made [s since 1970 UTC].
    """

    errors: MountErrors
    standard_errors: MountErrors
    unknowns: tuple[str, ...]
    observations: int
    rms_before: float
    rms_after: float
    worst: float
    worst_at: float


def read_observations(path: Path, actuators: Actuators) -> tuple[Observation, ...]:
    """Observations from a CSV file with a header.

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or holds no number or time where one must stand.
    """
    wanted = ["time_utc", *(f"{axis}_counts" for axis, _ in actuators.axes())]
    allowed = f"Allowed: CSV with the columns {', '.join(wanted)}; times such as 2026-06-21T15:04:05Z, plain numbers."
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError) as error:
        raise InputError(file=str(path), problem=f"this file cannot be read: {error}", allowed=allowed) from None
    reader = csv.DictReader(line for line in lines if line.strip() and not line.startswith("#"))
    missing = [name for name in wanted if name not in (reader.fieldnames or [])]
    if missing:
        raise InputError(file=str(path), problem=f"there is no column {missing[0]}", allowed=allowed)
    found = []
    for number, row in enumerate(reader, start=1):
        try:
            moment = dt.datetime.fromisoformat(row["time_utc"])
            if moment.utcoffset() is None:
                raise ValueError("no offset")  # noqa: TRY301  told below with the line
            counts = {name: _number(row[name]) for name in wanted[1:]}
        except (ValueError, TypeError, AttributeError):
            raise InputError(file=str(path), problem=f"observation {number} cannot be read", allowed=allowed) from None
        found.append(
            Observation(
                seconds=moment.timestamp(),
                tilt_counts=counts.get("tilt_counts", 0.0),
                swivel_counts=counts.get("swivel_counts"),
            )
        )
    if len(found) > MOST_OBSERVATIONS:
        raise InputError(file=str(path), problem=f"{len(found)} observations are too many", allowed=allowed)
    return tuple(found)


def _number(text: str) -> float:
    if not re.fullmatch(r"[+-]?\d+(\.\d+)?", text.strip(), flags=re.ASCII):
        raise ValueError(text)
    return float(text)


def true_angles(drive: Drive, errors: MountErrors, tilt_counts: Floats, swivel_counts: Floats) -> tuple[Floats, Floats]:
    """Tilt and swivel (n,) against the base [deg] at counts, with the errors of the drives."""
    tilt_drive, swivel_drive = drive.actuators.tilt, drive.actuators.swivel
    tilt = np.zeros_like(tilt_counts)
    if tilt_drive is not None:
        linkage = tilt_drive.linkage
        travel = tilt_counts / linkage.counts_per_travel + linkage.travel_at_zero
        tilt = linkage.angle(travel + (errors.tilt_length if isinstance(linkage, ArmLinkage) else 0.0))
    limits = drive.mount.swivel_limits
    fixed = 0.0 if limits is None else limits[0]
    swivel = np.full_like(tilt_counts, fixed) if swivel_drive is None else swivel_drive.angle(swivel_counts)
    return tilt + errors.tilt_zero, swivel + errors.azimuth_zero


def _residuals(
    drive: Drive, errors: MountErrors, observations: Sequence[Observation], azimuth: Floats, elevation: Floats
) -> Floats:
    """The sun's angles in the lens [deg] at the observations: both where two axes aim, else across the grooves."""
    counts = np.array([(o.tilt_counts, o.swivel_counts or 0.0) for o in observations])
    tilt, swivel = true_angles(drive, errors, counts[:, 0], counts[:, 1])
    seen = lens_angles(drive.mount, tilt, swivel, *tilted_sun(errors, azimuth, elevation))
    if len(drive.actuators.axes()) < 2:
        return seen.transversal
    return np.concatenate([seen.transversal, seen.longitudinal])


def unknowns_of(drive: Drive) -> tuple[str, ...]:
    """The errors that observations on this mount can tell.

    A mount with one level axis sees only the lean across that axis, which is its tilt zero, and the turn of the axis.
    """
    if drive.mount.kind == "tilt":
        return ("azimuth_zero", "tilt_zero")
    length = drive.actuators.tilt is not None and drive.actuators.tilt.is_linear
    return ("azimuth_zero", "tilt_zero", "base_east", "base_north", *(["tilt_length"] if length else []))


def calibrated(drive: Drive, observations: Sequence[Observation], unknowns: Sequence[str] | None = None) -> Calibration:
    """The mount's errors by least squares.

    Parameters
    ----------
    drive
        The drive as the scene says it is.
    observations
        Moments at which the lens was truly aimed, spread over the day.
    unknowns
        Names of the errors to find; by default all that this mount can tell.

    Raises
    ------
    InputError
        If the observations are too few, too much alike, made with the sun down, or fit no errors of this mount.
    """
    names = tuple(unknowns or unknowns_of(drive))
    each = 1 if len(drive.actuators.axes()) < 2 else 2
    needed = -(-(len(names) + SPARE) // each)
    if len(observations) < needed:
        raise InputError(
            key="--observations",
            problem=f"{len(observations)} observations cannot tell {len(names)} errors",
            allowed=f"Allowed: {needed} or more, spread from morning to evening.",
        )
    times = [dt.datetime.fromtimestamp(o.seconds, tz=dt.UTC) for o in observations]
    sun = sun_path(drive.scene_file.site, times)
    low = np.flatnonzero(sun.elevation < 0.0)
    if len(low):
        raise InputError(
            key="--observations",
            problem=f"at {utc(observations[int(low[0])].seconds)} the sun is down",
            allowed="Allowed: aimings at the sun, times in UTC.",
        )
    errors = MountErrors()
    before = _residuals(drive, errors, observations, sun.azimuth, sun.elevation)
    residuals = before
    normal, scale = np.eye(len(names)), np.ones(len(names))
    for _ in range(ITERATIONS):
        jacobian = np.column_stack(
            [
                (
                    _residuals(drive, _moved(errors, name, STEPS[name]), observations, sun.azimuth, sun.elevation)
                    - _residuals(drive, _moved(errors, name, -STEPS[name]), observations, sun.azimuth, sun.elevation)
                )
                / (2.0 * STEPS[name])
                for name in names
            ]
        )
        scale = np.linalg.norm(jacobian, axis=0)
        if not np.isfinite(jacobian).all() or not np.isfinite(residuals).all() or (scale == 0.0).any():
            raise _alike("counts that the drive cannot reach")
        normal = (jacobian / scale).T @ (jacobian / scale)
        if np.linalg.cond(normal) > WORST_CONDITION:
            raise _alike("observations too much alike to tell the errors apart")
        change = np.linalg.solve(normal, -(jacobian / scale).T @ residuals) / scale
        for name, value in zip(names, change, strict=True):
            errors = _moved(errors, name, float(value))
        residuals = _residuals(drive, errors, observations, sun.azimuth, sun.elevation)
        if float(np.max(np.abs(change * scale))) < CONVERGED:
            break
    off = np.abs(residuals).reshape(-1, len(observations)).max(axis=0)
    worst = int(np.argmax(off))
    if off[worst] > WORST_RESIDUAL:
        raise InputError(
            key="--observations",
            problem=(
                f"with the errors that fit best the aiming at {utc(observations[worst].seconds)} is still "
                f"{off[worst]:.1f} deg off"
            ),
            allowed=(
                f"Allowed: aimings that agree within {WORST_RESIDUAL:g} deg. Look for a wrong time or count, there "
                "first, or for a drive that is not as the scene says."
            ),
        )
    freedom = max(1, len(residuals) - len(names))
    spread = float(residuals @ residuals) / freedom
    deviation = np.sqrt(spread * np.diag(np.linalg.inv(normal))) / scale
    return Calibration(
        errors=errors,
        standard_errors=MountErrors(**{name: float(value) for name, value in zip(names, deviation, strict=True)}),
        unknowns=names,
        observations=len(observations),
        rms_before=float(np.sqrt(np.mean(before**2))),
        rms_after=float(np.sqrt(np.mean(residuals**2))),
        worst=float(off[worst]),
        worst_at=observations[worst].seconds,
    )


def _moved(errors: MountErrors, name: str, by: float) -> MountErrors:
    return replace(errors, **{name: getattr(errors, name) + by})


def _alike(what: str) -> InputError:
    return InputError(
        key="--observations",
        problem=f"these are {what}",
        allowed="Allowed: aimings spread from morning to evening, with the counts as the controller shows them.",
    )


def corrected_counts(
    drive: Drive, errors: MountErrors, azimuth: float, elevation: float
) -> tuple[int | None, int | None]:
    """Counts of tilt and swivel that truly aim at the sun; None for an axis without a motor, or if nothing is aimed."""
    seen_azimuth, seen_elevation = tilted_sun(errors, np.array([azimuth]), np.array([elevation]))
    swivel_drive, tilt_drive = drive.actuators.swivel, drive.actuators.tilt
    facing_azimuth = float(seen_azimuth[0]) - facing_error(drive.mount, errors)
    setting = aim(drive.mount, facing_azimuth, float(seen_elevation[0]))
    if setting is None:
        return None, None
    tilt = None
    if tilt_drive is not None:
        linkage = tilt_drive.linkage
        travel = float(linkage.travel(setting.tilt - errors.tilt_zero))
        travel -= errors.tilt_length if isinstance(linkage, ArmLinkage) else 0.0
        counts = (travel - linkage.travel_at_zero) * linkage.counts_per_travel
        tilt = round(counts) if np.isfinite(counts) else None
    swivel = None
    if swivel_drive is not None:
        swivel = round(float(swivel_drive.counts(setting.swivel - errors.azimuth_zero)))
    return tilt, swivel


def calibration_object(found: Calibration) -> dict[str, Any]:
    """The calibration as numbers for programs."""
    return {
        "observations": found.observations,
        "rms_before_deg": found.rms_before,
        "rms_after_deg": found.rms_after,
        "worst_deg": found.worst,
        "worst_at_utc": utc(found.worst_at),
        "errors": {
            _unit_name(name): {
                "value": getattr(found.errors, name),
                "standard_error": getattr(found.standard_errors, name),
            }
            for name in found.unknowns
        },
    }


def _unit_name(name: str) -> str:
    return f"{name}_m" if name == "tilt_length" else f"{name}_deg"
