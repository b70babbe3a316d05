"""What `focalrow light` found, as numbers for programs: JSON and CSV."""

import math
from dataclasses import dataclass
from typing import Any

from raytrace.result import LEDGER_ENTRIES, Estimate, TraceResult
from raytrace.scene import RowPose
from tracking.scenefile import SceneFile


@dataclass(frozen=True, kw_only=True, slots=True)
class Moment:
    """Sun and settings of the moment that was asked for [deg]."""

    solar_azimuth: float
    solar_elevation: float
    tilt: float
    swivel: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Sunlight:
    """From where the sun shines on the lens and how strongly, and in which words that is told. Angles in [deg]."""

    transversal: float
    longitudinal: float
    dni: float
    dni_words: str
    pose_words: str
    row: RowPose
    moment: Moment | None = None

    @property
    def cosine(self) -> float:
        """Cosine of the incidence angle."""
        tangents = (math.tan(math.radians(self.transversal)), math.tan(math.radians(self.longitudinal)))
        return 1.0 / math.hypot(1.0, *tangents)


@dataclass(frozen=True, kw_only=True, slots=True)
class Light:
    """All that the command prints: the scene, the sunlight, the trace."""

    scene_file: SceneFile
    sunlight: Sunlight
    trace: TraceResult

    @property
    def aperture_power(self) -> float:
        """DNI x width x length x cos(incidence angle) [W]."""
        lens = self.scene_file.scene.lens
        return self.sunlight.dni * lens.width * lens.length * self.sunlight.cosine


def json_object(answer: Light) -> dict[str, Any]:
    """The numbers for programs."""
    trace, sunlight = answer.trace, answer.sunlight
    power = answer.aperture_power

    def estimate(value: Estimate) -> dict[str, float]:
        return {"value": value.value, "standard_error": value.standard_error}

    numbers: dict[str, Any] = {
        "scene": str(answer.scene_file.path),
        "rays": trace.rays,
        "seed": trace.seed,
        "transversal_angle_deg": sunlight.transversal,
        "longitudinal_angle_deg": sunlight.longitudinal,
        "dni_w_m2": sunlight.dni,
        "aperture_power_w": power,
        "intercepted_fraction": estimate(trace.intercepted_fraction),
        "absorbed_fraction": estimate(trace.absorbed_fraction),
        "intercept_factor": estimate(trace.intercept_factor),
        "ledger": {name: getattr(trace.ledger, name) for name in LEDGER_ENTRIES},
        "tubes": [
            {
                "intercepted_fraction": tube.intercepted_fraction.value,
                "absorbed_fraction": tube.absorbed_fraction.value,
                "intercepted_w": power * tube.intercepted_fraction.value,
                "absorbed_w": power * tube.absorbed_fraction.value,
                "absorbed_w_standard_error": power * tube.absorbed_fraction.standard_error,
                "peak_flux_w_m2": sunlight.dni * tube.peak_flux_ratio,
            }
            for tube in trace.tubes
        ],
        "focal_line": {
            "centroid_m": trace.focal_line.centroid,
            "w50_m": trace.focal_line.w50,
            "w90_m": trace.focal_line.w90,
            "w95_m": trace.focal_line.w95,
            "fwhm_m": trace.focal_line.fwhm,
            "standard_error_w90_m": trace.focal_line.standard_error_w90,
            "share_within_absorber_diameter": trace.focal_line.share_within_absorber_diameter,
        },
    }
    if trace.target_reached is not None:
        numbers["target_reached"] = trace.target_reached
    if sunlight.moment is not None:
        numbers |= {
            "solar_azimuth_deg": sunlight.moment.solar_azimuth,
            "solar_elevation_deg": sunlight.moment.solar_elevation,
            "tilt_deg": sunlight.moment.tilt,
            "swivel_deg": sunlight.moment.swivel,
        }
    return numbers


def csv_text(answer: Light) -> str:
    """The tubes, one a line, in order along the row."""
    rows = json_object(answer)["tubes"]
    lines = [",".join(["tube", *rows[0]])]
    lines += [",".join(str(value) for value in (k + 1, *row.values())) for k, row in enumerate(rows)]
    return "\n".join(lines)
