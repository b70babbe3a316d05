"""One tube through a span of constant light, step by step in plain Python: the twin of the boiler's compiled loop.

It shares no code with it: enthalpies come from `numpy.interp`, temperatures from halving.
"""

import numpy as np

from tracking.boiler import Boiler
from tracking.energy.steam import Steam, water_density


class PlainTube:
    """Temperature [degC], water and salt [kg] of one tube, and sums of what passed [J] and [kg]."""

    def __init__(self, boiler: Boiler, steam: Steam, *, temperature: float, water: float, salt: float) -> None:
        self.boiler, self.steam = boiler, steam
        self.temperature, self.water, self.salt = temperature, water, salt
        self.lost = self.made = self.fed = self.line = self.spilt = 0.0

    def enthalpy(self, temperature: float) -> float:
        """Of water [J/kg]; as a liquid below 0 degC."""
        below = min(temperature, 0.0) * self.steam.enthalpies[1] / self.steam.nodes[1]
        return float(np.interp(temperature, self.steam.nodes, self.steam.enthalpies)) + below

    def temperature_for(self, energy: float) -> float:
        """By halving, to 1e-12 K."""
        low, high = -100.0, 200.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self.boiler.heat_capacity * middle + self.water * self.enthalpy(middle) < energy:
                low = middle
            else:
                high = middle
        return low

    def step(self, seconds: float, absorbed: float, air: float) -> None:
        """One short step, its loss taken halfway."""
        boiler, steam = self.boiler, self.steam
        boiling = steam.boiling_point
        capacity = boiler.heat_capacity + self.water * steam.boiling_liquid / boiling
        now = float(boiler.loss.watts(np.array([self.temperature]), air)[0])
        halfway = min(self.temperature + 0.5 * seconds * (absorbed - now) / capacity, boiling)
        lost = seconds * float(boiler.loss.watts(np.array([halfway]), air)[0])
        energy = boiler.heat_capacity * self.temperature + self.water * self.enthalpy(self.temperature)
        cold = self.enthalpy(boiler.feed_temperature)
        fed = 0.0
        if boiler.feeding == "rate" and absorbed >= 1.0:
            fed = boiler.feed_rate / 3600.0 * water_density(boiler.feed_temperature) * seconds
        energy += seconds * absorbed - lost + fed * cold
        water = self.water + fed
        excess = max(0.0, energy - boiler.heat_capacity * boiling - water * steam.boiling_liquid)
        line = min(excess, seconds * boiler.steam_line_loss * max(0.0, boiling - air))
        if boiler.feeding == "level":
            made = (excess - line) / (steam.vapour - cold)
            fed += made
            energy += made * cold
        else:
            made = (excess - line) / (steam.vapour - steam.boiling_liquid)
            water -= made
        energy -= line + made * steam.vapour
        self.water = water
        self.salt += fed * boiler.dissolved_solids / 1e6
        self.temperature = self.temperature_for(energy)
        room = boiler.water_volume * water_density(boiler.feed_temperature)
        spilt = max(0.0, water - room) if boiler.feeding == "rate" else 0.0
        self.salt *= 1.0 - spilt / water
        self.water -= spilt
        for name, value in (("lost", lost), ("made", made), ("fed", fed), ("line", line), ("spilt", spilt)):
            setattr(self, name, getattr(self, name) + value)
