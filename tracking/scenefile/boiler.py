"""The table [boiler]."""

import math
from collections.abc import Iterator
from fractions import Fraction
from typing import Annotated

from raytrace.scene import Tubes
from tracking.boiler import Boiler, Feeding, HeatLoss, absorber_surface
from tracking.scenefile.forms import Number, Quantity, YesNo
from tracking.scenefile.problems import Problem, listed
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import Kind

TEMPERATURE = Kind(name="temperature", base="degC", units={"degC": Fraction(1)}, example="20 degC")
VOLUME = Kind(name="volume", base="L", units={"L": Fraction(1), "mL": Fraction(1, 1000)}, example="1.5 L")
FLOW = Kind(
    name="flow", base="L/h", units={"L/h": Fraction(1), "mL/h": Fraction(1, 1000), "mL/min": Fraction(60, 1000)},
    example="0.4 L/h",
)
CONDUCTANCE = Kind(name="conductance", base="W/K", units={"W/K": Fraction(1)}, example="0.2 W/K")
HEAT_CAPACITY = Kind(
    name="heat capacity", base="J/K", units={"J/K": Fraction(1), "kJ/K": Fraction(1000)}, example="700 J/K"
)
LOSS_COEFFICIENT = Kind(
    name="heat-loss coefficient", base="W/m^2/K", units={"W/m^2/K": Fraction(1)}, example="0.9 W/m^2/K"
)
LOSS_GROWTH = Kind(
    name="growth of a heat-loss coefficient", base="W/m^2/K^2", units={"W/m^2/K^2": Fraction(1)},
    example="0.005 W/m^2/K^2",
)
CONTENT = Kind(name="content", base="mg/L", units={"mg/L": Fraction(1), "g/L": Fraction(1000)}, example="300 mg/L")
SPEED = Kind(name="speed", base="m/s", units={"m/s": Fraction(1), "km/h": Fraction(10, 36)}, example="3 m/s")

EVACUATED_EMITTANCE = 0.065
"""Of a selective absorber at 80 degC: the upper limit in a supplier's data for all-glass tubes; seen in the source."""

EVACUATED_CONDUCTION = 0.05
"""Of the ends and supports of an evacuated tube [W/K]. Common practice, no source."""

STILL_AIR_LOSS, WIND_LOSS = 5.7, 3.8
"""Heat loss of a bare surface, 5.7 + 3.8 v [W/(m2 K)] with v in [m/s]: W. H. McAdams, Heat Transmission, 3rd ed. 1954,
as in J. A. Duffie and W. A. Beckman, Solar Engineering of Thermal Processes. Value from memory, to be confirmed."""

GLASS_WALL, GLASS_DENSITY, GLASS_HEAT = 1.6e-3, 2230.0, 830.0
"""Wall [m], density [kg/m3] and specific heat [J/(kg K)] of a borosilicate absorber tube. Values from memory, to be
confirmed; the wall is common practice, no source."""

METAL_WALL, METAL_DENSITY, METAL_HEAT = 1.5e-3, 7900.0, 500.0
"""The same of a bare tube of stainless steel. Values from memory, to be confirmed; the wall is common practice."""

WATER_SHARE = 0.5
"""Share of the inside of a tube that holds water where the scene does not tell. Common practice, no source."""


class HeatLossTable(Table):
    """Coefficients of the collector test standards, per m2 of the absorber's whole surface."""

    a1: Annotated[float, Quantity(LOSS_COEFFICIENT, "0 W/m^2/K", "100 W/m^2/K")]
    a2: Annotated[float, Quantity(LOSS_GROWTH, "0 W/m^2/K^2", "1 W/m^2/K^2")] = default("0 W/m^2/K^2")


