"""Water and steam at one pressure, by the industrial formulation of IAPWS (R7-97); pressure from the altitude.

The values stand in tables beside this module, which `tests/reference/steam_data.py` writes from a general library:
that library takes seconds to load. Between their nodes straight lines are true to 1 J/kg and 1e-4 K.
"""

import functools
from dataclasses import dataclass
from importlib.resources import files

import numpy as np

from raytrace.arrays import Floats

ATMOSPHERE = 101325.0
"""Pressure of the standard atmosphere at sea level [Pa]: ISO 2533:1975."""

_LAPSE = 0.0065  # [K/m], ISO 2533:1975
_SEA_LEVEL_TEMPERATURE = 288.15  # [K], ISO 2533:1975
_EXPONENT = 5.25588
"""g / (R lapse) of ISO 2533:1975."""

_LIQUID_NODES = 401
"""Nodes of the liquid's enthalpy between 0 degC and boiling: a straight line between them is true to 1 J/kg."""

FOLDER = files("tracking.energy") / "data"
SATURATION_TABLE = "saturation.csv"
"""Pressure [Pa], boiling point [degC], enthalpies [J/kg] of boiling water and of its steam."""
LIQUID_TABLE = "liquid.csv"
"""Temperature [degC]; of the liquid at `LIQUID_PRESSURE`: enthalpy [J/kg], its rise with the pressure [J/(kg Pa)],
density [kg/m3]."""
LIQUID_PRESSURE = 115e3
"""Pressure [Pa] of the liquid's table: above that of any place, so that it holds no steam."""


@functools.cache
def _table(name: str) -> Floats:
    """Columns of a table beside this module, (columns, rows) float."""
    with (FOLDER / name).open(encoding="utf-8") as file:
        return np.loadtxt(file, delimiter=",", skiprows=1, unpack=True)


def pressure_at(altitude: float) -> float:
    """Air pressure [Pa] at an altitude [m] by the standard atmosphere, the altitude taken as geopotential."""
    return float(ATMOSPHERE * (1.0 - _LAPSE * altitude / _SEA_LEVEL_TEMPERATURE) ** _EXPONENT)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Steam:
    """Water at one pressure [Pa]: boiling point [degC], enthalpies [J/kg] of boiling water and of its steam.

    `nodes` [degC], evenly spaced, and `enthalpies` [J/kg] hold the liquid from 0 degC to the boiling point, `slopes`
    [J/(kg K)] the rise from each node to the next.
    """

    pressure: float
    boiling_point: float
    boiling_liquid: float
    vapour: float
    nodes: Floats
    enthalpies: Floats
    slopes: Floats

    @property
    def latent_heat(self) -> float:
        """From boiling water to its steam [J/kg]."""
        return self.vapour - self.boiling_liquid

    def liquid(self, temperature: Floats) -> Floats:
        """Enthalpy (n,) [J/kg] of water at temperatures (n,) [degC] up to boiling; as a liquid below 0 too."""
        below = np.minimum(temperature, 0.0) * self.slopes[0]
        return np.asarray(np.interp(temperature, self.nodes, self.enthalpies) + below)

    def temperature_of(self, *, energy: Floats, water: Floats, heat_capacity: float) -> Floats:
        """Temperature (n,) [degC] of tubes with water (n,) [kg] that hold an energy (n,) [J] over dry tubes at 0 degC.

        Notes
        -----
        heat_capacity T + water h(T) is made of straight pieces, so that Newton's steps end on the root itself.
        """
        width = self.boiling_point / (len(self.nodes) - 1)
        slopes = self.slopes
        temperature = energy / (heat_capacity + water * self.boiling_liquid / self.boiling_point)
        for _ in range(_NEWTON_STEPS):
            piece = np.minimum(np.maximum(temperature / width, 0.0), len(slopes) - 1).astype(np.int64)
            slope = slopes[piece]
            held = self.enthalpies[piece] + slope * (temperature - self.nodes[piece])
            temperature = temperature + (energy - heat_capacity * temperature - water * held) / (
                heat_capacity + water * slope
            )
        return np.asarray(temperature, dtype=np.float64)


_NEWTON_STEPS = 3
"""Two find the piece, one more lies on it."""


def steam_at(pressure: float) -> Steam:
    """Water and steam at a pressure [Pa].

    Raises
    ------
    ValueError
        If the pressure lies beyond the table: 40 to 115 kPa.
    """
    pressures, boiling_points, liquids, vapours = _table(SATURATION_TABLE)
    if not pressures[0] <= pressure <= pressures[-1]:
        raise ValueError(f"pressure must lie between {pressures[0]:g} and {pressures[-1]:g} Pa, got {pressure:g} Pa.")
    boiling_point, boiling_liquid, vapour = (
        float(np.interp(pressure, pressures, column)) for column in (boiling_points, liquids, vapours)
    )
    temperatures, below, rise, _ = _table(LIQUID_TABLE)
    nodes = np.linspace(0.0, boiling_point, _LIQUID_NODES)
    enthalpies = np.interp(nodes, temperatures, below + rise * (pressure - LIQUID_PRESSURE))
    enthalpies[-1] = boiling_liquid
    return Steam(
        pressure=pressure,
        boiling_point=boiling_point,
        boiling_liquid=boiling_liquid,
        vapour=vapour,
        nodes=nodes,
        enthalpies=enthalpies,
        slopes=np.diff(enthalpies) / np.diff(nodes),
    )


def water_density(temperature: float) -> float:
    """Of water [kg/L] at a temperature [degC], at 115 kPa: at one atmosphere it is less by 6e-6 of it."""
    temperatures, _, _, density = _table(LIQUID_TABLE)
    return float(np.interp(temperature, temperatures, density)) / 1000.0
