"""The heat balance of each tube, step by step: light in; heat, steam and water out; what stays as warmth and salt.

Model and its limits: each tube is one body of one temperature, with its water; it boils at the boiling point of the
pressure at the site's altitude, whatever its salt; all light absorbed heats tube or water; nothing sputters over;
the air's temperature and the light are constant within a step. `LIMITS` says so to the reader.
"""

import math
from dataclasses import dataclass, fields

import numpy as np

from raytrace.arrays import Floats
from tracking.boiler import STEFAN_BOLTZMANN, ZERO_CELSIUS, Boiler
from tracking.energy.boil_kernel import (
    DRY,
    DRY_AFTER,
    FEED,
    LINE,
    LOST,
    SOLIDS,
    SPILT,
    SPILT_ENERGY,
    STEAM,
    TEMPERATURE,
    WATER,
    TubeNumbers,
    fill_steps,
)
from tracking.energy.steam import Steam, water_density

LIMITS = (
    (
        "Each tube is one body of one temperature, with its water. A focal line heats some places far more: a dry tube "
        "gets hotter there than is said here, and boiling can throw water over, with its salt."
    ),
    "The boiling point is that of pure water at the pressure of the altitude; salt raises it, by less than 1 K here.",
    (
        "Heat goes to air of one temperature; the cold sky, rain, dew and moving air beyond the given wind are left "
        "out. What steam loses on its line runs back into the tube as water; a cold line's own warmth is left out."
    ),
    "Ice is left out: water below 0 degC counts as liquid, and a year says when that happens.",
    "A tube that has run dry is taken out of use until the next morning, its feed shut.",
)
"""Limits of the model, in sentences for the reader."""

SECONDS_PER_HOUR = 3600.0

MILLIGRAMS = 1e6
"""[mg/kg]; the concentrations are of some grams a litre at most, so that a litre counts as a kilogram."""

Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Flows:
    """What passed through each tube in a span of time (tubes,), or in each of n spans (n, tubes): [kg] and [J].

    Energies of flows are counted from water at 0 degC. `dry_after` is the time [s] into the span at which a tube ran
    dry, infinity where it did not.
    """

    absorbed: Floats
    lost: Floats
    lost_on_line: Floats
    stored: Floats
    steam: Floats
    steam_energy: Floats
    feed: Floats
    feed_energy: Floats
    spilt: Floats
    spilt_energy: Floats
    dry_after: Floats

    def imbalance(self) -> Floats:
        """What comes in less what goes out or stays (tubes,) [J]: 0 but for rounding."""
        return (
            self.absorbed + self.feed_energy
            - self.lost - self.lost_on_line - self.steam_energy - self.spilt_energy - self.stored
        )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class States:
    """Tubes behind each step: temperature [degC], water and dissolved solids [kg], arrays (n, tubes)."""

    temperature: Floats
    water: Floats
    solids: Floats


def is_dry(water: Floats) -> Bools:
    """Where there is no water [kg] in a tube; of the same shape."""
    return np.asarray(water <= DRY)


def concentration(solids: Floats, water: Floats) -> Floats:
    """Dissolved solids in the water [mg/L], from [kg] of each; 0 where there is no water; of the same shape."""
    return np.where(is_dry(water), 0.0, MILLIGRAMS * solids / np.maximum(water, DRY))


