"""All exports of a plan: CSV, JSON with its schema, and C99, from the same table."""

import json
from collections.abc import Mapping
from typing import Any

from tracking.motors.export_c import CExport, c_files, largest_clock_error, pose_table, scene_hash
from tracking.motors.export_json import moves_csv, plan_object, plan_schema, setpoints_csv
from tracking.motors.plan import MotorPlan
from tracking.motors.safety import PoseBin
from tracking.motors.table import measured_error, pack


def firmware(plan: MotorPlan, table_bytes: int) -> CExport:
    """The packed table of a plan and its bins of poses within a budget of bytes, with the measured error.

    Raises
    ------
    InputError
        If the budget holds no table of the period.
    """
    poses = pose_table(plan.drive, plan.bins)
    table = pack(plan.drive, plan.days, budget=table_bytes, reserved=poses.size)
    return CExport(
        drive=plan.drive,
        days=plan.days,
        table=table,
        error=measured_error(plan.drive, plan.days, table),
        poses=poses,
        scene_hash=scene_hash(plan.drive.scene_file.path.read_bytes()),
        clock_error=largest_clock_error(plan.drive),
        way_excess=way_excess(plan),
    )


def bin_of(plan: MotorPlan, tilt: float, swivel: float) -> PoseBin | None:
    """The bin of poses in which a pose [deg] lies; None where none does."""
    for each in plan.bins:
        turned = swivel if plan.drive.mount.swivel_limits is not None else swivel % 360.0
        inside = each.tilt[0] - EDGE <= tilt <= each.tilt[1] + EDGE
        if inside and each.swivel[0] - EDGE <= turned <= each.swivel[1] + EDGE:
            return each
    return None


def way_excess(plan: MotorPlan) -> float | None:
    """By how much longer than the way out of one pose that of its bin takes at most over the plan's instants [s]."""
    drives = dict(plan.drive.actuators.axes())
    found = []
    for point in plan.points:
        pose = {"tilt": point.setpoint.tilt, "swivel": point.setpoint.swivel}
        here = None if point.way_out is None else bin_of(plan, pose["tilt"], pose["swivel"])
        if point.way_out is None or here is None or here.way_out is None:
            continue
        way = here.way_out
        found.append(float(drives[way.axis].seconds(pose[way.axis], way.angle)) - point.way_out.seconds)
    return max(0.0, *found) if found else None


EDGE = 1e-6
"""Angle [deg] by which a pose may lie outside a bin by rounding."""


def exports(plan: MotorPlan, export: CExport, more: Mapping[str, Any] | None = None) -> dict[str, str]:
    """Names and texts of all files; `more` joins the JSON's numbers, under the names that its schema knows."""
    return {
        "setpoints.csv": setpoints_csv(plan),
        "moves.csv": moves_csv(plan),
        "setpoints.json": json.dumps(plan_object(plan, export) | dict(more or {}), allow_nan=False),
        "setpoints.schema.json": json.dumps(plan_schema(), indent=1),
        **c_files(export),
    }
