"""Litres of distillate from sampled hours: each tube in steady boiling at each hour, less a warm-up a day.

A shortcut for comparing designs: `tracking.energy.year` follows each tube through the year instead. Warmth that is left
in the morning is not counted, nor is what a small condenser misses.
"""

import numpy as np

from raytrace.arrays import Floats
from tracking.energy.fit.sample import Draws
from tracking.energy.steam import pressure_at, steam_at, water_density
from tracking.energy.year import DISTILLATE_TEMPERATURE
from tracking.scenefile import SceneFile


def litres(scene_file: SceneFile, aperture_power: Floats, days: int, draws: Draws, fractions: Floats) -> Floats:
    """Distillate of the whole row over a span, one estimate a replicate (replicates,) [L].

    Parameters
    ----------
    scene_file
        Tells the boiler and the altitude.
    aperture_power : (n,) float
        At each position of the sun of the span [W].
    days
        Days with sun.
    draws, fractions
        Hours drawn, and what each tube absorbs of the aperture power in them (replicates, draws, tubes).
    """
    boiler = scene_file.boiler
    steam = steam_at(pressure_at(scene_file.site.altitude))
    air = boiler.air_temperature
    feed_enthalpy = float(steam.liquid(np.array([boiler.feed_temperature]))[0])
    power = aperture_power[draws.index]
    seconds = np.where(power > 0.0, draws.energy / np.where(power > 0.0, power, 1.0), 0.0)
    lost = float(boiler.loss.watts(np.array([steam.boiling_point]), air)[0])
    lost += boiler.steam_line_loss * max(0.0, steam.boiling_point - air)
    left = np.maximum(power[:, :, None] * fractions - lost, 0.0)
    boiled = (left * seconds[:, :, None]).sum(axis=1) / (steam.vapour - feed_enthalpy)
    volume = boiler.fill if boiler.feeding == "fill" else boiler.water_volume
    warm_up = boiler.heat_capacity * (steam.boiling_point - boiler.feed_temperature) + volume * water_density(
        boiler.feed_temperature
    ) * (steam.boiling_liquid - feed_enthalpy)
    # A tube that boils only on some days, in a cloudy sky, is warmed up on fewer: no more than all its steam is taken.
    made = np.maximum(boiled - days * warm_up / (steam.vapour - feed_enthalpy), 0.0)
    return np.asarray(made.sum(axis=1) / water_density(DISTILLATE_TEMPERATURE))
