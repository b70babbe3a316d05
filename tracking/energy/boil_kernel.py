"""One tube through a span of constant light, compiled: the inner loop of `boiler.TubeRow.advance_steps`."""

import math
from typing import NamedTuple

from raytrace.arrays import Floats
from raytrace.kernels.jit import entry, kernel

LONGEST_SUBSTEP = 900.0
"""[s]; the loss is taken at the temperature halfway, so that what is left is of second order in it."""

LARGEST_CHANGE = 0.2
"""Share of a tube's thermal time constant that one step of the integration may take."""

MOST_SUBSTEPS = 2000

DRY = 1e-9
"""Water below which a tube is dry [kg]: a microgram, rounding of the sums."""

HOT = 400.0
"""Temperature at which the steps for a dry tube are chosen [degC]: hotter than tubes of this kind get."""

DRIVEN_OUT_BY_HEAT = 1.0
"""Absorbed power from which a constant feed is open [W]: any light on the tube."""

NEWTON_STEPS = 3
"""Two find the straight piece of the liquid's enthalpy, one more lies on it."""

TEMPERATURE, WATER, SOLIDS, DRY_AFTER = range(4)
"""Columns of `state`: [degC], [kg], [kg], and the time into the span at which the tube ran dry [s], else infinity."""

LOST, LINE, STEAM, FEED, SPILT, SPILT_ENERGY = range(6)
"""Columns of `flows`: [J], [J], [kg], [kg], [kg], [J]."""


class TubeNumbers(NamedTuple):
    """What one tube is made of, in plain numbers: see `tracking.boiler.Boiler` and `tracking.energy.steam.Steam`.

    `held_level` is 1.0 where steam makes room for feed at once; `feed` [kg/s] flows while light is on the tube, 0
    without one; `salt` [kg/kg] is dissolved in the feed; `full` [kg] is what the tube holds; `spills` is 1.0 where
    more than that runs over; `node_width` [K] lies between two of `enthalpies` (n,) [J/kg], `slopes` (n - 1,) are
    [J/(kg K)].
    """

    area: float
    a1: float
    a2: float
    radiation: float
    conduction: float
    heat_capacity: float
    line_loss: float
    held_level: float
    feed: float
    feed_enthalpy: float
    salt: float
    full: float
    spills: float
    boiling_point: float
    boiling_liquid: float
    vapour: float
    zero_celsius: float
    node_width: float
    enthalpies: Floats
    slopes: Floats


@kernel
def loss(tube: TubeNumbers, temperature: float, air: float) -> float:
    """Heat lost [W]: `HeatLoss.watts` for one number."""
    difference = temperature - air
    hot, cold = temperature + tube.zero_celsius, air + tube.zero_celsius
    flux = (tube.a1 + tube.a2 * abs(difference)) * difference + tube.radiation * (hot**4 - cold**4)
    return tube.area * flux + tube.conduction * difference


@kernel
def loss_slope(tube: TubeNumbers, temperature: float, air: float) -> float:
    """Growth of the loss with the temperature [W/K]: `HeatLoss.slope` for one number."""
    third = 4.0 * tube.radiation * (temperature + tube.zero_celsius) ** 3
    return tube.area * (tube.a1 + 2.0 * tube.a2 * abs(temperature - air) + third) + tube.conduction


@kernel
def liquid(tube: TubeNumbers, temperature: float) -> float:
    """Enthalpy of water [J/kg] up to boiling: `Steam.liquid` for one number."""
    if temperature >= tube.boiling_point:
        return tube.boiling_liquid
    if temperature <= 0.0:
        return float(tube.enthalpies[0] + temperature * tube.slopes[0])
    piece = min(int(temperature / tube.node_width), len(tube.slopes) - 1)
    return float(tube.enthalpies[piece] + tube.slopes[piece] * (temperature - piece * tube.node_width))


@kernel
def temperature_of(tube: TubeNumbers, energy: float, water: float) -> float:
    """Temperature [degC] of a tube with water that holds an energy: `Steam.temperature_of` for one number."""
    temperature = energy / (tube.heat_capacity + water * tube.boiling_liquid / tube.boiling_point)
    for _ in range(NEWTON_STEPS):
        piece = int(min(max(temperature / tube.node_width, 0.0), len(tube.slopes) - 1.0))
        slope = tube.slopes[piece]
        held = tube.enthalpies[piece] + slope * (temperature - piece * tube.node_width)
        temperature += (energy - tube.heat_capacity * temperature - water * held) / (tube.heat_capacity + water * slope)
    return float(temperature)


