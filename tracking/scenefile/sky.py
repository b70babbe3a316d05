"""The table [sky]."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

from raytrace.scene import SunOptics, Sunshape
from tracking.scenefile.forms import Number, Quantity, Text, Word
from tracking.scenefile.problems import Problem
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import IRRADIANCE, WAVELENGTH
from tracking.sky.weather import MAX_DNI, TURBIDITY_RANGE, Sky, SkySource


class SkyTable(Table):
    """How strong the direct light is, and how the sun's disc looks."""

    source: Annotated[SkySource, Word(("clear", "constant", "file"))] = default("clear")
    turbidity: Annotated[float | None, Number(*TURBIDITY_RANGE)] = None
    dni: Annotated[float | None, Quantity(IRRADIANCE, "0 W/m^2", f"{MAX_DNI:g} W/m^2")] = None
    file: Annotated[str | None, Text("the name of a weather file, seen from the scene file")] = None
    sunshape: Annotated[Sunshape, Word(("limb-darkened", "uniform", "point"))] = default("limb-darkened")
    circumsolar_ratio: Annotated[float, Number(0.0, 0.6)] = default(0)
    wavelength: Annotated[float | None, Quantity(WAVELENGTH, "280 nm", "4000 nm")] = None

    def _default_text(self, key: str) -> str | None:
        if key == "turbidity" and self.source == "clear":
            return "the monthly climatology of Linke turbidity at the site"
        if key == "wavelength":
            return "the direct spectrum of ASTM G173-03"
        return None

    def _problems(self) -> Iterator[Problem]:
        if self.source == "constant" and self.dni is None:
            yield Problem(
                key="dni",
                problem='this key is missing: source = "constant" needs it',
                allowed='such as dni = "850 W/m^2"',
            )
        if self.source == "file" and self.file is None:
            yield Problem(
                key="file",
                problem='this key is missing: source = "file" needs it',
                allowed="the name of an EPW, TMY3, TMY2 or CSV file, seen from the scene file",
            )
        if self.source != "file" and self.file is not None:
            yield self._useless("file", "file")
        if self.source != "clear" and self.turbidity is not None:
            yield self._useless("turbidity", "clear")
        if self.circumsolar_ratio > 0.0 and self.sunshape != "limb-darkened":
            yield Problem(
                key="circumsolar_ratio",
                problem=f'sunshape = "{self.sunshape}" has no light around the disc',
                allowed='0, or sunshape = "limb-darkened"',
            )

    def _useless(self, key: str, source: str) -> Problem:
        return Problem(
            key=key,
            problem=f'source = "{self.source}" makes no use of this key',
            allowed=f'leave it out, or write source = "{source}"',
        )

    def sky(self, folder: Path) -> Sky:
        """The sky of these keys; the weather file is looked for from `folder`."""
        return Sky(
            source=self.source,
            turbidity=self.turbidity,
            dni=self.dni,
            file=None if self.file is None else folder / self.file,
        )

    def sun(self) -> SunOptics:
        """The optics of the sun of these keys."""
        return SunOptics(sunshape=self.sunshape, circumsolar_ratio=self.circumsolar_ratio, wavelength=self.wavelength)
