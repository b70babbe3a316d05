"""The list [[surroundings]]: boxes and planes that stray light may fall on."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, cast

from pydantic import Field

from tracking.scenefile.forms import Form, Text, Word
from tracking.scenefile.problems import Problem
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import ANGLE, LENGTH, Kind, QuantityError, quantity, shown
from tracking.surroundings import FixedTo, Shape, Surrounding, SurroundingMaterial, Triple

SHAPES = ("plane", "box")
FIXED_TO = ("ground", "base", "lens")
MATERIALS = ("wood", "plants", "plastic", "metal", "stone", "tile", "glass", "soil")


@dataclass(frozen=True, slots=True)
class Quantities(Form):
    """A list of quantities of one kind, each between two bounds that are allowed themselves."""

    kind: Kind
    counts: tuple[int, ...]
    low: str
    high: str

    def _allowed(self) -> str:
        counts = " or ".join(str(count) for count in self.counts)
        example = ", ".join(f'"{self.kind.example}"' for _ in range(self.counts[0]))
        return f"a list of {counts} values from {self.low} to {self.high}, such as [{example}]"

    def _read(self, raw: object) -> tuple[float, ...]:
        if not isinstance(raw, (list, tuple)) or len(raw) not in self.counts:
            raise QuantityError(f"{shown(raw)} is no such list", self.allowed)
        try:
            return tuple(quantity(each, self.kind, low=self.low, high=self.high) for each in raw)
        except QuantityError as error:
            raise QuantityError(error.problem, self.allowed) from None


class SurroundingTable(Table):
    """One box or plane."""

    name: Annotated[str, Text("what the thing is called")]
    shape: Annotated[str, Word(SHAPES)]
    size: Annotated[tuple[float, ...], Quantities(LENGTH, (2, 3), "1 mm", "20 m")]
    place: Annotated[tuple[float, ...], Quantities(LENGTH, (3,), "-50 m", "50 m")]
    turn: Annotated[tuple[float, ...], Quantities(ANGLE, (3,), "-360 deg", "360 deg")] = default(
        ("0 deg", "0 deg", "0 deg")
    )
    fixed_to: Annotated[str, Word(FIXED_TO)] = Field(default="ground")
    material: Annotated[str, Word(MATERIALS)] = Field(default="wood")

    def _problems(self) -> Iterator[Problem]:
        needed = 2 if self.shape == "plane" else 3
        if len(self.size) != needed:
            yield Problem(
                key="size",
                problem=f"a {self.shape} has {needed} lengths, not {len(self.size)}",
                allowed='two lengths for "plane", three for "box"',
            )

    def surrounding(self) -> Surrounding:
        """The box or plane of these keys."""
        return Surrounding(
            name=self.name,
            shape=cast("Shape", self.shape),
            size=self.size,
            place=cast("Triple", self.place),
            turn=cast("Triple", self.turn),
            fixed_to=cast("FixedTo", self.fixed_to),
            material=cast("SurroundingMaterial", self.material),
        )
