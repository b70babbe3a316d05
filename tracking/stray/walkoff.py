"""The walk-off: where the focus goes after each setting of a day if nobody touches the lens again."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from raytrace.response import ResponseTable
from raytrace.trace import PreparedScene, prepare
from tracking.errors import InputError
from tracking.mount import Setting
from tracking.plans.instant import instants_at
from tracking.plans.moves import Stretch, chosen_plan
from tracking.response import kept_response_table
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants
from tracking.stray.idle import IdlePath, Spot, focus_path, idle_path

Progress = Callable[[float], None]

WATCHED = dt.timedelta(hours=2)
"""How long after a setting is due to change the focus is followed."""
WALK_STEP = dt.timedelta(minutes=2)
"""In which a focal line moves by about its width: it jumps over nothing."""
WALK_RAYS = 1 << 13
SURE_RAYS = 1 << 16
"""Rays by which a fire is told: fewer find when to look, but their noise alone would tell it too soon."""
ROW_STEP = dt.timedelta(minutes=30)
"""Time between the settings that stand for a plan where the scene has no response table yet."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanRow:
    """A setting and how long it is meant to stay, aware local times."""

    setting: Setting
    start: dt.datetime
    until: dt.datetime


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WalkOff:
    """What happens after a row of the plan: `path` from its start to `WATCHED` after its end.

    `fire` is the first spot on something that burns with at least the threshold, within its standard error; `brightest`
    the brightest spot on anything, None where no light lands. Both are traced with SURE_RAYS.
    """

    row: PlanRow
    path: IdlePath
    fire: Spot | None
    brightest: Spot | None

    @property
    def minutes(self) -> float | None:
        """From the end of the row to the fire [min], 0 where it comes before; None where none comes while watched."""
        if self.fire is None:
            return None
        return max(0.0, (self.fire.time_local - self.row.until).total_seconds() / 60.0)


def rows_of(stretches: Sequence[Stretch]) -> tuple[PlanRow, ...]:
    """Stretches of a plan of moves as rows to follow, each from its start: a fire may come before its end."""
    return tuple(PlanRow(setting=each.setting, start=each.start, until=each.until) for each in stretches)


def plan_rows(
    scene_file: SceneFile, date: dt.date, table: ResponseTable | None = None
) -> tuple[tuple[PlanRow, ...], bool]:
    """The rows of a day's plan of moves, none on a day without aim; and whether they are that plan's.

    Where no response table is given nor kept in the cache, perfect aiming at each half hour stands for the plan.
    """
    table = kept_response_table(scene_file) if table is None else table
    if table is not None:
        try:
            plan = chosen_plan(scene_file, date, table)
        except InputError:  # the sun stays too low all day: there is nothing to plan
            return (), True
        return rows_of(plan.stretches), True
    instants = [
        each for each in instants_at(scene_file, day_instants(scene_file.site, date, ROW_STEP)) if each.aim is not None
    ]
    return tuple(
        PlanRow(setting=each.aim.setting, start=each.time_local, until=each.time_local)
        for each in instants
        if each.aim is not None
    ), False


def walk_offs(
    scene_file: SceneFile,
    rows: Sequence[PlanRow],
    threshold: float,
    *,
    rays: int = WALK_RAYS,
    soonest_only: bool = False,
    progress: Progress | None = None,
) -> tuple[WalkOff, ...]:
    """The walk-off after each row, with the first spot of at least `threshold` [W/m2] on something that burns.

    With `soonest_only` a row is followed no further than the shortest time to a fire after a row before it, which is
    far quicker where `shortest` is all that is wanted.
    """
    prepared = prepare(scene_file.scene)
    watched = WATCHED
    found = []
    for k, row in enumerate(rows):
        span = row.until + watched - row.start
        # In UTC, as adding to a local time would go by the wall clock.
        start = row.start.astimezone(dt.UTC)
        times = [start + n * WALK_STEP for n in range(int(span / WALK_STEP) + 1)]
        path = idle_path(scene_file, row.setting, times, step=WALK_STEP, rays=rays, prepared=prepared)
        walk = WalkOff(
            row=row, path=path, fire=_fire(scene_file, path, threshold, prepared),
            brightest=None if path.worst is None else _again(scene_file, path, path.worst, prepared).worst,
        )  # fmt: skip
        if soonest_only and walk.minutes is not None:
            watched = min(watched, dt.timedelta(minutes=walk.minutes))
        found.append(walk)
        if progress is not None:
            progress((k + 1) / len(rows))
    return tuple(found)


def _fire(scene_file: SceneFile, path: IdlePath, threshold: float, prepared: PreparedScene) -> Spot | None:
    """The first spot on something that burns with at least the threshold, within a standard error."""
    last = None
    for spot in path.burning():
        if spot.flux + spot.flux_error < threshold or spot.time_local == last:
            continue
        last = spot.time_local
        sure = _again(scene_file, path, spot, prepared)
        burning = [each for each in sure.burning() if each.flux + each.flux_error >= threshold]
        if burning:
            return max(burning, key=lambda each: each.flux)
    return None


def _again(scene_file: SceneFile, path: IdlePath, spot: Spot, prepared: PreparedScene) -> IdlePath:
    """The instant of a spot by SURE_RAYS."""
    return idle_path(
        scene_file, path.setting, (spot.time_local,), step=WALK_STEP, rays=SURE_RAYS, prepared=prepared
    )  # fmt: skip


def aimed_path(
    scene_file: SceneFile,
    date: dt.date,
    *,
    step: dt.timedelta,
    rays: int,
    missing_tube: int | None = None,
    progress: Progress | None = None,
) -> IdlePath | None:
    """What misses the tubes through a day of perfect aiming; None on a day without any."""
    instants = instants_at(scene_file, day_instants(scene_file.site, date, step))
    aimed = [(each.aim.setting, each.time_local) for each in instants if each.aim is not None]
    if not aimed:
        return None
    return focus_path(
        scene_file, [setting for setting, _ in aimed], [time for _, time in aimed], step=step, rays=rays,
        missing_tube=missing_tube, progress=progress,
    )  # fmt: skip


def shortest(found: Sequence[WalkOff]) -> WalkOff | None:
    """The row after which a fire may come soonest; None where none may come while watched."""
    burning = [each for each in found if each.minutes is not None]
    return min(burning, key=lambda each: each.minutes or 0.0, default=None)
