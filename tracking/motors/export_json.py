"""The JSON export of a plan, its schema, and the lists of setpoints and moves as CSV."""

import csv
import datetime as dt
import io
from typing import Any

from tracking.actuator import Actuator, AxisName
from tracking.motors.export_c import FORMAT_VERSION, CExport, vector_times
from tracking.motors.plan import MotorPlan, PlanPoint
from tracking.motors.safety import BIN_SWIVEL, BIN_TILT, SAFE_CONCENTRATION, WayOut
from tracking.motors.schedule import STATE_WORDS, DaySchedule, Setpoint, Trial
from tracking.motors.strategy import Move
from tracking.motors.table import STATE_NAMES, look_up

MILLI = 1e3
SCHEMA_ID = "https://json-schema.org/draft/2020-12/schema"


def utc(seconds: float) -> str:
    """An instant in UTC, ISO 8601."""
    return f"{dt.datetime.fromtimestamp(seconds, tz=dt.UTC):%Y-%m-%dT%H:%M:%SZ}"


def plan_object(plan: MotorPlan, export: CExport) -> dict[str, Any]:
    """The plan as numbers for programs."""
    drive = plan.drive
    site = drive.scene_file.site
    zone = site.zone
    return {
        "format_version": FORMAT_VERSION,
        "scene": str(drive.scene_file.path),
        "scene_sha256": export.scene_hash,
        "place": {"name": site.name, "latitude_deg": site.latitude, "longitude_deg": site.longitude},
        "valid_from_utc": utc(export.table.start),
        "valid_until_utc": utc(export.table.start + 86400 * export.table.days),
        "largest_clock_error_s": export.clock_error,
        "mount_errors": {
            "azimuth_zero_deg": drive.errors.azimuth_zero,
            "tilt_zero_deg": drive.errors.tilt_zero,
            "base_east_deg": drive.errors.base_east,
            "base_north_deg": drive.errors.base_north,
            "tilt_length_m": drive.errors.tilt_length,
        },
        "actuators": {axis: _actuator(each) for axis, each in drive.actuators.axes()},
        "setpoints": [
            {"time_local": dt.datetime.fromtimestamp(point.setpoint.seconds, tz=zone).isoformat()}
            | point_object(plan, point)
            for point in plan.points
        ],
        "moves": [move_object(move) for day in plan.days for move in day.moves],
        "days": [_day(day) for day in plan.days],
        "strategies": [_trial(each) for each in plan.trials],
        "best_dead_band": None if plan.best is None else {"wanted_loss": plan.wanted_loss} | _trial(plan.best),
        "safety": {
            "safe_concentration": SAFE_CONCENTRATION,
            "bin_tilt_deg": BIN_TILT,
            "bin_swivel_deg": BIN_SWIVEL,
            "longest_excess_of_a_bin_s": export.way_excess,
            "stow": {
                "tilt_deg": drive.stow.tilt,
                "swivel_deg": drive.stow.swivel,
                "largest_concentration": drive.stow.concentration,
                "safe": drive.stow.safe,
            },
            "poses": [
                {
                    "tilt_from_deg": each.tilt[0],
                    "tilt_to_deg": each.tilt[1],
                    "swivel_from_deg": each.swivel[0],
                    "swivel_to_deg": each.swivel[1],
                    "way_out": _way(plan, each.way_out),
                    "by_tilt": _way(plan, each.by_tilt),
                    "by_swivel": _way(plan, each.by_swivel),
                    "wind": _way(plan, each.wind),
                }
                for each in plan.bins
            ],
        },
        "table": _table(export),
    }


def _actuator(each: Actuator) -> dict[str, Any]:
    return {
        "kind": "linear" if each.is_linear else "rotary",
        "counts_per_travel": each.linkage.counts_per_travel / (MILLI if each.is_linear else 1.0),
        "travel_unit": "mm" if each.is_linear else "deg",
        "travel_at_zero_counts": each.linkage.travel_at_zero * (MILLI if each.is_linear else 1.0),
        "limits_deg": None if each.limits is None else list(each.limits),
        "home_deg": each.home,
        "home_counts": round(float(each.counts(each.home))),
        "homing": each.homing,
        "approach": each.approach,
        "dead_band_deg": each.dead_band,
        "duty_cycle": each.duty_cycle,
        "duty_period_s": each.duty_period,
    }


