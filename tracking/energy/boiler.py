"""The heat balance of each tube, step by step: light in; heat, steam and water out; what stays as warmth and salt.

Model and its limits: each tube is one body of one temperature, with its water; it boils at the boiling point of the
pressure at the site's altitude, whatever its salt; all light absorbed heats tube or water; nothing sputters over;
the air's temperature and the light are constant within a step. `LIMITS` says so to the reader.
"""

import math
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from tracking.boiler import Boiler
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

LONGEST_SUBSTEP = 900.0
"""[s]; the loss is taken at the temperature halfway, so that what is left is of second order in it."""

LARGEST_CHANGE = 0.2
"""Share of a tube's thermal time constant that one step of the integration may take."""

MOST_SUBSTEPS = 2000
DRY = 1e-9
"""Water below which a tube is dry [kg]: a microgram, rounding of the sums."""

DRIVEN_OUT_BY_HEAT = 1.0
"""Absorbed power from which a constant feed is open [W]: any light on the tube."""

MILLIGRAMS = 1e6
"""[mg/kg]; the concentrations are of some grams a litre at most, so that a litre counts as a kilogram."""

Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Flows:
    """What passed through each tube in a span of time: arrays (tubes,), [kg] and [J], each summed by itself.

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

    @property
    def dry(self) -> Bools:
        """Which tubes hold no water (tubes,)."""
        return np.asarray(self.water <= DRY)

    @property
    def concentration(self) -> Floats:
        """Dissolved solids in the water of each tube (tubes,) [mg/L]; 0 where there is no water."""
        return np.where(self.dry, 0.0, MILLIGRAMS * self.solids / np.maximum(self.water, DRY))

    def energy(self) -> Floats:
        """Energy of each tube and its water over a dry tube at 0 degC (tubes,) [J]."""
        wet = np.minimum(self.temperature, self.steam.boiling_point)
        return self.boiler.heat_capacity * self.temperature + self.water * self.steam.liquid(wet)

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
        tubes = len(self.water)
        total = {name: np.zeros(tubes) for name in ("lost", "lost_on_line", "steam", "feed", "spilt", "spilt_energy")}
        dry_after = np.full(tubes, math.inf)
        start, passed = self.energy(), 0.0
        count = min(MOST_SUBSTEPS, max(1, math.ceil(seconds / self._substep(absorbed, air))))
        step = seconds / count
        for _ in range(count):
            dry_share = self._substep_taken(step, absorbed, air, total)
            ran_dry = np.isfinite(dry_share) & ~np.isfinite(dry_after)
            dry_after = np.where(ran_dry, passed + step * np.where(ran_dry, dry_share, 0.0), dry_after)
            passed += step
        return self._flows(
            absorbed=absorbed * seconds,
            stored=self.energy() - start,
            dry_after=dry_after,
            **total,
        )

    def _substep(self, absorbed: Floats, air: float) -> float:
        """A step that is short against each tube's time constant, a dry one at its hottest [s]."""
        capacity = self.boiler.heat_capacity + self.water * self.steam.boiling_liquid / self.steam.boiling_point
        hottest = np.maximum(self.temperature, np.where(self.dry & (absorbed > 0.0), HOT, 0.0))
        slope = np.maximum(self.boiler.loss.slope(hottest, air), 1e-6)
        return min(LONGEST_SUBSTEP, float((LARGEST_CHANGE * capacity / slope).min()))

    def _substep_taken(self, step: float, absorbed: Floats, air: float, total: dict[str, Floats]) -> Floats:
        """One short step; adds to `total` and returns the share of it after which a tube ran dry, else infinity."""
        boiler, steam = self.boiler, self.steam
        was_dry = self.dry
        before = self.energy()
        lost = step * self._mean_loss(step, absorbed, air)
        feed = np.zeros_like(before)
        if boiler.feeding == "rate":
            per_second = boiler.feed_rate * self.feed_density / 3600.0
            feed = np.where(~was_dry & (absorbed >= DRIVEN_OUT_BY_HEAT), per_second * step, 0.0)
        energy = before + step * absorbed - lost + feed * self.feed_enthalpy
        water = self.water + feed
        at_boiling = boiler.heat_capacity * steam.boiling_point + water * steam.boiling_liquid
        excess = np.where(was_dry, 0.0, np.maximum(energy - at_boiling, 0.0))
        line = np.minimum(excess, step * boiler.steam_line_loss * max(0.0, steam.boiling_point - air))
        # Where the level is held, each kilogram of steam makes room for one of feed, which is warmed up at once.
        each = steam.vapour - (self.feed_enthalpy if boiler.feeding == "level" else steam.boiling_liquid)
        wished = (excess - line) / each
        made = wished if boiler.feeding == "level" else np.minimum(wished, water)
        if boiler.feeding == "level":
            feed = feed + made
            water = water + made
        energy = energy - line - made * steam.vapour + (made * self.feed_enthalpy if boiler.feeding == "level" else 0.0)
        water = water - made
        runs_dry = ~was_dry & (water <= DRY)
        water = np.where(runs_dry, 0.0, water)
        dry = was_dry | runs_dry
        self.temperature = np.where(
            dry,
            energy / boiler.heat_capacity,
            steam.temperature_of(energy=energy, water=water, heat_capacity=boiler.heat_capacity),
        )
        spilt = np.where(dry, 0.0, np.maximum(water - self.full, 0.0)) if boiler.feeding == "rate" else 0.0 * water
        spilt_energy = spilt * steam.liquid(np.clip(self.temperature, 0.0, steam.boiling_point))
        solids = self.solids + feed * boiler.dissolved_solids / MILLIGRAMS
        self.solids = solids * (1.0 - spilt / np.maximum(water, DRY))
        self.water = water - spilt
        for name, value in (
            ("lost", lost), ("lost_on_line", line), ("steam", made), ("feed", feed), ("spilt", spilt),
            ("spilt_energy", spilt_energy),
        ):
            total[name] += value
        return np.where(runs_dry, np.minimum(1.0, made / np.maximum(wished, DRY)), math.inf)

    def _mean_loss(self, step: float, absorbed: Floats, air: float) -> Floats:
        """Loss (tubes,) [W] at the temperature halfway through a step; water stops at its boiling point."""
        capacity = self.boiler.heat_capacity + self.water * self.steam.boiling_liquid / self.steam.boiling_point
        now = self.boiler.loss.watts(self.temperature, air)
        halfway = self.temperature + 0.5 * step * (absorbed - now) / capacity
        halfway = np.where(self.dry, halfway, np.minimum(halfway, self.steam.boiling_point))
        return self.boiler.loss.watts(halfway, air)

    def _flows(self, **given: Floats) -> Flows:
        nothing = np.zeros(len(self.water))
        values = {name: given.get(name, nothing) for name in FLOW_NAMES}
        return Flows(
            **values,
            steam_energy=values["steam"] * self.steam.vapour,
            feed_energy=values["feed"] * self.feed_enthalpy,
            dry_after=given.get("dry_after", np.full(len(self.water), math.inf)),
        )


FLOW_NAMES = ("absorbed", "lost", "lost_on_line", "stored", "steam", "feed", "spilt", "spilt_energy")

HOT = 400.0
"""Temperature at which the steps for a dry tube are chosen [degC]: hotter than tubes of this kind get."""