@kernel
def substeps(tube: TubeNumbers, temperature: float, water: float, seconds: float, absorbed: float, air: float) -> int:
    """Number of steps, each short against the tube's time constant, a dry one at its hottest."""
    capacity = tube.heat_capacity + water * tube.boiling_liquid / tube.boiling_point
    hottest = max(temperature, HOT) if water <= DRY and absorbed > 0.0 else temperature
    slope = max(loss_slope(tube, hottest, air), 1e-6)
    longest = min(LONGEST_SUBSTEP, LARGEST_CHANGE * capacity / slope)
    return int(min(float(MOST_SUBSTEPS), max(1.0, math.ceil(seconds / longest))))


@kernel
def mean_loss(tube: TubeNumbers, temperature: float, water: float, step: float, absorbed: float, air: float) -> float:
    """Loss [W] at the temperature halfway through a step; water stops at its boiling point."""
    capacity = tube.heat_capacity + water * tube.boiling_liquid / tube.boiling_point
    halfway = temperature + 0.5 * step * (absorbed - loss(tube, temperature, air)) / capacity
    if water > DRY:
        halfway = min(halfway, tube.boiling_point)
    return loss(tube, halfway, air)


@kernel
def take_step(tube: TubeNumbers, step: float, absorbed: float, air: float, state: Floats, flows: Floats) -> float:
    """One short step of one tube, `state` (4,) and `flows` (6,); share after which it ran dry, else infinity."""
    temperature, water = state[TEMPERATURE], state[WATER]
    lost = step * mean_loss(tube, temperature, water, step, absorbed, air)
    flows[LOST] += lost
    energy = tube.heat_capacity * temperature + step * absorbed - lost
    if water <= DRY:
        state[TEMPERATURE] = energy / tube.heat_capacity
        return math.inf
    energy += water * liquid(tube, temperature)
    feed = tube.feed * step if absorbed >= DRIVEN_OUT_BY_HEAT else 0.0
    energy += feed * tube.feed_enthalpy
    water += feed
    excess = max(energy - tube.heat_capacity * tube.boiling_point - water * tube.boiling_liquid, 0.0)
    line = min(excess, step * tube.line_loss * max(0.0, tube.boiling_point - air))
    if tube.held_level > 0.0:  # each kilogram of steam makes room for one of feed, which is warmed up at once
        wished = made = (excess - line) / (tube.vapour - tube.feed_enthalpy)
        feed += made
        energy += made * tube.feed_enthalpy
    else:
        wished = (excess - line) / (tube.vapour - tube.boiling_liquid)
        made = min(wished, water)
        water -= made
    energy -= line + made * tube.vapour
    flows[LINE] += line
    flows[STEAM] += made
    flows[FEED] += feed
    state[SOLIDS] += feed * tube.salt
    if water <= DRY:
        state[WATER], state[TEMPERATURE] = 0.0, energy / tube.heat_capacity
        return float(min(1.0, made / max(wished, DRY)))
    state[TEMPERATURE] = temperature_of(tube, energy, water)
    spilt = max(water - tube.full, 0.0) * tube.spills
    flows[SPILT] += spilt
    flows[SPILT_ENERGY] += spilt * liquid(tube, state[TEMPERATURE])
    state[SOLIDS] *= 1.0 - spilt / water
    state[WATER] = water - spilt
    return math.inf


@entry
def fill_steps(
    tube: TubeNumbers, seconds: float, absorbed: Floats, air: Floats, state: Floats, flows: Floats, after: Floats
) -> None:
    """All tubes through n steps [s] of absorbed power (n, tubes) [W] in air (n,) [degC].

    `state` (tubes, 4) moves on; `flows` (n, tubes, 6) is added to; `after` (n, tubes, 4) is the state behind each step.
    Tubes know nothing of each other: a tube's numbers are the same in any row.
    """
    for m in range(absorbed.shape[0]):
        for n in range(absorbed.shape[1]):
            light = absorbed[m, n]
            count = substeps(tube, state[n, TEMPERATURE], state[n, WATER], seconds, light, air[m])
            step = seconds / count
            state[n, DRY_AFTER] = math.inf
            for k in range(count):
                share = take_step(tube, step, light, air[m], state[n], flows[m, n])
                if share < math.inf:
                    state[n, DRY_AFTER] = step * (k + share)
            after[m, n] = state[n]