def point_object(plan: MotorPlan, point: PlanPoint) -> dict[str, Any]:
    """One instant, with the length or angle and the counts of each actuator; None where the mount has no such motor."""
    drives = dict(plan.drive.actuators.axes())
    return {
        "time_utc": utc(point.setpoint.seconds),
        "state": STATE_WORDS[point.setpoint.state],
        "tilt_deg": point.setpoint.tilt,
        "swivel_deg": point.setpoint.swivel,
        **_axis_numbers(drives, "tilt", point.setpoint, point.lead),
        **_axis_numbers(drives, "swivel", point.setpoint, point.lead),
        "defocus": _way(plan, point.way_out),
    }


def _axis_numbers(
    drives: dict[AxisName, Actuator], axis: AxisName, now: Setpoint, lead: Setpoint
) -> dict[str, float | int | None]:
    each = drives.get(axis)
    if each is None:
        return {f"{axis}_length_mm": None, f"{axis}_counts": None, f"{axis}_lead_counts": None}
    angle, ahead = (now.tilt, lead.tilt) if axis == "tilt" else (now.swivel, lead.swivel)
    length = MILLI * float(each.linkage.travel(angle)) if each.is_linear else None
    return {
        f"{axis}_length_mm": length,
        f"{axis}_counts": round(float(each.counts(angle))),
        f"{axis}_lead_counts": round(float(each.counts(ahead))),
    }


def _way(plan: MotorPlan, way: WayOut | None) -> dict[str, Any] | None:
    if way is None:
        return None
    each = dict(plan.drive.actuators.axes())[way.axis]
    return {
        "axis": way.axis,
        "angle_deg": way.angle,
        "counts": round(float(each.counts(way.angle))),
        "motor_s": way.seconds,
    }


def move_object(move: Move) -> dict[str, Any]:
    """One move, its length in counts."""
    return {
        "start_utc": utc(move.start),
        "axis": move.axis,
        "purpose": move.purpose,
        "from_counts": move.from_counts,
        "to_counts": move.to_counts,
        "length_counts": abs(move.to_counts - move.from_counts),
        "overshoot_counts": move.overshoot_counts,
        "direction": move.direction,
        "approach_side": move.approach,
        "motor_s": move.motor_seconds,
    }


def _day(day: DaySchedule) -> dict[str, Any]:
    track = day.track
    return {
        "date": day.date.isoformat(),
        "aimed_from_utc": None if track is None else utc(track.seconds[0]),
        "aimed_until_utc": None if track is None else utc(track.seconds[-1]),
        "energy_perfect_kwh": day.losses.perfect / 3.6e6,
        "energy_planned_kwh": day.losses.moved / 3.6e6,
        "loss_of_path": day.losses.path_loss,
        "loss": day.losses.loss,
        "axes": [
            {
                "axis": load.axis,
                "moves": load.moves,
                "motor_s": load.motor_seconds,
                "worst_duty": load.worst_duty,
                "allowed_duty": load.allowed_duty,
            }
            for load in day.loads
        ],
    }


def _trial(each: Trial) -> dict[str, Any]:
    return {
        "dead_band_deg": each.dead_band,
        "interval_s": each.interval,
        "moves": dict(each.moves),
        "motor_s": each.motor_seconds,
        "loss": each.loss,
        "keeps_duty_cycle": each.keeps_duty,
    }


def _table(export: CExport) -> dict[str, Any]:
    """The very table of the C export, so that all exports can be held against each other."""
    table, error = export.table, export.error
    times = vector_times(export)
    found = look_up(table, times)
    return {
        "start_utc_s": table.start,
        "days": table.days,
        "slots": table.slots,
        "bytes": table.size,
        "crc32": table.crc,
        "wait_s": table.wait_seconds,
        "axes": [{"axis": a.axis, "offset": a.offset, "scale": a.scale} for a in table.axes],
        "stow_counts": list(table.stow_counts),
        "node_days": [int(day) for day in table.node_days],
        "rows": [[int(word) for word in row] for row in table.rows],
        "spans": [[int(word) for word in row] for row in table.spans],
        "worst_error": {
            "counts": list(error.counts),
            "mrad": error.mrad,
            "mrad_at_utc": utc(error.worst_at),
            "mrad_away_from_range_ends": error.mrad_elsewhere,
            "power": error.power,
            "energy": error.energy,
            "edge_s": error.edge_seconds,
            "minutes": error.minutes,
        },
        "test_vectors": [
            {"utc_s": time, "state": STATE_NAMES[int(found.state[k])], "counts": [int(c) for c in found.counts[k]]}
            for k, time in enumerate(times)
        ],
    }


