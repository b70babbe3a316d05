"""What lens and envelope are made of: refractive index, absorption, density, each with its range and its source."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from raytrace.optics.tables import two_columns

NM_PER_UM = 1000.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Dispersion:
    """n^2 (or n, where `of_index` is set) = constant + sum c l^e + sum b l^2 / (l^2 - r), with l the wavelength in um.

    `powers` holds the pairs (c, e), `resonances` the pairs (b, r) with r in um^2. Valid from `low` to `high` [nm];
    beyond, the value at the end holds.
    """

    constant: float
    powers: tuple[tuple[float, float], ...] = ()
    resonances: tuple[tuple[float, float], ...] = ()
    of_index: bool = False
    low: float
    high: float

    def index(self, wavelength_nm: ArrayLike) -> Floats:
        """Refractive index, shaped as `wavelength_nm` [nm]."""
        length = np.clip(np.asarray(wavelength_nm, dtype=np.float64), self.low, self.high) / NM_PER_UM
        square = length * length
        value = np.full_like(length, self.constant)
        for coefficient, exponent in self.powers:
            value = value + coefficient * length**exponent
        for strength, resonance in self.resonances:
            value = value + strength * square / (square - resonance)
        return value if self.of_index else np.sqrt(value)


@dataclass(frozen=True, kw_only=True, slots=True)
class Material:
    """A clear material: its dispersion, the data file or the number of its absorption, its density and its sources.

    `absorption` [1/m] counts where no `absorption_table` is named. `density` is in [kg/m3].
    """

    name: str
    dispersion: Dispersion
    density: float | None
    source: str
    absorption_table: str | None = None
    absorption: float = 0.0
    absorption_source: str = ""
    notes: tuple[str, ...] = ()

    def refractive_index(self, wavelength_nm: ArrayLike) -> Floats:
        """Refractive index, shaped as `wavelength_nm` [nm]; beyond the range of its source the end value holds."""
        return self.dispersion.index(wavelength_nm)

    def absorption_coefficient(self, wavelength_nm: ArrayLike) -> Floats:
        """Absorption coefficient [1/m], shaped as `wavelength_nm` [nm]; beyond its range the end value holds."""
        length = np.asarray(wavelength_nm, dtype=np.float64)
        if self.absorption_table is None:
            return np.full_like(length, self.absorption)
        where, value = two_columns(self.absorption_table)
        return np.asarray(np.interp(length, where, value), dtype=np.float64)

    def range_notes(self, low_nm: float, high_nm: float) -> tuple[str, ...]:
        """What must be said when light from `low_nm` to `high_nm` passes: where an end value stands for the data."""
        ranges = [("refractive index", self.dispersion.low, self.dispersion.high)]
        if self.absorption_table is not None:
            where, _ = two_columns(self.absorption_table)
            ranges.append(("absorption", float(where[0]), float(where[-1])))
        return tuple(
            f"{self.name}: the {what} is known from {low:.0f} to {high:.0f} nm; beyond, "
            "the value at the end of that range holds."
            for what, low, high in ranges
            if low_nm < low or high_nm > high
        )


_DATABASE = "read from the refractiveindex.info database (CC0, commit a66ef88)"
_ZHANG = (
    "X. Zhang, J. Qiu, X. Li, J. Zhao and L. Liu, Applied Optics 59 (2020) 2337 (0.4 to 2 um) and Journal of "
    f"Quantitative Spectroscopy and Radiative Transfer 252 (2020) 107063 (beyond), {_DATABASE}"
)
_VISIBLE_NOTE = "In the visible the published absorption is near the noise of its method: an upper bound."
_PLASTIC_NOTE = (
    (
        "Below 400 nm nothing is published for the absorption; sheet with a stabiliser against ultraviolet light cuts "
        "off at about 360 to 380 nm (value from memory, to be confirmed)."
    ),
    _VISIBLE_NOTE,
)

PMMA = Material(
    name="PMMA",
    dispersion=Dispersion(
        constant=2.1778,
        powers=(
            (6.1209e-3, 2), (-1.5004e-3, 4), (2.3678e-2, -2), (-4.2137e-3, -4), (7.3417e-4, -6), (-4.5042e-5, -8),
        ),
        low=420.0,
        high=1620.0,
    ),
    density=1190.0,  # value from memory, to be confirmed
    source=(
        "G. Beadie, M. Brindza, R. A. Flynn, A. Rosenberg and J. S. Shirk, Applied Optics 54 (2015) F139, "
        f"{_DATABASE}"
    ),
    absorption_table="absorption-pmma",
    absorption_source=f"a commercial sheet; {_ZHANG}",
    notes=_PLASTIC_NOTE,
)
POLYCARBONATE = Material(
    name="polycarbonate",
    dispersion=Dispersion(constant=1.0, resonances=((1.4182, 0.021304),), low=436.8, high=1052.0),
    density=1200.0,  # value from memory, to be confirmed
    source=f"N. Sultanova, S. Kasarova and I. Nikolov, Acta Physica Polonica A 116 (2009) 585, {_DATABASE}",
    absorption_table="absorption-polycarbonate",
    absorption_source=f"a commercial sheet; {_ZHANG}",
    notes=_PLASTIC_NOTE,
)
SILICONE = Material(
    name="silicone",
    dispersion=Dispersion(constant=1.0, resonances=((1.0093, 0.013185),), low=350.0, high=700.0),
    density=1030.0,  # value from memory, to be confirmed
    source=(
        f"F. Schneider, J. Draheim, R. Kamberger and U. Wallrabe, Sensors and Actuators A 151 (2009) 95, {_DATABASE}"
    ),
    absorption_table="absorption-silicone",
    absorption_source=f"base to curing agent 10 to 1; {_ZHANG}",
    notes=(
        "One slab of silicone: a carrier of glass, on which such lenses are often cast, is not modelled.",
        _VISIBLE_NOTE,
    ),
)
BOROSILICATE = Material(
    name="borosilicate",
    dispersion=Dispersion(
        constant=1.3542,
        resonances=((0.78657, 0.10856**2), (0.18285, 4.427**2)),
        low=240.0,
        high=1550.0,
    ),
    density=2230.0,  # ISO 3585: borosilicate glass 3.3, value from memory, to be confirmed
    source=f"a maker's data sheet of June 2021 for flat borosilicate 3.3 glass, {_DATABASE}",
    absorption_table="absorption-borosilicate",
    # Of a flat sheet. The database's tube of such glass absorbs more: a wall of 1.6 mm passes 0.9911 of the direct beam
    # from 350 to 2500 nm in place of 0.9980 (computed from both tables).
    absorption_source=f"the same data sheet, for flat glass, {_DATABASE}",
)
SODA_LIME = Material(
    name="soda-lime",
    dispersion=Dispersion(
        constant=1.5130, powers=((-0.003169, 2), (0.003962, -2)), of_index=True, low=310.0, high=4600.0
    ),
    density=2500.0,  # value from memory, to be confirmed
    source=f"M. Rubin, Solar Energy Materials 12 (1985) 275, {_DATABASE}",
    absorption_table="absorption-soda-lime",
    absorption_source=f"low-iron glass; M. Rubin, Solar Energy Materials 12 (1985) 275, {_DATABASE}",
)

MATERIALS: Mapping[str, Material] = MappingProxyType(
    {material.name: material for material in (PMMA, POLYCARBONATE, SILICONE, BOROSILICATE, SODA_LIME)}
)
"""The materials that a scene can name."""


def material_named(name: str) -> Material:
    """The material of that name.

    Raises
    ------
    ValueError
        If there is none; the message lists all.
    """
    try:
        return MATERIALS[name]
    except KeyError:
        raise ValueError(f"No material is named {name!r}; known: {', '.join(MATERIALS)}.") from None


def constant_material(index: float, absorption: float) -> Material:
    """A material with the same index and absorption [1/m] at every wavelength.

    Raises
    ------
    ValueError
        If the index lies outside [1, 2] or the absorption outside [0, 1000] 1/m.
    """
    if not 1.0 <= index <= 2.0:
        raise ValueError(f"index must lie between 1 and 2, got {index!r}.")
    if not 0.0 <= absorption <= 1000.0:
        raise ValueError(f"absorption must lie between 0 and 1000 1/m, got {absorption!r} 1/m.")
    return Material(
        name=f"index {index:g}, absorption {absorption:g} 1/m",
        dispersion=Dispersion(constant=index, of_index=True, low=0.0, high=math.inf),
        density=None,
        source="given in the scene",
        absorption=absorption,
        absorption_source="given in the scene",
    )
