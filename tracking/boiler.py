"""What a scene says about the boiler: feed, heat losses, water, condenser. Plain data, no steam and no dates."""

import math
from dataclasses import dataclass
from typing import Literal

from raytrace.arrays import Floats

STEFAN_BOLTZMANN = 5.670374419e-8
"""[W/(m2 K4)], exact to the digits shown in the SI of 2019 (CODATA 2018)."""

ZERO_CELSIUS = 273.15
"""[K], exact by definition."""

Feeding = Literal["level", "rate", "fill"]


@dataclass(frozen=True, kw_only=True, slots=True)
class HeatLoss:
    """Heat that one tube loses to the air.

    `area` is the whole surface of its absorber [m2], `a1` [W/(m2 K)] and `a2` [W/(m2 K2)] are taken per m2 of it,
    as is the radiation by `emittance`; `conduction` [W/K] is that of ends and supports of one tube.
    """

    area: float
    a1: float = 0.0
    a2: float = 0.0
    emittance: float = 0.0
    conduction: float = 0.0

    def watts(self, temperature: Floats, air: float) -> Floats:
        """Heat lost by tubes at temperatures (n,) to air [degC], (n,) [W]; below 0 where the air is the warmer.

        Notes
        -----
        a1 dT + a2 dT^2 as in the collector test standards (ISO 9806); radiation as between a grey surface and
        surroundings at the temperature of the air, so neither the glass's own warmth nor its reflection is counted.
        """
        difference = temperature - air
        fourth = (temperature + ZERO_CELSIUS) ** 4 - (air + ZERO_CELSIUS) ** 4
        flux = (self.a1 + self.a2 * abs(difference)) * difference + self.emittance * STEFAN_BOLTZMANN * fourth
        return self.area * flux + self.conduction * difference

    def slope(self, temperature: Floats, air: float) -> Floats:
        """d(watts)/d(temperature) (n,) [W/K]."""
        third = 4.0 * self.emittance * STEFAN_BOLTZMANN * (temperature + ZERO_CELSIUS) ** 3
        return self.area * (self.a1 + 2.0 * self.a2 * abs(temperature - air) + third) + self.conduction


@dataclass(frozen=True, kw_only=True, slots=True)
class Boiler:
    """The boiler of a scene; volumes and rates are those of one tube, all tubes are alike.

    Attributes
    ----------
    feed_temperature, air_temperature
        [degC]; the second holds where no weather file tells the temperature of the air.
    feeding
        "level": a valve or a float keeps the water at `water_volume`; "rate": `feed_rate` flows while light is on the
        tubes; "fill": `fill` is there in the morning and nothing follows.
    feed_rate, fill, water_volume
        [L/h], [L], [L].
    loss
        Heat loss of one tube.
    heat_capacity
        Of one empty tube [J/K].
    steam_line_loss
        Of one tube's steam line while steam flows, to the air [W/K]; what condenses there runs back into the tube.
    condenser_conductance
        Of the one condenser of the whole row, to the air [W/K]; None: it is large enough at all times.
    dissolved_solids, solids_limit
        In the feed, and up to which the water in a tube may be concentrated [mg/L].
    """

    feed_temperature: float
    air_temperature: float
    feeding: Feeding
    feed_rate: float
    fill: float
    water_volume: float
    loss: HeatLoss
    heat_capacity: float
    steam_line_loss: float
    condenser_conductance: float | None
    dissolved_solids: float
    solids_limit: float


def absorber_surface(diameter: float, length: float) -> float:
    """Surface of a tube's absorber, its ends left out [m2]; lengths in [m]."""
    return math.pi * diameter * length