def setpoints_csv(plan: MotorPlan) -> str:
    """The setpoints, one instant a line; the lines that begin with # say what the columns are."""
    text = io.StringIO()
    text.write("".join(f"# {line}\n" for line in CSV_WORDS))
    writer = csv.writer(text, lineterminator="\n")
    for k, point in enumerate(plan.points):
        row = point_object(plan, point)
        way = row.pop("defocus")
        row |= {
            "defocus_axis": None if way is None else way["axis"],
            "defocus_counts": None if way is None else way["counts"],
        }
        if k == 0:
            writer.writerow(row)
        writer.writerow(
            "" if value is None else f"{value:.6f}" if isinstance(value, float) else value for value in row.values()
        )
    return text.getvalue()


CSV_WORDS = (
    "time_utc: ISO 8601. state: tracking, waiting for sun, stowed, over the zenith.",
    "tilt_deg, swivel_deg: the mount's angles at that instant; for a polar mount declination and hour angle. After a",
    "calibration they are those against the base as it leans, and counts allow for all errors found.",
    "X_length_mm: eye to eye of a linear actuator, else empty. X_counts: counts at that instant.",
    "X_lead_counts: counts half a step later, where a firmware that moves once a step should go.",
    "defocus_axis, defocus_counts: the shorter way to a pose without a focus, by one axis; empty while not aimed.",
)


MOVES_WORDS = (
    "start_utc: when the motor starts, ISO 8601. axis: tilt or swivel. purpose: out (in the morning), follow, stow.",
    "from_counts, to_counts: where the axis stands before and after; length_counts: the difference, without a sign.",
    "overshoot_counts: how far it goes beyond to_counts and comes back, to take up the backlash; 0: it does not.",
    "direction: which way the axis' angle goes; approach_side: which way it goes as the setpoint is reached.",
    "motor_s: seconds that the motor runs, overshoot included.",
)


def moves_csv(plan: MotorPlan) -> str:
    """The moves of all days, one a line; the lines that begin with # say what the columns are."""
    text = io.StringIO()
    text.write("".join(f"# {line}\n" for line in MOVES_WORDS))
    writer = csv.writer(text, lineterminator="\n")
    header = False
    for day in plan.days:
        for move in day.moves:
            row = move_object(move)
            if not header:
                writer.writerow(row)
                header = True
            writer.writerow(f"{value:.3f}" if isinstance(value, float) else value for value in row.values())
    return text.getvalue()


