"""What a trace needs to know: lens, tubes, sky optics. Frozen, SI units and degrees, checked when made."""

import math
from dataclasses import dataclass, field
from typing import Literal

from raytrace.optics.materials import Material, material_named

GroovesSide = Literal["tubes", "sun"]
Sunshape = Literal["limb-darkened", "uniform", "point"]

MAX_SURFACES = 16
"""Surfaces that a ray may meet in the lens, and again at the tubes; what would meet one more is trapped."""


def _require(owner: object, name: str, low: float, high: float, unit: str, why: str = "") -> None:
    value = getattr(owner, name)
    if not (isinstance(value, (int, float)) and math.isfinite(value) and low <= value <= high):
        message = f"{type(owner).__name__}.{name} must lie between {low:g} and {high:g}{unit}, got {value!r}{unit}"
        raise ValueError(f"{message}: {why}." if why else f"{message}.")


def _require_word(owner: object, name: str, allowed: tuple[str, ...]) -> None:
    value = getattr(owner, name)
    if value not in allowed:
        choices = " or ".join(f'"{word}"' for word in allowed)
        raise ValueError(f"{type(owner).__name__}.{name} must be {choices}, got {value!r}.")


@dataclass(frozen=True, kw_only=True, slots=True)
class Lens:
    """A flat grooved sheet. Lengths in [m], draft angle in [deg], slope error in [mrad], design wavelength in [nm].

    `grooves_toward` is the side on which the grooves lie, `cut_for` the side for which their facet law was chosen;
    they differ when a sheet is mounted the wrong way round.
    """

    width: float
    length: float
    focal_length: float
    grooves_toward: GroovesSide
    cut_for: GroovesSide
    thickness: float = 0.003
    groove_pitch: float = 0.0005
    draft_angle: float = 2.0
    slope_error: float = 1.0
    sag: float = 0.0
    transmittance_factor: float = 1.0
    material: Material = field(default_factory=lambda: material_named("PMMA"))
    design_wavelength: float = 587.6

    def __post_init__(self) -> None:
        _require(self, "width", 0.02, 5.0, " m")
        _require(self, "length", 0.02, 5.0, " m")
        _require(self, "focal_length", 0.02, 10.0, " m")
        _require(self, "thickness", 1e-4, 0.03, " m")
        _require(self, "groove_pitch", 5e-6, 0.02, " m")
        _require(self, "draft_angle", 0.0, 15.0, " deg")
        _require(self, "slope_error", 0.0, 50.0, " mrad")
        _require(self, "sag", -0.5, 0.5, " m")
        _require(self, "transmittance_factor", 0.0, 1.0, "")
        _require(self, "design_wavelength", 280.0, 4000.0, " nm")
        _require_word(self, "grooves_toward", ("tubes", "sun"))
        _require_word(self, "cut_for", ("tubes", "sun"))


@dataclass(frozen=True, kw_only=True, slots=True)
class Envelope:
    """The glass around an absorber, with a vacuum between. Lengths in [m]."""

    outer_diameter: float
    wall: float
    material: Material

    @property
    def inner_diameter(self) -> float:
        """Diameter of the glass's inner face [m]."""
        return self.outer_diameter - 2.0 * self.wall


