"""What `focalrow fit` found, as JSON for programs."""

from typing import Any

from raytrace.result import Estimate
from tracking.energy.fit.height import BestHeight, Tried
from tracking.energy.fit.result import Fit
from tracking.mount import Setting
from tracking.plans.day import JOULES_PER_KWH
from tracking.scenefile import SceneFile


def json_object(scene_file: SceneFile, fit: Fit) -> dict[str, Any]:
    """The numbers for programs; what has no value is None."""
    return {
        "scene": str(scene_file.path),
        "over": fit.span.text,
        "days": fit.days,
        "moved": fit.moved,
        "dni_kwh_m2": fit.dni_sum / 1000.0,
        "hours_without_dni": fit.hours_without_dni,
        "worst_month": fit.worst_month,
        "height": height_object(fit.height),
        "setting": setting_object(fit.setting),
        "seasons": [{"from": season.start.isoformat(), "tilt_deg": season.tilt} for season in fit.seasons],
        "moves": [{"date": day.date.isoformat(), "moves": day.moves, "loss": day.loss} for day in fit.moves],
        "interrupted": fit.interrupted,
    }


def setting_object(setting: Setting | None) -> dict[str, float] | None:
    """A setting in degrees."""
    return None if setting is None else {"tilt_deg": setting.tilt, "swivel_deg": setting.swivel}


def estimate_object(estimate: Estimate | None, scale: float = 1.0) -> dict[str, float] | None:
    """A value and its standard error, both over `scale`."""
    if estimate is None:
        return None
    return {"value": estimate.value / scale, "standard_error": estimate.standard_error / scale}


def height_object(height: BestHeight) -> dict[str, Any]:
    """The search for the lens height."""
    return {
        "height_m": estimate_object(height.height if height.absorbed.value > 0.0 else None),
        "absorbed_kwh": estimate_object(height.absorbed, JOULES_PER_KWH),
        "aperture_kwh": height.aperture / JOULES_PER_KWH,
        "like_best_m": list(height.like_best),
        "possible_gain": height.possible_gain,
        "bands": [
            {"loss": band.loss, "low_m": estimate_object(band.low), "high_m": estimate_object(band.high)}
            for band in height.bands
        ],
        "own": None if height.own is None else _tried(height.own),
        "tried": [_tried(each) for each in height.tried],
        "at_end": height.at_end,
        "interrupted": height.interrupted,
    }


def _tried(tried: Tried) -> dict[str, Any]:
    return {
        "height_m": tried.height,
        "absorbed_kwh": estimate_object(tried.absorbed, JOULES_PER_KWH),
        "below_best_kwh": estimate_object(tried.shortfall, JOULES_PER_KWH),
    }
