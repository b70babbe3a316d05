"""Water that a plan of moves makes: the boiler of the scene through the day, and moves for each litre."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from raytrace.response import ResponseTable
from tracking.energy.boiler import TubeRow
from tracking.energy.steam import pressure_at, steam_at, water_density
from tracking.energy.year import DISTILLATE_TEMPERATURE, share_not_condensed
from tracking.plans.instant import instants_at
from tracking.plans.marks import MINUTE_SECONDS, tube_powers
from tracking.plans.moves import MovesPlan
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
    dark = np.zeros(scene_file.scene.tubes.count)

    def made(seconds: float, absorbed: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        flows = row.advance(seconds, absorbed, boiler.air_temperature)
        distilled = float(flows.steam.sum())
        air = np.array([boiler.air_temperature])
        missed = share_not_condensed(boiler, steam, np.array([distilled / seconds]), air)
        return distilled * (1.0 - float(missed[0]))

    for stretch in plan.stretches:
        start, until = stretch.start.astimezone(dt.UTC), stretch.until.astimezone(dt.UTC)
        if last is not None and start > last:
            kilograms += made((start - last).total_seconds(), dark)
        last = until
        minutes = round((until - start).total_seconds() / MINUTE_SECONDS)
        instants = instants_at(scene_file, [start + k * dt.timedelta(minutes=1) for k in range(minutes + 1)])
        count = len(instants)
        powers = tube_powers(
            scene_file, instants, table, [stretch.setting.tilt] * count, [stretch.setting.swivel] * count
        )
        means = 0.5 * (powers[:-1] + powers[1:])
        for first in range(0, minutes, STEP_MINUTES):
            taken = means[first : first + STEP_MINUTES]
            kilograms += made(len(taken) * MINUTE_SECONDS, taken.mean(axis=0))
    litres = kilograms / water_density(DISTILLATE_TEMPERATURE)
    return PlanWater(
        litres=litres,
        moves_per_litre=plan.moves / litres if litres >= LEAST_LITRES else None,
        boiler_is_assumed=all(value.from_default for value in scene_file.boiler_values),
    )