class BoilerTable(Table):
    """Feed, heat losses, water and condenser."""

    feed_temperature: Annotated[float, Quantity(TEMPERATURE, "1 degC", "80 degC")] = default("20 degC")
    feed_rate: Annotated[float | None, Quantity(FLOW, "0.001 L/h", "100 L/h")] = None
    fill: Annotated[float | None, Quantity(VOLUME, "0.01 L", "500 L")] = None
    heat_loss: HeatLossTable | None = None
    emittance: Annotated[float | None, Number(0.0, 1.0)] = None
    conduction: Annotated[float | None, Quantity(CONDUCTANCE, "0 W/K", "100 W/K")] = None
    heat_capacity: Annotated[float | None, Quantity(HEAT_CAPACITY, "10 J/K", "1000 kJ/K")] = None
    water_volume: Annotated[float | None, Quantity(VOLUME, "0.01 L", "500 L")] = None
    steam_line_loss: Annotated[float, Quantity(CONDUCTANCE, "0 W/K", "100 W/K")] = default("0.2 W/K")
    condenser_conductance: Annotated[float | None, Quantity(CONDUCTANCE, "0.1 W/K", "10000 W/K")] = None
    dissolved_solids: Annotated[float, Quantity(CONTENT, "0 mg/L", "100 g/L")] = default("300 mg/L")
    solids_limit: Annotated[float, Quantity(CONTENT, "1 mg/L", "350 g/L")] = default("3 g/L")
    air_temperature: Annotated[float, Quantity(TEMPERATURE, "-40 degC", "60 degC")] = default("20 degC")
    wind_speed: Annotated[float, Quantity(SPEED, "0 m/s", "30 m/s")] = default("2 m/s")
    enclosure: Annotated[bool, YesNo()] = default(False)

    def _default_text(self, key: str) -> str | None:
        by_coefficients = self.heat_loss is not None
        texts = {
            "feed_rate": None if self.fill else "as much as boils away: the level is held",
            "fill": None,
            "heat_loss": None,
            "emittance": None if by_coefficients else (
                f"{EVACUATED_EMITTANCE:g} in an envelope; bare tubes lose {STILL_AIR_LOSS:g} + {WIND_LOSS:g} x wind "
                f"speed in m/s, W/m^2/K"
            ),
            "conduction": None if by_coefficients else f'"{EVACUATED_CONDUCTION:g} W/K" in an envelope, else "0 W/K"',
            "heat_capacity": "that of the absorber's wall: glass in an envelope, steel if bare",
            "water_volume": f"{WATER_SHARE:g} of the inside of the absorber",
            "condenser_conductance": "large enough at all times",
        }
        return texts.get(key)

    def _problems(self) -> Iterator[Problem]:
        if self.feed_rate is not None and self.fill is not None:
            yield Problem(
                key="fill",
                problem="this key and feed_rate exclude each other",
                allowed="feed_rate, fill, or none of the two: then the level is held",
            )
        given = [key for key in ("emittance", "conduction") if self.given(key)]
        if self.heat_loss is not None and given:
            yield Problem(
                key="heat_loss",
                problem=f"this key and {listed(given)} speak of the same thing",
                allowed="either heat_loss, or emittance and conduction",
            )
        if self.fill is not None and self.water_volume is not None and self.fill > self.water_volume:
            yield Problem(
                key="fill",
                problem=f"{self.fill:g} L are more than the tube's water_volume of {self.water_volume:g} L",
                allowed="at most water_volume",
            )
        if self.solids_limit <= self.dissolved_solids:
            yield Problem(
                key="solids_limit",
                problem="the feed itself holds as much",
                allowed="more than dissolved_solids",
            )

    def _notes(self) -> Iterator[str]:
        if self.heat_loss is not None or self.emittance is not None:
            for key in ("wind_speed", "enclosure"):
                if self.given(key):
                    yield f"boiler.{key} is without effect: the heat loss of the tubes is given."

    def boiler(self, tubes: Tubes) -> Boiler:
        """The boiler of these keys and of the row's tubes."""
        volume = self.water_volume
        if volume is None:
            inside = 250.0 * math.pi * tubes.absorber_diameter**2 * tubes.length  # [L]: a quarter of pi d^2 L
            volume = max(WATER_SHARE * inside, self.fill or 0.0)
        feeding: Feeding = "rate" if self.feed_rate is not None else "fill" if self.fill is not None else "level"
        return Boiler(
            feed_temperature=self.feed_temperature,
            air_temperature=self.air_temperature,
            feeding=feeding,
            feed_rate=self.feed_rate or 0.0,
            fill=volume if self.fill is None else self.fill,
            water_volume=volume,
            loss=self._loss(tubes),
            heat_capacity=self._capacity(tubes) if self.heat_capacity is None else self.heat_capacity,
            steam_line_loss=self.steam_line_loss,
            condenser_conductance=self.condenser_conductance,
            dissolved_solids=self.dissolved_solids,
            solids_limit=self.solids_limit,
        )

    def _loss(self, tubes: Tubes) -> HeatLoss:
        area = absorber_surface(tubes.absorber_diameter, tubes.length)
        if self.heat_loss is not None:
            return HeatLoss(area=area, a1=self.heat_loss.a1, a2=self.heat_loss.a2)
        evacuated = tubes.envelope is not None
        conduction = self.conduction
        if conduction is None:
            conduction = EVACUATED_CONDUCTION if evacuated else 0.0
        # Wind reaches bare tubes only, and none does behind the glass of an enclosure.
        wind = 0.0 if self.enclosure else self.wind_speed
        if self.emittance is not None:
            return HeatLoss(area=area, emittance=self.emittance, conduction=conduction)
        if evacuated:
            return HeatLoss(area=area, emittance=EVACUATED_EMITTANCE, conduction=conduction)
        return HeatLoss(area=area, a1=STILL_AIR_LOSS + WIND_LOSS * wind, conduction=conduction)

    @staticmethod
    def _capacity(tubes: Tubes) -> float:
        surface = absorber_surface(tubes.absorber_diameter, tubes.length)
        if tubes.envelope is not None:
            return surface * GLASS_WALL * GLASS_DENSITY * GLASS_HEAT
        return surface * METAL_WALL * METAL_DENSITY * METAL_HEAT
