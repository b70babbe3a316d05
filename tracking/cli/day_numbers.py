"""What `focalrow day` found, as numbers for programs: JSON and CSV."""

import csv
import io
from typing import Any

from tracking.cli.day_moves import moves_object
from tracking.energy.plan_water import PlanWater
from tracking.plans.day import JOULES_PER_KWH, Day, DayInstant
from tracking.plans.moves import MovesPlan


def json_object(plan: Day, moves: MovesPlan | None = None, water: PlanWater | None = None) -> dict[str, Any]:
    """The numbers for programs; `plan` in them is the plan of moves, null where there is none."""
    totals = plan.totals
    return {
        "instants": [_instant_object(entry) for entry in plan.instants],
        "totals": {
            "aperture_kwh": totals.aperture / JOULES_PER_KWH,
            "intercepted_kwh": totals.intercepted / JOULES_PER_KWH,
            "absorbed_kwh": totals.absorbed / JOULES_PER_KWH,
            "absorbed_kwh_per_tube": [joules / JOULES_PER_KWH for joules in totals.absorbed_per_tube],
            "hours_aimed": totals.hours_aimed,
        },
        "tube_slopes_deg": [slope_of(entry) for entry in plan.instants],
        "plan": None if moves is None else moves_object(moves, water),
    }


def _instant_object(entry: DayInstant) -> dict[str, Any]:
    instant, powers, aim = entry.instant, entry.powers, entry.instant.aim
    return {
        "time_local": instant.time_local.isoformat(),
        "time_utc": instant.time_utc.isoformat(),
        "solar_azimuth_deg": instant.solar_azimuth,
        "solar_elevation_deg": instant.solar_elevation,
        "dni_w_m2": instant.dni,
        "tilt_deg": None if aim is None else aim.setting.tilt,
        "swivel_deg": None if aim is None else aim.setting.swivel,
        "transversal_angle_deg": None if aim is None else aim.angles.transversal,
        "longitudinal_angle_deg": None if aim is None else aim.angles.longitudinal,
        "incidence_angle_deg": None if aim is None else aim.angles.incidence,
        "aperture_power_w": powers.aperture,
        "intercepted_w": powers.intercepted,
        "intercepted_w_per_tube": list(powers.intercepted_per_tube),
        "absorbed_w": powers.absorbed,
        "absorbed_w_per_tube": list(powers.absorbed_per_tube),
        "absorbed_w_standard_error": powers.absorbed_standard_error,
        "optical_efficiency": powers.optical_efficiency,
        "w90_m": powers.w90,
        "power_from": powers.source,
    }


def slope_of(entry: DayInstant) -> float | None:
    """Slope of the tubes against level [deg]; None where nothing is aimed."""
    return None if entry.instant.aim is None else entry.instant.aim.tube_slope


def csv_text(plan: Day) -> str:
    """The instants, one a line; what has a value for each tube has a column for each."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for k, entry in enumerate(plan.instants):
        row: dict[str, Any] = {}
        for name, value in (_instant_object(entry) | {"tube_slope_deg": slope_of(entry)}).items():
            if isinstance(value, list):
                row |= {f"{name.removesuffix('_per_tube')}_tube_{n + 1}": watts for n, watts in enumerate(value)}
            else:
                row[name] = value
        if k == 0:
            writer.writerow(row)
        writer.writerow(row.values())
    return text.getvalue()
