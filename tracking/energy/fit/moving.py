"""How a mount is moved through a span: kept aimed, by the plan of moves, by seasonal tilts, or not at all."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from raytrace.arrays import Floats
from raytrace.response import ResponseTable
from raytrace.trace import Progress
from tracking.energy.fit.hours import (
    DAY_STEP,
    Hours,
    Span,
    Sunlight,
    aimed_settings,
    hours_of,
    settings_arrays,
    sunlight,
)
from tracking.energy.fit.judge import Judge
from tracking.energy.fit.seasons import SeasonalTilts, season_swivel, seasonal_tilts
from tracking.energy.fit.setting import best_setting, standing
from tracking.errors import InputError
from tracking.mount import Mount, Setting
from tracking.plans.moves import MovesPlan, chosen_plan
from tracking.scenefile import SceneFile
from tracking.sky.weather import Sky

SEASONAL_COUNT = 4
"""Settings a year of a mount that is moved for the seasons only."""

MONTH_DAY = 15
"""Day whose plan of moves stands for its month. Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Moved:
    """A span as the mount is moved: the hours, the light on the aperture, the mount, and what settings it has.

    `guess` (n,) is what is absorbed, roughly [J], where a table told; `plans` are those of the days that stand for
    months, `setting` the one of a lens that stands still.
    """

    hours: Hours
    light: Sunlight
    mount: Mount
    guess: Floats | None = None
    setting: Setting | None = None
    seasonal: SeasonalTilts | None = None
    plans: tuple[MovesPlan, ...] = ()


def aimed(scene_file: SceneFile, hours: Hours) -> Moved:
    """The lens kept aimed; a fixed one stays as the scene says."""
    mount = scene_file.mount
    light = sunlight(scene_file, hours, *aimed_settings(mount, hours))
    setting = None
    if mount.kind == "fixed" and mount.tilt is not None and mount.facing is not None:
        setting = Setting(mount.tilt, mount.facing)
    return Moved(hours=hours, light=light, mount=mount, setting=setting)


def standing_still(judge: Judge) -> Moved:
    """The lens left at the one setting that absorbs most; a fixed one stays as the scene says."""
    if judge.scene_file.mount.kind == "fixed":
        return aimed(judge.scene_file, judge.hours)
    setting = best_setting(judge)
    light = judge.light(*setting)
    return Moved(
        hours=judge.hours,
        light=light,
        guess=judge.guess(light),
        mount=standing(judge.scene_file.mount, setting),
        setting=setting,
    )


def seasonal(judge: Judge) -> Moved:
    """Only the tilt is set, four times a year; within a month or a day there is one setting."""
    found = seasonal_tilts(judge, season_swivel(judge), (SEASONAL_COUNT,))[0]
    light = judge.light(found.tilt, found.swivel)
    return Moved(
        hours=judge.hours,
        light=light,
        guess=judge.guess(light),
        mount=judge.scene_file.mount,
        seasonal=found,
    )


def by_plan(
    scene_file: SceneFile, span: Span, hours: Hours, table: ResponseTable, progress: Progress | None = None
) -> Moved:
    """The lens moved by the plan with the fewest moves of each day that stands for a month.

    The light of such a day, under a clear sky, is weighed so that the aimed aperture gets the energy of all days that
    it stands for. `progress` is told the share done after each day.

    Raises
    ------
    InputError
        If the lens is aimed on none of the days.
    """
    clear = scene_file if scene_file.sky.source != "file" else replace(scene_file, sky=Sky())
    plans, parts, settings = [], [], []
    days = tuple(_days(span, hours))
    for number, (day, standing_for) in enumerate(days):
        if progress is not None:
            progress(number / len(days))
        of_day = hours_of(clear, Span(year=day.year, month=day.month, day=day.day))
        if not len(of_day) or not len(standing_for):
            continue
        plan = chosen_plan(clear, day, table)
        wanted = sunlight(scene_file, standing_for, *aimed_settings(scene_file.mount, standing_for)).total
        there = sunlight(scene_file, of_day, *aimed_settings(scene_file.mount, of_day)).total
        if there <= 0.0:
            continue
        plans.append(plan)
        parts.append(replace(of_day, seconds=of_day.seconds * (wanted / there)))
        settings.append(_settings_at(plan, of_day, day, clear))
    if not plans:
        raise InputError(
            file=str(scene_file.path),
            key="--over",
            problem=f"the lens is aimed on no day of {span.text} that a plan of moves could be made for",
            allowed="Allowed: a span in which the sun gets high enough",
        )
    joined = _joined(hours, parts)
    chosen = [setting for of_day in settings for setting in of_day]
    tilt, swivel = settings_arrays(chosen)
    light = sunlight(scene_file, joined, tilt, swivel)
    idle = np.array([setting is None for setting in chosen])
    light = replace(light, energy=np.where(idle, 0.0, light.energy))
    return Moved(
        hours=joined,
        light=light,
        guess=Judge(scene_file, joined, table).guess(light),
        mount=scene_file.mount,
        plans=tuple(plans),
    )


def _days(span: Span, hours: Hours) -> Iterator[tuple[dt.date, Hours]]:
    """Days that stand for a part of the span, and the hours of that part."""
    if span.day is not None:
        yield dt.date(span.year, span.month or 1, span.day), hours
        return
    for month in (span.month,) if span.month is not None else range(1, 13):
        part = hours if span.month is not None else hours.of_month(month or 1)
        yield dt.date(span.year, month or 1, MONTH_DAY), part


def _settings_at(plan: MovesPlan, hours: Hours, day: dt.date, scene_file: SceneFile) -> list[Setting | None]:
    """The plan's setting at each position of the sun of its day; None where it leaves the lens alone."""
    starts = [stretch.start.timestamp() for stretch in plan.stretches]
    ends = [stretch.until.timestamp() for stretch in plan.stretches]
    found: list[Setting | None] = []
    midnight = dt.datetime.combine(day, dt.time(), tzinfo=scene_file.site.zone).timestamp()
    step = DAY_STEP.total_seconds()
    for k in hours.number.tolist():
        time = midnight + (k + 0.5) * step
        at = int(np.searchsorted(starts, time, side="right")) - 1
        served = at >= 0 and time <= ends[at] + step
        found.append(plan.stretches[at].setting if served else None)
    return found


def _joined(hours: Hours, parts: list[Hours]) -> Hours:
    names = ("number", "seconds", "month", "day", "azimuth", "elevation", "dni")
    arrays: dict[str, Any] = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    return replace(hours, **arrays)
