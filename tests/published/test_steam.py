"""Steam and pressure against published tables."""

import pytest
from published_table import Published, Source

from tracking.boiler import ZERO_CELSIUS
from tracking.energy.steam import (
    ATMOSPHERE,
    FOLDER,
    LIQUID_TABLE,
    SATURATION_TABLE,
    pressure_at,
    steam_at,
    water_density,
)

KILO = 1e3
FLUID = "IF97::Water"
TABLE_36 = Source(text="IAPWS R7-97(2012), table 36", basis="memory")
TABLE_35 = Source(text="IAPWS R7-97(2012), table 35", basis="memory")
TABLE_5 = Source(text="IAPWS R7-97(2012), table 5", basis="memory")
TABLE_15 = Source(text="IAPWS R7-97(2012), table 15", basis="memory")
HANDBOOK = Source(text="latent heat of water at 1 atm, handbooks", basis="memory")
SECOND_LIBRARY = Source(text="IAPWS R7-97(2012), computed by a second library", basis="computed")
ATMOSPHERES = Source(text="ISO 2533:1975, standard atmosphere, formula", basis="computed")
BOILING = Source(text="ISO 2533:1975 and IAPWS R7-97(2012), computed by a second library", basis="computed")
DIGITS = "all digits of the release, once more computed in other units"


# IAPWS R7-97(2012), Table 36: saturation temperature [K] at a pressure [Pa]. Digits from memory, to be confirmed; two
# general libraries reproduce all of them.
@pytest.mark.parametrize(("pressure", "kelvin"), [(1e5, 372.755919), (1e6, 453.035632), (1e7, 584.149488)])
def test_boiling_point_of_the_release(pressure: float, kelvin: float, published: Published) -> None:
    from CoolProp.CoolProp import PropsSI

    found = PropsSI("T", "P", pressure, "Q", 0, FLUID)
    published(
        TABLE_36, f"saturation temperature at {pressure / 1e6:g} MPa [K]", found, kelvin, relative=1e-8, why=DIGITS
    )


# The same, Table 35: pressure of saturation [Pa] at a temperature [K].
@pytest.mark.parametrize(("kelvin", "pressure"), [(300, 3536.58941), (500, 2.63889776e6), (600, 12.3443146e6)])
def test_saturation_pressure_of_the_release(kelvin: float, pressure: float, published: Published) -> None:
    from CoolProp.CoolProp import PropsSI

    found = PropsSI("P", "T", kelvin, "Q", 0, FLUID)
    what = f"saturation pressure at {kelvin:g} K [MPa]"
    published(TABLE_35, what, found / 1e6, pressure / 1e6, relative=1e-8, why=DIGITS)


# The same, Tables 5 (liquid) and 15 (vapour): enthalpy [kJ/kg] at temperature [K] and pressure [MPa].
@pytest.mark.parametrize(
    ("kelvin", "megapascal", "enthalpy"),
    [
        (300, 3.0, 115.331273),
        (300, 80.0, 184.142828),
        (500, 3.0, 975.542239),
        (300, 0.0035, 2549.91145),
        (700, 0.0035, 3335.68375),
        (700, 30.0, 2631.49474),
    ],
)
def test_enthalpy_of_the_release(kelvin: float, megapascal: float, enthalpy: float, published: Published) -> None:
    from CoolProp.CoolProp import PropsSI

    found = PropsSI("H", "T", kelvin, "P", megapascal * 1e6, FLUID)
    source = TABLE_5 if megapascal >= 3.0 and kelvin <= 500 else TABLE_15
    what = f"enthalpy at {kelvin} K and {megapascal:g} MPa [kJ/kg]"
    published(source, what, found / KILO, enthalpy, relative=1e-8, why=DIGITS)


# Computed from the IAPWS formulation by a second library; the handbooks' 2256.5 kJ/kg agrees within 0.1.
def test_water_at_one_atmosphere(published: Published) -> None:
    steam = steam_at(ATMOSPHERE)
    boiling_liquid, vapour = steam.boiling_liquid / KILO, steam.vapour / KILO
    why = "all digits given"
    published(SECOND_LIBRARY, "boiling point at 1 atm [degC]", steam.boiling_point, 99.97430, within=1e-5, why=why)
    published(SECOND_LIBRARY, "boiling liquid at 1 atm [kJ/kg]", boiling_liquid, 418.9907, within=1e-4, why=why)
    published(SECOND_LIBRARY, "vapour at 1 atm [kJ/kg]", vapour, 2675.5315, within=1e-4, why=why)
    latent = steam.latent_heat / KILO
    why = "one decimal printed, two formulations of water in use"
    published(HANDBOOK, "latent heat at 1 atm [kJ/kg]", latent, 2256.5, within=0.1, why=why)


