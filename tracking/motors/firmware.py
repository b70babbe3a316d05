"""All exports of a plan: CSV, JSON with its schema, and C99, from the same table."""

import json

from tracking.motors.export_c import CExport, c_files, largest_clock_error, pose_table, scene_hash
from tracking.motors.export_json import moves_csv, plan_object, plan_schema, setpoints_csv
from tracking.motors.plan import MotorPlan
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
    )


def exports(plan: MotorPlan, export: CExport) -> dict[str, str]:
    """Names and texts of all files."""
    return {
        "setpoints.csv": setpoints_csv(plan),
        "moves.csv": moves_csv(plan),
        "setpoints.json": json.dumps(plan_object(plan, export), allow_nan=False),
        "setpoints.schema.json": json.dumps(plan_schema(), indent=1),
        **c_files(export),
    }
