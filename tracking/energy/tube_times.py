"""What befalls a tube: warming up, stagnating dry, cooling until it may be filled, salt; and the condenser's share."""

import datetime as dt
import math

import numpy as np

from raytrace.arrays import Floats
from tracking.boiler import Boiler
from tracking.energy.steam import Steam, water_density

SAFE_SHOCK = 40.0
"""Difference between a dry tube and the feed up to which it is filled [K]. Common practice, no source; far below what
thin borosilicate glass is said to stand."""

FILL_MARGIN = dt.timedelta(minutes=10)
"""Time between the end of filling and the first light on the tubes. Common practice, no source."""


def share_not_condensed(boiler: Boiler, steam: Steam, steam_rate: Floats, air: Floats) -> Floats:
    """Share of the row's steam (n,) that the condenser misses: it carries off conductance x (boiling point - air)."""
    if boiler.condenser_conductance is None:
        return np.zeros_like(air)
    carried = boiler.condenser_conductance * np.maximum(steam.boiling_point - air, 0.0)
    duty = steam_rate * steam.latent_heat
    return np.where(duty > carried, 1.0 - carried / np.maximum(duty, carried + 1e-12), 0.0)


def litres_to_drain(boiler: Boiler) -> float:
    """Distillate of one full tube, its level held, until its water is as concentrated as the limit [L]."""
    if boiler.dissolved_solids <= 0.0:
        return math.inf
    growth = boiler.solids_limit / boiler.dissolved_solids - 1.0
    if boiler.feeding == "level":
        return boiler.water_volume * growth
    return boiler.fill * (1.0 - boiler.dissolved_solids / boiler.solids_limit)


def stagnation_temperature(boiler: Boiler, absorbed: float, air: float) -> float:
    """Temperature [degC] at which a dry tube loses all that it absorbs [W] to the air [degC]; by halving, to 1e-6 K."""
    low, high = air, air + 10.0
    while float(boiler.loss.watts(np.array([high]), air)[0]) < absorbed and high < HOTTEST:
        high += 100.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if float(boiler.loss.watts(np.array([middle]), air)[0]) < absorbed:
            low = middle
        else:
            high = middle
    return high


HOTTEST = 3000.0
"""End of the search for a stagnation temperature [degC]: no tube of any kind gets there."""


def cool_down_minutes(boiler: Boiler, hot: float, air: float) -> float:
    """Time [min] in which a dry tube in the dark cools from `hot` to what cold feed does not hurt [degC].

    Infinity where the air itself is hotter than that.
    """
    target = boiler.feed_temperature + SAFE_SHOCK
    if hot <= target:
        return 0.0
    if air >= target or float(boiler.loss.watts(np.array([target]), air)[0]) <= 0.0:
        return math.inf
    temperatures = np.linspace(target, hot, 400)
    return float(np.trapezoid(boiler.heat_capacity / boiler.loss.watts(temperatures, air), temperatures)) / 60.0


def warm_up_minutes(boiler: Boiler, steam: Steam, absorbed: float, air: float) -> float | None:
    """Time [min] from feed temperature to boiling, full of water; None if it never boils."""
    density = water_density(boiler.feed_temperature)
    water = (boiler.fill if boiler.feeding == "fill" else boiler.water_volume) * density
    temperatures = np.linspace(boiler.feed_temperature, steam.boiling_point, 200)
    left = absorbed - boiler.loss.watts(temperatures, air)
    if left.min() <= 0.0:
        return None
    energies = boiler.heat_capacity * temperatures + water * steam.liquid(temperatures)
    return float(np.sum(np.diff(energies) / (0.5 * (left[1:] + left[:-1])))) / 60.0
