"""Water that a plan of moves makes: the boiler of the scene through the day, and moves for each litre."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from raytrace.response import ResponseTable
from tracking.energy.boiler import TubeRow
from tracking.energy.steam import pressure_at, steam_at, water_density
from tracking.energy.year import DISTILLATE_TEMPERATURE, share_not_condensed
from tracking.plans.instant import instants_at
from tracking.plans.marks import MINUTE_SECONDS, tube_powers
from tracking.plans.moves import MovesPlan, Stretch
from tracking.scenefile import SceneFile

STEP_MINUTES = 5
"""Minutes of sun that the boiler takes together."""
LEAST_LITRES = 0.01
"""Distillate of a day [L] below which moves for each litre are not told: two teaspoons are no yield to divide by.
Chosen, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanWater:
    """Distillate of a day under a plan [L at 20 degC], the moves for each litre, None below `LEAST_LITRES`.

    `boiler_is_assumed` where the scene file names none, so that the defaults of its keys hold.
    """

    litres: float
    moves_per_litre: float | None
    boiler_is_assumed: bool


def _minutes(stretch: Stretch) -> list[dt.datetime]:
    """The minutes of a stretch, its two ends among them, in UTC."""
    start, until = stretch.start.astimezone(dt.UTC), stretch.until.astimezone(dt.UTC)
    count = round((until - start).total_seconds() / MINUTE_SECONDS)
    return [start + k * dt.timedelta(minutes=1) for k in range(count + 1)]


def plan_water(scene_file: SceneFile, plan: MovesPlan, table: ResponseTable) -> PlanWater:
    """The distillate of a plan's day, its tubes cold and filled in the morning, in air of the boiler's temperature.

    Parameters
    ----------
    scene_file
        The scene; without [boiler] a boiler of defaults.
    plan
        Its plan of moves; between two stretches the lens is covered.
    table
        The scene's response table.
    """
    boiler, steam = scene_file.boiler, steam_at(pressure_at(scene_file.site.altitude))
    row = TubeRow(boiler, steam, scene_file.scene.tubes.count)
    kilograms, last = 0.0, None
    dark = np.zeros((1, scene_file.scene.tubes.count))

    def made(seconds: float, absorbed: Floats) -> float:
        """Water distilled in n steps of some seconds each under constant light (n, tubes)."""
        flows, _ = row.advance_steps(seconds, absorbed, np.full(len(absorbed), boiler.air_temperature))
        distilled = flows.steam.sum(axis=1)
        air = np.full(len(absorbed), boiler.air_temperature)
        missed = share_not_condensed(boiler, steam, distilled / seconds, air)
        return float((distilled * (1.0 - missed)).sum())

    minutes_of = [_minutes(stretch) for stretch in plan.stretches]
    # All at once: the sun's position takes as long for one minute as for a hundred.
    times = sorted({time for minutes in minutes_of for time in minutes})
    instant_at = dict(zip(times, instants_at(scene_file, times), strict=True))
    for stretch, minutes in zip(plan.stretches, minutes_of, strict=True):
        if last is not None and minutes[0] > last:
            kilograms += made((minutes[0] - last).total_seconds(), dark)
        last = stretch.until.astimezone(dt.UTC)
        instants = [instant_at[time] for time in minutes]
        count = len(instants)
        powers = tube_powers(
            scene_file, instants, table, [stretch.setting.tilt] * count, [stretch.setting.swivel] * count
        )
        means = 0.5 * (powers[:-1] + powers[1:])
        whole = len(means) // STEP_MINUTES * STEP_MINUTES
        if whole:
            taken = means[:whole].reshape(-1, STEP_MINUTES, means.shape[1]).mean(axis=1)
            kilograms += made(STEP_MINUTES * MINUTE_SECONDS, taken)
        if len(means) > whole:
            kilograms += made((len(means) - whole) * MINUTE_SECONDS, means[whole:].mean(axis=0, keepdims=True))
    litres = kilograms / water_density(DISTILLATE_TEMPERATURE)
    return PlanWater(
        litres=litres,
        moves_per_litre=plan.moves / litres if litres >= LEAST_LITRES else None,
        boiler_is_assumed=all(value.from_default for value in scene_file.boiler_values),
    )