def _record(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": list(properties), "additionalProperties": False}


def _list(items: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": items}


def _or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}


def plan_schema() -> dict[str, Any]:
    """The JSON Schema of `plan_object`."""
    number, whole, text, truth = ({"type": name} for name in ("number", "integer", "string", "boolean"))
    instant = text | {"pattern": r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z$"}
    share = number | {"maximum": 1}
    axis = {"enum": ["tilt", "swivel"]}
    direction = {"enum": ["rising", "falling"]}
    way = _or_null(_record({"axis": axis, "angle_deg": number, "counts": whole, "motor_s": number}))
    actuator = _record(
        {
            "kind": {"enum": ["linear", "rotary"]}, "counts_per_travel": number, "travel_unit": {"enum": ["mm", "deg"]},
            "travel_at_zero_counts": number, "limits_deg": _or_null(_list(number)), "home_deg": number,
            "home_counts": whole, "homing": direction, "approach": direction, "dead_band_deg": number,
            "duty_cycle": number, "duty_period_s": number,
        }
    )  # fmt: skip
    setpoint = _record(
        {"time_local": text, "time_utc": instant, "state": {"enum": list(STATE_WORDS.values())}, "tilt_deg": number}
        | {"swivel_deg": number}
        | {
            f"{name}_{what}": _or_null(kind)
            for name in ("tilt", "swivel")
            for what, kind in (("length_mm", number), ("counts", whole), ("lead_counts", whole))
        }
        | {"defocus": way}
    )
    move = _record(
        {
            "start_utc": instant, "axis": axis, "purpose": {"enum": ["out", "follow", "stow"]}, "from_counts": whole,
            "to_counts": whole, "length_counts": whole, "overshoot_counts": whole, "direction": direction,
            "approach_side": direction, "motor_s": number,
        }
    )  # fmt: skip
    load = _record({"axis": axis, "moves": whole, "motor_s": number, "worst_duty": number, "allowed_duty": number})
    day = _record(
        {
            "date": text, "aimed_from_utc": _or_null(instant), "aimed_until_utc": _or_null(instant),
            "energy_perfect_kwh": number, "energy_planned_kwh": number, "loss_of_path": share, "loss": share,
            "axes": _list(load),
        }
    )  # fmt: skip
    trial = {
        "dead_band_deg": _or_null(number), "interval_s": _or_null(number),
        "moves": {"type": "object", "additionalProperties": whole}, "motor_s": number, "loss": share,
        "keeps_duty_cycle": truth,
    }  # fmt: skip
    pose = _record(
        {
            "tilt_from_deg": number, "tilt_to_deg": number, "swivel_from_deg": number, "swivel_to_deg": number,
            "way_out": way, "by_tilt": way, "by_swivel": way, "wind": way,
        }
    )  # fmt: skip
    error = _record(
        {"counts": _list(whole), "mrad": number, "mrad_at_utc": instant, "mrad_away_from_range_ends": number}
        | {"power": number, "energy": number, "edge_s": whole, "minutes": whole}
    )
    vector = _record({"utc_s": whole, "state": {"enum": list(STATE_NAMES)}, "counts": _list(whole)})
    word = whole | {"minimum": 0, "maximum": 65535}
    table = _record(
        {
            "start_utc_s": whole, "days": whole, "slots": whole, "bytes": whole, "crc32": whole, "wait_s": whole,
            "axes": _list(_record({"axis": axis, "offset": whole, "scale": whole})), "stow_counts": _list(whole),
            "node_days": _list(word), "rows": _list(_list(word)), "spans": _list(_list(word)), "worst_error": error,
            "test_vectors": _list(vector),
        }
    )  # fmt: skip
    stow = _record({"tilt_deg": number, "swivel_deg": number, "largest_concentration": number, "safe": truth})
    estimate = _record({"value": number, "standard_error": number})
    calibration = _record(
        {"observations": whole, "rms_before_deg": number, "rms_after_deg": number}
        | {"worst_deg": number, "worst_at_utc": instant}
        | {"errors": {"type": "object", "additionalProperties": estimate}}
    )
    traced = _record(
        {"instants": whole, "worst_flux_w_m2": number, "worst_flux_standard_error_w_m2": number}
        | {"on": _or_null(text), "at_utc": _or_null(instant), "most_power_on_tubes_w": number}
    )
    whole_plan = {
        "$schema": SCHEMA_ID,
        "title": "Setpoints for the motors of a solar boiler lens, written by focalrow",
    } | _record(
        {
            "format_version": {"const": FORMAT_VERSION},
            "scene": text,
            "scene_sha256": text | {"pattern": "^[0-9a-f]{64}$"},
            "place": _record({"name": text, "latitude_deg": number, "longitude_deg": number}),
            "valid_from_utc": instant,
            "valid_until_utc": instant,
            "largest_clock_error_s": whole,
            "mount_errors": _record(
                dict.fromkeys(
                    ("azimuth_zero_deg", "tilt_zero_deg", "base_east_deg", "base_north_deg", "tilt_length_m"), number
                )
            ),
            "actuators": {"type": "object", "additionalProperties": actuator},
            "setpoints": _list(setpoint),
            "moves": _list(move),
            "days": _list(day),
            "strategies": _list(_record(trial)),
            "best_dead_band": _or_null(_record({"wanted_loss": number} | trial)),
            "safety": _record(
                {"safe_concentration": number, "bin_tilt_deg": number, "bin_swivel_deg": number}
                | {"longest_excess_of_a_bin_s": _or_null(number), "stow": stow, "poses": _list(pose)}
            ),
            "table": table,
        }
    )
    whole_plan["properties"] |= {"calibration": calibration, "ways_out_traced": traced}  # where they were asked for
    return whole_plan
