"""The answers of `focalrow fit` for one scene: hours, way of moving, best lens height, tilt."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from raytrace.response import ResponseTable
from raytrace.scene import Scene
from tracking.energy.fit.height import BestHeight, Progress, best_height
from tracking.energy.fit.hours import Hours, Span, hours_of
from tracking.energy.fit.judge import Judge
from tracking.energy.fit.moving import Moved, aimed, by_plan, seasonal, standing_still
from tracking.energy.fit.result import DayMoves, Fit, Way
from tracking.energy.fit.sample import Effort, absorbed_energies, drawn
from tracking.energy.fit.tilt import tilt_of
from tracking.errors import InputError
from tracking.scenefile import SceneFile

TableOf = Callable[[SceneFile, Progress | None], ResponseTable]
"""Gives the response table of a scene, from a cache or built, and tells the share done."""

QUICK = 4
"""Hours and rays are cut to such a part where months are compared, or a first height is sought."""

MOST_ROUNDS = 3
"""Rounds in which the worst month and its best height are brought together."""

HEIGHT_DIGITS = 3
"""Decimals of a metre of the height for which a response table is built, so that a kept one is found again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Fitted:
    """A fit, and what further questions start from: the scene at its best height, the hours that count, and the light
    on the lens in them as it is moved.
    """

    fit: Fit
    scene_file: SceneFile
    hours: Hours
    moved: Moved


