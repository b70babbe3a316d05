"""What `focalrow year` found, as numbers for programs: JSON and CSV of the months."""

import csv
import io
import math
from typing import Any

from tracking.energy.year import Period, Year
from tracking.plans.day import JOULES_PER_KWH


def json_object(year: Year) -> dict[str, Any]:
    """The numbers for programs; an infinite quantity is null."""
    design = year.design
    return {
        "year": year.year,
        "utc_offset_h": year.utc_offset,
        "step_s": year.steps.seconds,
        "pressure_pa": year.steam.pressure,
        "boiling_point_c": year.steam.boiling_point,
        "latent_heat_j_kg": year.steam.latent_heat,
        "weather_file_dni_sum_kwh_m2": _thousandth(year.weather_file_dni_sum),
        "months": [period_object(month) for month in year.months],
        "year_total": period_object(year.total),
        "days": [
            {
                "date": day.date.isoformat(),
                **period_object(day.period),
                "warm_up_min": day.warm_up,
                "first_steam": None if day.first_steam is None else day.first_steam.isoformat(),
                "fill_before": None if day.fill_before is None else day.fill_before.isoformat(),
                "fill_after": None if day.fill_after is None else day.fill_after.isoformat(),
                "dry_tube_c": day.stagnation,
            }
            for day in year.key_days
        ],
        "best_moment": {
            "time": None if design.best_time is None else design.best_time.isoformat(),
            "tube": design.best_tube,
            "absorbed_w": design.best_absorbed,
            "needed_feed_l_h": design.needed_feed,
            "steam_kg_h": design.steam_rate,
            "condenser_duty_w": design.condenser_duty,
            "condenser_needed_w_k": design.condenser_needed,
            "warm_up_min": design.warm_up,
            "dry_out_min": design.dry_out,
            "stagnation_c": design.stagnation,
            "cool_down_min": _finite(design.cool_down),
        },
        "share_not_condensed": share_not_condensed(year.total),
        "highest_concentration_mg_l": year.highest_concentration,
        "litres_to_drain": _finite(year.litres_to_drain),
        "drains": year.drains,
        "alarms": [
            {
                "kind": alarm.kind,
                "time": None if alarm.time is None else alarm.time.isoformat(),
                "tube": alarm.tube,
                "words": alarm.words,
            }
            for alarm in year.alarms
        ],
        "table_error": year.table_error,
        "ledger_traces": year.ledger_traces,
        "largest_imbalance": year.largest_imbalance,
        "notes": list(year.notes),
    }


def period_object(period: Period) -> dict[str, Any]:
    """The sums of a period."""
    return {
        "name": period.name,
        "hours_of_use": period.hours_of_use,
        "gap_hours": period.gap_hours,
        "dni_sum_kwh_m2": period.dni_sum / 1000.0,
        "aperture_kwh": period.aperture / JOULES_PER_KWH,
        "intercepted_kwh_per_tube": [joules / JOULES_PER_KWH for joules in period.intercepted],
        "absorbed_kwh": sum(period.absorbed) / JOULES_PER_KWH,
        "absorbed_kwh_per_tube": [joules / JOULES_PER_KWH for joules in period.absorbed],
        "optical_efficiency": period.optical_efficiency,
        "ledger_kwh": {name: joules / JOULES_PER_KWH for name, joules in period.ledger.items()},
        "distillate_l": sum(period.litres),
        "distillate_l_per_tube": list(period.litres),
        "distillate_l_per_m2": period.litres_per_m2,
        "feed_kg_per_tube": list(period.feed),
        "heat_lost_kwh": period.lost / JOULES_PER_KWH,
        "lost_on_steam_line_kwh": period.lost_on_line / JOULES_PER_KWH,
    }


def share_not_condensed(period: Period) -> float:
    """Share of a period's steam that the condenser misses; 0 where there is none."""
    steam = sum(period.steam)
    return 1.0 - sum(period.distillate) / steam if steam > 0.0 else 0.0


def csv_text(year: Year) -> str:
    """The months and the year, one a line; what has a value for each tube has a column for each."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for k, period in enumerate((*year.months, year.total)):
        row: dict[str, Any] = {}
        for name, value in period_object(period).items():
            if isinstance(value, list):
                row |= {f"{name.removesuffix('_per_tube')}_tube_{n + 1}": each for n, each in enumerate(value)}
            elif isinstance(value, dict):
                row |= {f"{entry}_kwh": each for entry, each in value.items()}
            else:
                row[name] = value
        if k == 0:
            writer.writerow(row)
        writer.writerow(row.values())
    return text.getvalue()


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _thousandth(value: float | None) -> float | None:
    return None if value is None else value / 1000.0
