"""Litres of distillate of a way to build: the scene's boiler through every step of a span, as a year goes through it.

Light is traced at some hours only. Every other hour gets, for each tube, the share of the aperture power that the drawn
hour most like it has; all shares are then stretched by one factor, so that the span's energy is the one estimated. With
`FINER` draws this gives the litres of `tracking.energy.year` within 0.5 % on the shipped scenes that have a boiler.
"""

import datetime as dt

import numpy as np

from raytrace.arrays import Floats, Ints
from tracking.energy.fit.hours import Hours, Sunlight
from tracking.energy.fit.sample import Draws, energies_of
from tracking.energy.steam import pressure_at, steam_at, water_density
from tracking.energy.year import DISTILLATE_TEMPERATURE, air_temperatures, share_not_condensed
from tracking.energy.year_boil import boil
from tracking.scenefile import SceneFile
from tracking.sky.weather import read_weather

FINER = 4
"""How many times more hours are drawn where litres are asked for, with so many times fewer rays each: tubes differ from
hour to hour, and what boils off rises faster than the light."""

STRETCH = 0.01
"""Share by which the light is stretched to see how litres go with energy. Chosen, no source."""

LENIENT = 0.05
"""What a degree along the grooves, or of the tilt, counts against one across them where hours are compared: the focal
line keeps to its tubes for so much longer. Chosen, no source."""

DAY = dt.timedelta(days=1)

CHUNK = 2048
"""Hours that are compared with all drawn ones together: a matter of memory alone."""


class Still:
    """The boiler of a scene over a span, to be lit in one way after the other."""

    def __init__(self, scene_file: SceneFile, hours: Hours) -> None:
        self.boiler, self.hours = scene_file.boiler, hours
        self.steam = steam_at(pressure_at(scene_file.site.altitude))
        self.step = hours.step
        a_day = round(DAY / self.step)
        # A change of the clock may have put a step an hour before the first midnight or behind the last.
        first, last = int(hours.number.min(initial=0)) // a_day, int(hours.number.max(initial=0)) // a_day
        self.first, days = first * a_day, max(hours.days, 1 + last) - first
        midnight = dt.datetime.combine(hours.span.limits()[0], dt.time(), tzinfo=scene_file.site.zone)
        start = midnight.astimezone(dt.UTC) + self.first * self.step
        self.starts = [start + k * self.step for k in range(days * a_day)]
        sky = scene_file.sky
        weather = read_weather(sky.file) if sky.source == "file" and sky.file is not None else None
        middles = [time.replace(tzinfo=None) + 0.5 * self.step for time in self.starts]
        self.air = air_temperatures(weather, self.boiler, np.array(middles, dtype="datetime64[ns]"))

    def litres(self, light: Sunlight, draws: Draws, fractions: Floats) -> Floats:
        """Distillate of the whole row over the span, one estimate a replicate (replicates,) [L at 20 degC].

        They have one mean, from the hours of all replicates together; how far each is from it follows from its energy.

        Parameters
        ----------
        light
            The span as the mount is moved.
        draws, fractions
            Hours drawn, and what each tube absorbs of the aperture power in them (replicates, draws, tubes).
        """
        shares = fractions.reshape(-1, fractions.shape[2])
        energy = light.energy[:, None] * shares[_most_alike(light, draws.index.ravel())]
        estimates = energies_of(draws, fractions)
        mean, total = float(estimates.mean()), float(energy.sum())
        if total <= 0.0 or mean <= 0.0:
            return np.zeros(len(estimates))
        absorbed = np.zeros((len(self.starts), shares.shape[1]))
        absorbed[self.hours.number - self.first] = energy * (mean / total) / self.hours.seconds[:, None]
        made, more = self._boiled(absorbed), self._boiled((1.0 + STRETCH) * absorbed)
        return np.asarray(made + (more - made) / STRETCH * (estimates / mean - 1.0))

    def _boiled(self, absorbed: Floats) -> float:
        """Distillate of the row [L] under light (n, tubes) [W] on its tubes."""
        boiled = boil(self.boiler, self.steam, self.starts, self.step, absorbed, self.air)
        steam = boiled.flows["steam"].sum(axis=1)
        missed = share_not_condensed(self.boiler, self.steam, steam / self.step.total_seconds(), self.air)
        return float((steam * (1.0 - missed)).sum()) / water_density(DISTILLATE_TEMPERATURE)


def _most_alike(light: Sunlight, drawn: Ints) -> Ints:
    """For each hour (n,) which of the drawn ones (k,), numbers of hours, sees the sun and the row most like it."""
    places = np.stack([light.transversal, LENIENT * light.longitudinal, LENIENT * light.tilt], axis=1)
    there = places[drawn]
    found = np.zeros(len(places), dtype=np.int64)
    for some in np.array_split(np.arange(len(places)), 1 + len(places) // CHUNK):
        # Squares of the distances, but for a number that is the same for all drawn hours.
        found[some] = np.argmin((there**2).sum(axis=1) - 2.0 * places[some] @ there.T, axis=1)
    return found