def fit_of(
    scene_file: SceneFile,
    span: Span,
    *,
    table_of: TableOf,
    worst_month: bool = False,
    moved: Way = "perfectly",
    with_tilt: bool = True,
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> Fitted:
    """The best lens height of a scene over a span, and what there is to say about the tilt.

    Parameters
    ----------
    scene_file
        The scene; its own lens height is compared with the best one.
    span
        The time that counts.
    table_of
        Gives response tables, by which settings are searched.
    worst_month
        Of the span, a year, the month with the least absorbed energy a day counts alone.
    moved
        How the mount is moved.
    with_tilt
        Whether the tilt is looked at.
    effort
        Hours and rays for each candidate.
    progress
        Called now and then with the share done. Ctrl-C keeps what was found so far, once a height is known.

    Raises
    ------
    InputError
        If the weather file cannot be used, there is no day that a plan of moves could be made for, or a fixed mount is
        to be moved.
    ValueError
        If the lens cannot be built.
    """
    if scene_file.mount.kind == "fixed" and moved in {"by-plan", "seasonal"}:
        raise InputError(
            file=str(scene_file.path),
            key="--moved",
            problem=f'"{moved}" does not go with kind = "fixed": nothing moves there',
            allowed='Allowed: "perfectly" or "fixed", which both leave it as it stands',
        )
    effort = effort or Effort()
    steps = _Steps(progress)
    hours = hours_of(scene_file, span)
    judge: Judge | None = None
    if moved == "perfectly" or (moved == "fixed" and scene_file.mount.kind == "fixed"):
        way = aimed(scene_file, hours)
    else:
        built, table = _first_table(scene_file, aimed(scene_file, hours), table_of, effort, steps)
        judge = Judge(built, hours, table)
        if moved == "by-plan":
            way = by_plan(built, span, hours, table, steps.part(0.2))
        else:
            way = seasonal(judge) if moved == "seasonal" else standing_still(judge)
    if worst_month:
        height, way = _of_worst_month(scene_file, way, effort, steps)
    else:
        height = best_height(
            scene_file.scene,
            way.mount,
            way.light,
            effort=effort,
            guess=way.guess,
            progress=steps.part(0.3 if with_tilt else 0.9),
        )
    built = at_height(scene_file, height.height.value)
    tilt, interrupted = None, height.interrupted
    if with_tilt and not interrupted and height.absorbed.value > 0.0:
        try:
            judge = judge or Judge(built, hours, table_of(built, steps.part(0.5)))
            if worst_month and way.hours.span.month is not None:
                judge = Judge(judge.scene_file, hours.of_month(way.hours.span.month), judge.table)
            tilt = tilt_of(judge, built.scene, effort, seasons=moved in {"seasonal", "fixed"})
        except KeyboardInterrupt:
            interrupted = True
    steps.done()
    return Fitted(
        fit=Fit(
            span=way.hours.span,
            worst_month=worst_month,
            days=way.hours.days,
            moved=moved,
            dni_sum=way.hours.dni_sum,
            hours_without_dni=way.hours.hours_without_dni,
            height=height,
            setting=way.setting,
            seasons=() if way.seasonal is None else way.seasonal.seasons,
            moves=tuple(DayMoves(date=plan.date, moves=plan.moves, loss=plan.loss) for plan in way.plans),
            tilt=tilt,
            interrupted=interrupted,
        ),
        scene_file=built,
        hours=hours.of_month(way.hours.span.month) if worst_month and way.hours.span.month else hours,
        moved=way,
    )


class _Steps:
    """Shares of the work, one after the other, told as one."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress, self.at = progress, 0.0

    def part(self, share: float) -> Progress | None:
        """Progress of the next part, which is this share of the whole."""
        start, tell = self.at, self.progress
        self.at = min(1.0, start + share)
        return None if tell is None else (lambda done: tell(min(1.0, start + share * done)))

    def done(self) -> None:
        if self.progress is not None:
            self.progress(1.0)


def at_height(scene_file: SceneFile, height: float) -> SceneFile:
    """The scene with another lens height [m], rounded to a millimetre."""
    return replace(scene_file, scene=replace(scene_file.scene, lens_height=round(height, HEIGHT_DIGITS)))


def _first_table(
    scene_file: SceneFile, kept_aimed: Moved, table_of: TableOf, effort: Effort, steps: _Steps
) -> tuple[SceneFile, ResponseTable]:
    """The scene at the height that suits the lens kept aimed, and its response table, to search settings by."""
    quick = replace(effort, draws=max(4, effort.draws // QUICK))
    scene, mount = scene_file.scene, scene_file.mount
    first = best_height(scene, mount, kept_aimed.light, effort=quick, progress=steps.part(0.1))
    if first.interrupted:
        raise KeyboardInterrupt
    built = at_height(scene_file, first.height.value)
    return built, table_of(built, steps.part(0.2))


def _of_worst_month(scene_file: SceneFile, way: Moved, effort: Effort, steps: _Steps) -> tuple[BestHeight, Moved]:
    """The best height for the month that is worst at that height."""
    quick = replace(effort, draws=max(4, effort.draws // QUICK))
    tried: dict[int, tuple[BestHeight, Moved]] = {}
    height = scene_file.scene.lens_height
    while True:
        try:
            month = _worst_month(replace(scene_file.scene, lens_height=height), way, quick)
            if month in tried:
                return tried[month]
            part = of_month(way, month)
            found = best_height(
                scene_file.scene, way.mount, part.light, effort=effort, guess=part.guess, progress=steps.part(0.3)
            )
        except KeyboardInterrupt:
            if not tried:
                raise
            best, part = list(tried.values())[-1]
            return replace(best, interrupted=True), part
        tried[month] = found, part
        height = found.height.value
        if len(tried) == MOST_ROUNDS or found.interrupted:
            return tried[month]


def _worst_month(scene: Scene, way: Moved, quick: Effort) -> int:
    """The month in which least is absorbed a day, 1 to 12, by few traces."""
    a_day = []
    for month in range(1, 13):
        part = of_month(way, month)
        energies = absorbed_energies(scene, way.mount, drawn(part.light, scene, quick, part.guess), quick)
        a_day.append(float(energies.mean()) / part.hours.days)
    return 1 + int(np.argmin(a_day))


def of_month(way: Moved, month: int) -> Moved:
    """A year as it is moved, cut to one month, 1 to 12."""
    which = way.hours.month == month
    guess = None if way.guess is None else way.guess[which]
    return replace(way, hours=way.hours.of_month(month), light=way.light.only(which), guess=guess)
