"""The table [lens]."""

from collections.abc import Iterator
from typing import Annotated, Any

from raytrace.optics.materials import Material
from raytrace.scene import GroovesSide, Lens
from tracking.scenefile.forms import LENS_MATERIAL, Number, Quantity, Word
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import ANGLE, LENGTH, SMALL_ANGLE, WAVELENGTH, shown

SIDES = ("tubes", "sun")


class LensTable(Table):
    """The flat grooved sheet."""

    width: Annotated[float, Quantity(LENGTH, "20 mm", "5 m")]
    length: Annotated[float, Quantity(LENGTH, "20 mm", "5 m")]
    focal_length: Annotated[float, Quantity(LENGTH, "20 mm", "10 m")]
    thickness: Annotated[float, Quantity(LENGTH, "0.1 mm", "30 mm")] = default("3 mm")
    groove_pitch: Annotated[float, Quantity(LENGTH, "0.005 mm", "20 mm")] = default("0.5 mm")
    # No default: which side faces the sun depends on what the sheet was cut for, and the sources contradict each other.
    grooves_toward: Annotated[GroovesSide, Word(SIDES)]
    cut_for: Annotated[GroovesSide | None, Word(SIDES)] = None
    draft_angle: Annotated[float, Quantity(ANGLE, "0 deg", "15 deg")] = default("2 deg")
    slope_error: Annotated[float, Quantity(SMALL_ANGLE, "0 mrad", "50 mrad")] = default("1 mrad")
    sag: Annotated[float, Quantity(LENGTH, "-500 mm", "500 mm")] = default("0 mm")
    transmittance_factor: Annotated[float, Number(0.0, 1.0)] = default(1)
    material: Annotated[Material, LENS_MATERIAL] = default("PMMA")
    design_wavelength: Annotated[float, Quantity(WAVELENGTH, "280 nm", "4000 nm")] = default("587.6 nm")

    def _default_text(self, key: str) -> str | None:
        if key == "cut_for":
            return f"{shown(self.grooves_toward)}, as grooves_toward"
        return None

    def _notes(self) -> Iterator[str]:
        if self.cut_for not in (None, self.grooves_toward):
            yield (
                "The sheet is mounted the wrong way round: its grooves were cut to lie toward the "
                f"{self.cut_for} and lie toward the {self.grooves_toward}. Much of the light misses the tubes."
            )

        if self.given("design_wavelength") and _is_constant(self.material):
            yield "lens.design_wavelength is without effect: the material has the same index at all wavelengths."

    def lens(self) -> Lens:
        """The lens of these keys."""
        keys: dict[str, Any] = {key: getattr(self, key) for key in type(self).model_fields}
        return Lens(**{**keys, "cut_for": self.cut_for or self.grooves_toward})


def _is_constant(material: Material) -> bool:
    blue, red = (float(material.refractive_index(wavelength)) for wavelength in (400.0, 700.0))
    return blue == red
