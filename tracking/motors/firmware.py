"""All exports of a plan: CSV, JSON with its schema, and C99, from the same table."""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from tracking.errors import InputError
from tracking.motors.export_c import CExport, c_files, largest_clock_error, pose_table, scene_hash, vector_bytes
from tracking.motors.export_json import moves_csv, plan_object, plan_schema, setpoints_csv
from tracking.motors.plan import MotorPlan
from tracking.motors.safety import PoseBin
from tracking.motors.schedule import Drive
from tracking.motors.table import measured_error, pack


def firmware(plan: MotorPlan, table_bytes: int) -> CExport:
    """The packed table of a plan, its bins of poses and its test vectors within a budget of bytes, and its error.

    Raises
    ------
    InputError
        If the budget holds no table of the period, or counts need more than 32 bits.
    """
    check_counts(plan.drive)
    poses = pose_table(plan.drive, plan.bins)
    table = pack(plan.drive, plan.days, budget=table_bytes, reserved=poses.size + vector_bytes(plan.days))
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


def check_counts(drive: Drive) -> None:
    """Refuse a drive whose counts do not fit into the 32 bits of the export."""
    for axis, each in drive.actuators.axes():
        angles = (each.home, *(each.limits or (-TURNS_ASIDE, TURNS_ASIDE)))
        unit = each.linkage.counts_per_travel / (1e3 if each.is_linear else 1.0)
        largest = max(float(np.max(np.abs(each.counts(angles)))), MOST_COUNTS / MOST_A_UNIT * unit)
        if largest > MOST_COUNTS:
            raise InputError(
                file=str(drive.scene_file.path),
                key=f"actuators.{axis}",
                problem=f"its counts reach {largest:.3g}, too many for the 32 bits of the firmware's numbers",
                allowed=(
                    f"Allowed: counts up to {MOST_COUNTS} in the range, and {MOST_A_UNIT} for each mm or deg: fewer "
                    "counts, less gear, or a zero nearer to the range."
                ),
            )


MOST_COUNTS = 10**9
"""Counts of an axis at the ends of its range, at most: half of what 32 bits hold, so that sums fit as well."""
MOST_A_UNIT = 4 * 10**6
"""Counts for each mm or deg, at most: the header tells thousandths of them."""
TURNS_ASIDE = 1080.0
"""Angle [deg] to which a swivel without limits may have turned: a turn beyond those of a day either side."""


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