# From water of 20 degC to steam at 1 atm: 2591.52 kJ/kg or 0.71987 kWh/kg (computed from the same formulation by a
# second library).
def test_heat_for_a_kilogram(published: Published) -> None:
    steam = steam_at(ATMOSPHERE)
    import numpy as np

    heat = steam.vapour - steam.liquid(np.array([20.0]))[0]
    what = "from water of 20 degC to steam at 1 atm [kJ/kg]"
    why = "ours runs straight between nodes of the liquid's enthalpy"
    published(SECOND_LIBRARY, what, heat / KILO, 2591.52, relative=5e-4, why=why)
    assert heat / 3.6e6 == pytest.approx(0.71987, rel=5e-4)


# ISO 2533:1975, standard atmosphere, by its formula with geopotential altitude; boiling points by the IAPWS
# formulation, computed by a second library. Tolerances: 1 Pa, 0.001 K, 10 J/kg of the printed digits.
@pytest.mark.parametrize(
    ("altitude", "pressure", "boiling", "latent"),
    [
        (0, 101325.0, 99.9743, 2256.54),
        (500, 95460.8, 98.3125, 2260.92),
        (1000, 89874.6, 96.6488, 2265.29),
        (2000, 79495.2, 93.3151, 2273.98),
        (3000, 70108.5, 89.9723, 2282.63),
        (5000, 54019.9, 83.2549, 2299.82),
    ],
)
def test_altitude(altitude: float, pressure: float, boiling: float, latent: float, published: Published) -> None:
    at = f"at {altitude} m"
    why = "the exponent has six digits"
    published(ATMOSPHERES, f"pressure {at} [Pa]", pressure_at(altitude), pressure, within=1.0, why=why)
    steam = steam_at(pressure_at(altitude))
    why = "1 Pa of the pressure moves it by 0.0005 K"
    published(BOILING, f"boiling point {at} [degC]", steam.boiling_point, boiling, within=1e-3, why=why)
    assert steam.latent_heat / KILO == pytest.approx(latent, abs=0.01)


# Two nodes and what lies between: the straight pieces against the formulation itself, 1 J/kg of 80 000.
def test_liquid_between_the_nodes() -> None:
    import numpy as np
    from CoolProp.CoolProp import PropsSI

    steam = steam_at(ATMOSPHERE)
    for celsius in (0.1, 20.0, 55.37, 99.9):
        exact = PropsSI("H", "T", celsius + ZERO_CELSIUS, "P", ATMOSPHERE, FLUID)
        assert steam.liquid(np.array([celsius]))[0] == pytest.approx(exact, abs=1.0)


def test_the_tables_are_those_that_the_library_computes() -> None:
    from reference import steam_data

    for name, text in ((SATURATION_TABLE, steam_data.saturation()), (LIQUID_TABLE, steam_data.liquid())):
        assert (FOLDER / name).read_text(encoding="utf-8") == text


@pytest.mark.parametrize("pressure", [47.3e3, 66.66e3, 101.3e3, 106.8e3])
def test_between_the_nodes_of_pressure(pressure: float) -> None:
    import numpy as np
    from CoolProp.CoolProp import PropsSI

    steam = steam_at(pressure)
    assert steam.boiling_point + ZERO_CELSIUS == pytest.approx(PropsSI("T", "P", pressure, "Q", 0, FLUID), abs=1e-4)
    assert steam.boiling_liquid == pytest.approx(PropsSI("H", "P", pressure, "Q", 0, FLUID), abs=1.0)
    assert steam.vapour == pytest.approx(PropsSI("H", "P", pressure, "Q", 1, FLUID), abs=1.0)
    for celsius in (0.0, 31.7, steam.boiling_point - 0.01):
        exact = PropsSI("H", "T", celsius + ZERO_CELSIUS, "P", pressure, FLUID)
        assert steam.liquid(np.array([celsius]))[0] == pytest.approx(exact, abs=1.0)


@pytest.mark.parametrize("celsius", [3.98, 20.0, 71.3])
def test_density_of_water(celsius: float) -> None:
    from CoolProp.CoolProp import PropsSI

    exact = PropsSI("D", "T", celsius + ZERO_CELSIUS, "P", ATMOSPHERE, FLUID) / KILO
    assert water_density(celsius) == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize("pressure", [39e3, 116e3])
def test_a_pressure_of_no_place_is_refused(pressure: float) -> None:
    with pytest.raises(ValueError, match="between 40000 and 115000 Pa"):
        steam_at(pressure)