class TubeRow:
    """The tubes of a row as time goes on: temperature (tubes,) [degC], water and dissolved solids (tubes,) [kg]."""

    def __init__(self, boiler: Boiler, steam: Steam, tubes: int) -> None:
        self.boiler, self.steam = boiler, steam
        self.feed_density = water_density(boiler.feed_temperature)
        self.feed_enthalpy = float(steam.liquid(np.array([boiler.feed_temperature]))[0])
        self.full = boiler.water_volume * self.feed_density
        self.morning_water = self.full if boiler.feeding != "fill" else boiler.fill * self.feed_density
        self.temperature = np.full(tubes, boiler.feed_temperature)
        self.water = np.full(tubes, self.morning_water)
        self.solids = self.water * boiler.dissolved_solids / MILLIGRAMS
        self._numbers = self._tube_numbers()

    @property
    def dry(self) -> Bools:
        """Which tubes hold no water (tubes,)."""
        return is_dry(self.water)

    @property
    def concentration(self) -> Floats:
        """Dissolved solids in the water of each tube (tubes,) [mg/L]; 0 where there is no water."""
        return concentration(self.solids, self.water)

    def energy(self) -> Floats:
        """Energy of each tube and its water over a dry tube at 0 degC (tubes,) [J]."""
        return self._energy_of(self.temperature, self.water)

    def _energy_of(self, temperature: Floats, water: Floats) -> Floats:
        wet = np.minimum(temperature, self.steam.boiling_point)
        return self.boiler.heat_capacity * temperature + water * self.steam.liquid(wet)

    def drain(self, which: Bools) -> Flows:
        """Let the water of some tubes out, with its solids and its heat."""
        before = self.energy()
        spilt = np.where(which, self.water, 0.0)
        spilt_energy = spilt * self.steam.liquid(np.minimum(self.temperature, self.steam.boiling_point))
        self.water = self.water - spilt
        self.solids = np.where(which, 0.0, self.solids)
        return self._flows(stored=self.energy() - before, spilt=spilt, spilt_energy=spilt_energy)

    def fill_up(self, largest_shock: float, which: Bools | None = None) -> Flows:
        """Fill every tube that is not too hot for cold water to what it holds in the morning.

        Parameters
        ----------
        largest_shock
            Largest difference of temperature between a dry tube and the feed [K]; a hotter one stays dry.
        which
            The tubes (tubes,) that are looked at; all by default.
        """
        before = self.energy()
        cool = ~self.dry | (self.temperature - self.boiler.feed_temperature <= largest_shock)
        if which is not None:
            cool &= which
        feed = np.where(cool, np.maximum(self.morning_water - self.water, 0.0), 0.0)
        self.water = self.water + feed
        self.solids = self.solids + feed * self.boiler.dissolved_solids / MILLIGRAMS
        self.temperature = np.where(
            self.dry,
            self.temperature,
            self.steam.temperature_of(
                energy=before + feed * self.feed_enthalpy, water=self.water, heat_capacity=self.boiler.heat_capacity
            ),
        )
        return self._flows(stored=self.energy() - before, feed=feed)

    def advance(self, seconds: float, absorbed: Floats, air: float) -> Flows:
        """Let time pass under constant light (tubes,) [W] and constant air [degC]."""
        flows, _ = self.advance_steps(seconds, np.asarray(absorbed)[None], np.array([air]))
        return Flows(**{field.name: getattr(flows, field.name)[0] for field in fields(Flows)})

    def advance_steps(self, seconds: float, absorbed: Floats, air: Floats) -> tuple[Flows, States]:
        """Let n steps of the same length [s] pass, each under constant light (n, tubes) [W] and air (n,) [degC].

        Returns what passed in each step, arrays (n, tubes), and the tubes as they are behind each step.
        """
        tubes = len(self.water)
        light = np.ascontiguousarray(absorbed, dtype=np.float64)
        before = self.energy()
        state = np.stack([self.temperature, self.water, self.solids, np.full(tubes, math.inf)], axis=1)
        flows, after = np.zeros((*light.shape, 6)), np.zeros((*light.shape, 4))
        fill_steps(self._numbers, float(seconds), light, np.asarray(air, dtype=np.float64), state, flows, after)
        self.temperature, self.water, self.solids = (state[:, k].copy() for k in (TEMPERATURE, WATER, SOLIDS))
        states = States(temperature=after[..., TEMPERATURE], water=after[..., WATER], solids=after[..., SOLIDS])
        energies = self._energy_of(states.temperature, states.water)
        return self._flows(
            shape=light.shape,
            absorbed=light * seconds,
            stored=np.diff(energies, axis=0, prepend=before[None]),
            dry_after=after[..., DRY_AFTER],
            lost=flows[..., LOST],
            lost_on_line=flows[..., LINE],
            steam=flows[..., STEAM],
            feed=flows[..., FEED],
            spilt=flows[..., SPILT],
            spilt_energy=flows[..., SPILT_ENERGY],
        ), states

    def _tube_numbers(self) -> TubeNumbers:
        """The tube and its water as the compiled loop takes them."""
        boiler, steam, loss = self.boiler, self.steam, self.boiler.loss
        by_rate = boiler.feeding == "rate"
        return TubeNumbers(
            area=float(loss.area),
            a1=float(loss.a1),
            a2=float(loss.a2),
            radiation=loss.emittance * STEFAN_BOLTZMANN,
            conduction=float(loss.conduction),
            heat_capacity=float(boiler.heat_capacity),
            line_loss=float(boiler.steam_line_loss),
            held_level=float(boiler.feeding == "level"),
            feed=boiler.feed_rate * self.feed_density / SECONDS_PER_HOUR if by_rate else 0.0,
            feed_enthalpy=self.feed_enthalpy,
            salt=boiler.dissolved_solids / MILLIGRAMS,
            full=self.full,
            spills=float(by_rate),
            boiling_point=steam.boiling_point,
            boiling_liquid=steam.boiling_liquid,
            vapour=steam.vapour,
            zero_celsius=ZERO_CELSIUS,
            node_width=steam.boiling_point / len(steam.slopes),
            enthalpies=steam.enthalpies,
            slopes=steam.slopes,
        )

    def _flows(self, shape: tuple[int, ...] | None = None, **given: Floats) -> Flows:
        shape = (len(self.water),) if shape is None else shape
        nothing = np.zeros(shape)
        values = {name: given.get(name, nothing) for name in FLOW_NAMES}
        return Flows(
            **values,
            steam_energy=values["steam"] * self.steam.vapour,
            feed_energy=values["feed"] * self.feed_enthalpy,
            dry_after=given.get("dry_after", np.full(shape, math.inf)),
        )


FLOW_NAMES = ("absorbed", "lost", "lost_on_line", "stored", "steam", "feed", "spilt", "spilt_energy")
