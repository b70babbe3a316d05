"""Writes the tables of water and steam that the energy part reads: `python tests/reference/steam_data.py`.

The values are those of IAPWS R7-97(2012), as the library CoolProp computes them. They are kept as tables because that
library takes three seconds to load, and a day with its litres is asked for many times.
"""

from pathlib import Path

import numpy as np
from CoolProp.CoolProp import PropsSI

from tracking.boiler import ZERO_CELSIUS
from tracking.energy.steam import FOLDER, LIQUID_PRESSURE, LIQUID_TABLE, SATURATION_TABLE

FLUID = "IF97::Water"
PRESSURES = np.geomspace(40e3, 115e3, 401)  # [Pa], wider than from 450 m below to 6000 m above the sea
TEMPERATURES = np.arange(0.0, 103.76, 0.25)  # [degC]
HIGH_PRESSURE = 1e6  # [Pa], from which the liquid's enthalpy is read to find how it rises with the pressure


def saturation() -> str:
    """Boiling point [degC], enthalpies [J/kg] of boiling water and of its steam over the pressure [Pa], as CSV."""
    lines = ["pressure_pa,boiling_point_degc,boiling_liquid_j_per_kg,vapour_j_per_kg"]
    for pressure in PRESSURES.tolist():
        boiling, liquid, vapour = (
            PropsSI(what, "P", pressure, "Q", quality, FLUID) for what, quality in (("T", 0), ("H", 0), ("H", 1))
        )
        lines.append(f"{pressure:.3f},{boiling - ZERO_CELSIUS:.6f},{liquid:.3f},{vapour:.3f}")
    return "\n".join(lines) + "\n"


def liquid() -> str:
    """Enthalpy [J/kg], its rise with the pressure [J/(kg Pa)] and density [kg/m3] over the temperature, as CSV."""
    lines = ["temperature_degc,enthalpy_j_per_kg,rise_j_per_kg_pa,density_kg_per_m3"]
    for celsius in TEMPERATURES.tolist():
        kelvin = celsius + ZERO_CELSIUS
        low, high = (PropsSI("H", "P", pressure, "T", kelvin, FLUID) for pressure in (LIQUID_PRESSURE, HIGH_PRESSURE))
        density = PropsSI("D", "P", LIQUID_PRESSURE, "T", kelvin, FLUID)
        rise = (high - low) / (HIGH_PRESSURE - LIQUID_PRESSURE)
        lines.append(f"{celsius:.2f},{low:.3f},{rise:.9f},{density:.5f}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    for name, text in ((SATURATION_TABLE, saturation()), (LIQUID_TABLE, liquid())):
        Path(str(FOLDER / name)).write_text(text, encoding="utf-8")
