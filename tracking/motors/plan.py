"""A period's plan: its days, the setpoints at each step, and the safe poses that go with each of them."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tracking.errors import InputError
from tracking.motors.mount_errors import NO_ERRORS, MountErrors
from tracking.motors.safety import PoseBin, WayOut, defocus, pose_bins
from tracking.motors.schedule import (
    DAY_SECONDS,
    DEAD_BANDS,
    INTERVALS,
    DaySchedule,
    Drive,
    Setpoint,
    Trial,
    best_dead_band,
    day_schedule,
    prepare_drive,
    setpoint_at,
    trial,
)
from tracking.scenefile import SceneFile

MOST_DAYS = 366
"""Days of a period: a year."""
FIRST_DAY = dt.date(1970, 1, 2)
"""The first motor day that begins in the seconds since 1970 UTC, wherever the site."""
MOST_POINTS = 60_000
"""Instants of a list of setpoints."""

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanPoint:
    """The setpoint at an instant, the one half a step later that a stepwise firmware goes to, and the way out."""

    setpoint: Setpoint
    lead: Setpoint
    way_out: WayOut | None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MotorPlan:
    """Everything that a period asks of the motors.

    `trials` are ways to follow, tried on the first day with sun; `best` the widest dead band within the wanted loss.
    """

    drive: Drive
    step: dt.timedelta
    days: tuple[DaySchedule, ...]
    points: tuple[PlanPoint, ...]
    bins: tuple[PoseBin, ...]
    trials: tuple[Trial, ...]
    best: Trial | None
    wanted_loss: float

    @property
    def trial_day(self) -> DaySchedule | None:
        """The day on which the ways to follow were tried."""
        return next((day for day in self.days if day.track is not None and len(day.track) > 2), None)


def motor_plan(
    scene_file: SceneFile,
    first: dt.date,
    last: dt.date,
    step: dt.timedelta,
    *,
    wanted_loss: float,
    errors: MountErrors = NO_ERRORS,
    progress: Progress | None = None,
) -> MotorPlan:
    """Plan a period.

    Parameters
    ----------
    scene_file
        The scene with its actuators.
    first, last
        Its days, both included.
    step
        Between setpoints.
    wanted_loss
        Share of the energy that the moves may cost, for the best dead band.
    errors
        Of the real mount, from a calibration: counts are then those that aim it truly.
    progress
        Called now and then with the share done.

    Raises
    ------
    InputError
        If an axis has no drive, a duty cycle is broken, or the period is too long.
    """
    count = (last - first).days + 1
    if not 1 <= count <= MOST_DAYS:
        raise InputError(
            key="--to",
            problem=f"from {first.isoformat()} to {last.isoformat()} are {count} days",
            allowed=f"Allowed: 1 to {MOST_DAYS} days, the last not before the first.",
        )
    if first < FIRST_DAY:
        raise InputError(
            key="--from",
            problem=f"{first.isoformat()} is before the time that firmware counts in, which starts with 1970",
            allowed=f"Allowed: {FIRST_DAY.isoformat()} or later.",
        )
    seconds = step.total_seconds()
    if count * DAY_SECONDS / seconds > MOST_POINTS:
        raise InputError(
            key="--step",
            problem=f"{count} days at this step have more than {MOST_POINTS} setpoints",
            allowed="Allowed: a longer step or a shorter period.",
        )
    dates = [first + dt.timedelta(days=k) for k in range(count)]
    tabled = None if progress is None else lambda share: progress(0.4 * share)
    drive = prepare_drive(scene_file, dates, tabled, errors)
    days = []
    for k, date in enumerate(dates):
        days.append(day_schedule(drive, date))
        if progress is not None:
            progress(0.4 + 0.5 * (k + 1) / count)
    points = tuple(point for day in days for point in _points(drive, day, seconds))
    plan = MotorPlan(
        drive=drive, step=step, days=tuple(days), points=points,
        bins=pose_bins(drive.mount, drive.actuators, drive.chart), trials=(), best=None, wanted_loss=wanted_loss,
    )  # fmt: skip
    tried = plan.trial_day
    if tried is None or tried.track is None:
        return plan
    trials = [
        *(trial(drive, tried.track, tried.dni, dead_band=band) for band in DEAD_BANDS),
        *(trial(drive, tried.track, tried.dni, interval=interval) for interval in INTERVALS),
    ]
    return MotorPlan(
        drive=drive, step=step, days=plan.days, points=points, bins=plan.bins, trials=tuple(trials),
        best=best_dead_band(drive, tried.track, tried.dni, wanted_loss), wanted_loss=wanted_loss,
    )  # fmt: skip


def _points(drive: Drive, day: DaySchedule, step: float) -> list[PlanPoint]:
    """Setpoints of a motor day at whole multiples of the step from its start."""
    times = day.start + np.arange(0.0, DAY_SECONDS, step)
    azimuth, elevation, _ = drive.sun([dt.datetime.fromtimestamp(float(time), tz=dt.UTC) for time in times])
    found = []
    for k, time in enumerate(times):
        now = setpoint_at(drive, day, float(time))
        aimed = day.track is not None and day.track.seconds[0] <= time <= day.track.seconds[-1]
        lead = setpoint_at(drive, day, float(time) + 0.5 * step) if aimed else now
        if aimed and lead.state == "stowed" and day.track is not None:
            lead = setpoint_at(drive, day, float(day.track.seconds[-1]))
        way = None
        if aimed:
            pose, direction = (now.tilt, now.swivel), (float(azimuth[k]), float(elevation[k]))
            way = defocus(drive.mount, drive.actuators, drive.chart, pose, direction)
        found.append(PlanPoint(setpoint=now, lead=lead, way_out=way))
    return found