@dataclass(frozen=True, kw_only=True, slots=True)
class Tubes:
    """A row of parallel tubes, axis to axis `spacing` apart. Lengths in [m], angles in [deg].

    `absorptance_angles` lists (angle of incidence on the absorber, factor on the absorptance), linear in between;
    beyond the last angle the last factor holds. Empty: the factor is 1 at every angle.
    """

    count: int
    length: float
    absorber_diameter: float
    spacing: float = 0.0
    angle_to_grooves: float = 0.0
    absorptance: float = 0.94
    absorptance_angles: tuple[tuple[float, float], ...] = ()
    envelope: Envelope | None = None

    @property
    def outer_diameter(self) -> float:
        """Diameter of what a ray meets first [m]."""
        return self.absorber_diameter if self.envelope is None else self.envelope.outer_diameter

    def __post_init__(self) -> None:
        if not (isinstance(self.count, int) and 1 <= self.count <= 200):
            raise ValueError(f"Tubes.count must be a whole number from 1 to 200, got {self.count!r}.")
        _require(self, "length", 0.02, 10.0, " m")
        _require(self, "absorber_diameter", 0.001, 0.3, " m")
        _require(self, "angle_to_grooves", -90.0, 90.0, " deg")
        _require(self, "absorptance", 0.0, 1.0, "")
        if self.count > 1:
            _require(self, "spacing", 0.001, 2.0, " m", "it is the distance from axis to axis")
        angles = [angle for angle, _ in self.absorptance_angles]
        if any(not 0.0 <= angle <= 90.0 for angle in angles) or angles != sorted(set(angles)):
            raise ValueError(f"Tubes.absorptance_angles must rise from 0 to 90 deg, got {angles!r} deg.")
        if any(not (factor >= 0.0 and self.absorptance * factor <= 1.0) for _, factor in self.absorptance_angles):
            raise ValueError("Tubes.absorptance_angles: each factor times the absorptance must lie between 0 and 1.")
        if self.envelope is not None:
            glass = self.envelope
            if glass.wall <= 0.0 or glass.inner_diameter < self.absorber_diameter:
                raise ValueError(
                    f"Tubes.envelope: its inner diameter must not be less than the absorber's, got outer diameter "
                    f"{glass.outer_diameter * 1e3:g} mm, wall {glass.wall * 1e3:g} mm around an absorber of "
                    f"{self.absorber_diameter * 1e3:g} mm."
                )
        if self.count > 1 and self.spacing < self.outer_diameter:
            raise ValueError(
                f"Tubes.spacing must be at least the outer diameter of a tube, got {self.spacing * 1e3:g} mm for tubes "
                f"of {self.outer_diameter * 1e3:g} mm: they would overlap."
            )


@dataclass(frozen=True, kw_only=True, slots=True)
class SunOptics:
    """How the sun shines: profile of its disc, share of the beam outside it, one wavelength [nm] or the spectrum."""

    sunshape: Sunshape = "limb-darkened"
    circumsolar_ratio: float = 0.0
    wavelength: float | None = None

    def __post_init__(self) -> None:
        _require_word(self, "sunshape", ("limb-darkened", "uniform", "point"))
        _require(self, "circumsolar_ratio", 0.0, 0.6, "")
        if self.circumsolar_ratio > 0.0 and self.sunshape != "limb-darkened":
            raise ValueError('SunOptics.circumsolar_ratio goes with the sunshape "limb-darkened" only.')
        if self.wavelength is not None:
            _require(self, "wavelength", 280.0, 4000.0, " nm")


@dataclass(frozen=True, kw_only=True, slots=True)
class RowPose:
    """How the row lies in the lens frame: unit vectors along the row and along its tubes, at right angles.

    `offset` [m] is how far the row's middle lies from its place, a lens height below the middle of the lens.
    """

    row: tuple[float, float, float]
    tube: tuple[float, float, float]
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def normal(self) -> tuple[float, float, float]:
        """Unit vector at right angles to both: the vector product of `row` and `tube`."""
        (a, b, c), (d, e, f) = self.row, self.tube
        return b * f - c * e, c * d - a * f, a * e - b * d

    @classmethod
    def level(cls, angle_to_grooves: float) -> "RowPose":
        """The row as laid out at tilt 0: along (cos w, sin w, 0), tubes along (-sin w, cos w, 0), w in [deg]."""
        w = math.radians(angle_to_grooves)
        return cls(row=(math.cos(w), math.sin(w), 0.0), tube=(-math.sin(w), math.cos(w), 0.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Scene:
    """Lens, tubes and sun, the lens height [m] and the aiming error [mrad] that joins them."""

    lens: Lens
    tubes: Tubes
    sun: SunOptics
    lens_height: float
    aiming_error: float = 0.0

    def __post_init__(self) -> None:
        _require(self, "lens_height", 0.02, 10.0, " m")
        _require(self, "aiming_error", 0.0, 50.0, " mrad")
        if self.lens_height <= 0.5 * self.tubes.outer_diameter + max(0.0, self.lens.sag):
            raise ValueError(
                f"Scene.lens_height must leave room for the tubes, got {self.lens_height:g} m above the axes of tubes "
                f"of {self.tubes.outer_diameter * 1e3:g} mm: they would stick through the lens."
            )
