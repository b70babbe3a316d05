"""The tables [tubes] and [tubes.envelope]."""

from collections.abc import Iterator
from typing import Annotated

from raytrace.optics.materials import Material, constant_material, material_named
from raytrace.scene import Envelope, Tubes
from tracking.scenefile.forms import (
    ENVELOPE_MATERIAL,
    GLASS_ABSORPTION,
    GLASS_INDEX,
    AngleFactors,
    Number,
    Quantity,
    Whole,
)
from tracking.scenefile.problems import Problem
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import ANGLE, LENGTH

GLASS = "borosilicate"
"""The usual glass of evacuated tubes."""


class EnvelopeTable(Table):
    """The glass around an absorber."""

    outer_diameter: Annotated[float, Quantity(LENGTH, "1 mm", "400 mm")]
    wall: Annotated[float, Quantity(LENGTH, "0.1 mm", "20 mm")] = default("1.6 mm")
    material: Annotated[Material | None, ENVELOPE_MATERIAL] = None
    index: Annotated[float | None, GLASS_INDEX] = None
    absorption: Annotated[float | None, GLASS_ABSORPTION] = None

    def _default_text(self, key: str) -> str | None:
        if key == "material" and not (self.given("index") or self.given("absorption")):
            return f'"{GLASS}"'
        return None

    def _problems(self) -> Iterator[Problem]:
        given = [key for key in ("index", "absorption") if self.given(key)]
        if given and self.given("material"):
            yield Problem(
                key="material",
                problem=f"this key and {' and '.join(given)} speak of the same thing",
                allowed="either material, or index and absorption",
            )
        elif len(given) == 1:
            other = "absorption" if given == ["index"] else "index"
            form = GLASS_ABSORPTION if other == "absorption" else GLASS_INDEX
            yield Problem(key=other, problem=f"this key is missing: {given[0]} needs it", allowed=form.allowed)

    def envelope(self) -> Envelope:
        """The envelope of these keys."""
        if self.index is not None and self.absorption is not None:
            material = constant_material(self.index, self.absorption)
        else:
            material = self.material or material_named(GLASS)
        return Envelope(outer_diameter=self.outer_diameter, wall=self.wall, material=material)


class TubesTable(Table):
    """The row of tubes."""

    count: Annotated[int, Whole(1, 200)]
    spacing: Annotated[float | None, Quantity(LENGTH, "1 mm", "2 m")] = None
    length: Annotated[float, Quantity(LENGTH, "20 mm", "10 m")]
    angle_to_grooves: Annotated[float, Quantity(ANGLE, "-90 deg", "90 deg")] = default("0 deg")
    absorber_diameter: Annotated[float, Quantity(LENGTH, "1 mm", "300 mm")]
    absorptance: Annotated[float, Number(0.0, 1.0)] = default(0.94)
    absorptance_angles: Annotated[tuple[tuple[float, float], ...], AngleFactors()] = default(())
    envelope: EnvelopeTable | None = None

    def _default_text(self, key: str) -> str | None:
        if key == "absorptance_angles":
            return "the same absorptance at all angles of incidence"
        if key == "envelope":
            return "none: bare tubes"
        return None

    def _problems(self) -> Iterator[Problem]:
        if self.count > 1 and self.spacing is None:
            yield Problem(
                key="spacing",
                problem=f"this key is missing: a row of {self.count} tubes needs the distance from axis to axis",
                allowed='at least the outer diameter of a tube, such as "75 mm"',
            )

    def _notes(self) -> Iterator[str]:
        if self.count == 1 and self.spacing is not None:
            yield "tubes.spacing is without effect: there is one tube."

    def tubes(self) -> Tubes:
        """The row of these keys."""
        return Tubes(
            count=self.count,
            length=self.length,
            absorber_diameter=self.absorber_diameter,
            spacing=self.spacing or 0.0,
            angle_to_grooves=self.angle_to_grooves,
            absorptance=self.absorptance,
            absorptance_angles=self.absorptance_angles,
            envelope=None if self.envelope is None else self.envelope.envelope(),
        )
