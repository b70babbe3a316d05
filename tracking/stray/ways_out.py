"""The ways out of a motor plan, traced onto what the scene says stands around."""

import datetime as dt
from typing import Any

from tracking.motors.firmware import bin_of
from tracking.motors.plan import MotorPlan
from tracking.mount import Setting
from tracking.stray.idle import IdlePath, focus_path

MOST_INSTANTS = 16
"""Instants of the plan whose ways out are traced, evenly chosen."""
WAY_RAYS = 1 << 15


def traced_ways_out(plan: MotorPlan) -> IdlePath | None:
    """What the lens does to its surroundings and tubes once it has gone out of the sun.

    At instants spread over the plan, both the nearest safe pose and the one that the table of bins gives are traced.
    None where no pose has a way out. The mount's errors, if it was calibrated, are left aside: they are far smaller
    than the way out.
    """
    points = [point for point in plan.points if point.way_out is not None]
    chosen = points[:: max(1, -(-len(points) // MOST_INSTANTS))]
    settings: list[Setting] = []
    times: list[dt.datetime] = []
    for point in chosen:
        pose = Setting(point.setpoint.tilt, point.setpoint.swivel)
        here = bin_of(plan, pose.tilt, pose.swivel)
        for way in (point.way_out, None if here is None else here.way_out):
            if way is None:
                continue
            settings.append(Setting(way.angle, pose.swivel) if way.axis == "tilt" else Setting(pose.tilt, way.angle))
            times.append(dt.datetime.fromtimestamp(point.setpoint.seconds, tz=dt.UTC))
    if not settings:
        return None
    return focus_path(plan.drive.scene_file, settings, times, step=plan.step, rays=WAY_RAYS)


def ways_out_object(found: IdlePath) -> dict[str, Any]:
    """The same as numbers for programs."""
    worst = found.worst
    return {
        "instants": len(found.times),
        "worst_flux_w_m2": 0.0 if worst is None else worst.flux,
        "worst_flux_standard_error_w_m2": 0.0 if worst is None else worst.flux_error,
        "on": None if worst is None else found.faces[worst.face].face.name,
        "at_utc": None if worst is None else f"{worst.time_local.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
        "most_power_on_tubes_w": max(found.tubes, default=0.0),
    }
