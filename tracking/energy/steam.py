"""Water and steam at one pressure, by the industrial formulation of IAPWS (R7-97); pressure from the altitude.

The formulation is CoolProp's (IF97), imported where it is used, as the import takes seconds.
"""

from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from tracking.boiler import ZERO_CELSIUS

ATMOSPHERE = 101325.0
"""Pressure of the standard atmosphere at sea level [Pa]: ISO 2533:1975."""

_LAPSE = 0.0065  # [K/m], ISO 2533:1975
_SEA_LEVEL_TEMPERATURE = 288.15  # [K], ISO 2533:1975
_EXPONENT = 5.25588
"""g / (R lapse) of ISO 2533:1975."""

_LIQUID_NODES = 401
"""Nodes of the liquid's enthalpy between 0 degC and boiling: a straight line between them is true to 1 J/kg."""

FLUID = "IF97::Water"


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
    """Water and steam at a pressure [Pa]."""
    from CoolProp.CoolProp import PropsSI

    def of_boiling(what: str, quality: float) -> float:
        return float(PropsSI(what, "P", pressure, "Q", quality, FLUID))

    boiling_point = of_boiling("T", 0.0) - ZERO_CELSIUS
    nodes = np.linspace(0.0, boiling_point, _LIQUID_NODES)
    below = [float(PropsSI("H", "P", pressure, "T", t + ZERO_CELSIUS, FLUID)) for t in nodes[:-1]]
    boiling_liquid = of_boiling("H", 0.0)
    enthalpies = np.array([*below, boiling_liquid])
    return Steam(
        pressure=pressure,
        boiling_point=boiling_point,
        boiling_liquid=boiling_liquid,
        vapour=of_boiling("H", 1.0),
        nodes=nodes,
        enthalpies=enthalpies,
        slopes=np.diff(enthalpies) / np.diff(nodes),
    )


def water_density(temperature: float) -> float:
    """Of water [kg/L] at a temperature [degC] and the pressure of the standard atmosphere."""
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI("D", "P", ATMOSPHERE, "T", temperature + ZERO_CELSIUS, FLUID)) / 1000.0
