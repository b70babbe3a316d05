"""What `focalrow fit` answers beyond height and tilt when asked to: ways to build, tolerances, spacings of marks."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from tracking.cli import console
from tracking.cli.day_compare import compare_object, compare_text
from tracking.cli.fit_builds_table import builds_object, builds_parts
from tracking.cli.fit_tolerances_table import tolerances_object, tolerances_parts
from tracking.cli.tables import section
from tracking.energy.fit.builds import Builds, ways_to_build
from tracking.energy.fit.fit import Fitted
from tracking.energy.fit.sample import Effort
from tracking.energy.fit.tolerances import Tolerances, tolerances_of
from tracking.energy.plan_water import PlanWater, plan_water
from tracking.plans.compare import Compared, compared_builds
from tracking.response import response_table
from tracking.scenefile import SceneFile

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True, slots=True)
class More:
    """The further answers; None where they were not asked for, or stopped before anything was known."""

    scene_file: SceneFile
    builds: Builds | None = None
    tolerances: Tolerances | None = None
    marks: tuple[Compared, ...] | None = None
    water: tuple[PlanWater, ...] = ()
    day: dt.date | None = None
    stopped: bool = False

    @property
    def interrupted(self) -> bool:
        """Whether Ctrl-C ended one of the searches."""
        parts = (self.builds, self.tolerances)
        return self.stopped or any(part is not None and part.interrupted for part in parts)

    def sections(self, *, width: int) -> list[str]:
        """The answers as sections for people."""
        found = []
        if self.builds is not None:
            parts = builds_parts(self.scene_file, self.builds, width=width)
            found.append(section("Ways to build it, best first", *parts))
        if self.tolerances is not None:
            found.append(section("Errors that the design bears", *tolerances_parts(self.tolerances, width=width)))
        if self.marks is not None and self.day is not None:
            found.append(f"{compare_text(self.marks, self.water, width=width)}\nDay: {self.day.isoformat()}.")
        return found

    def numbers(self) -> dict[str, Any]:
        """The answers for programs."""
        return {
            "builds": None if self.builds is None else builds_object(self.builds),
            "tolerances": None if self.tolerances is None else tolerances_object(self.tolerances),
            "marks": None
            if self.marks is None or self.day is None
            else {"date": self.day.isoformat(), "builds": compare_object(self.marks, self.water)},
        }


def further_answers(
    fitted: Fitted, scene_file: SceneFile, effort: Effort, *, builds: bool, tolerances: bool, marks: dt.date | None
) -> More:
    """The answers asked for, from where a fit has ended; none after it was interrupted."""
    stopped = fitted.fit.interrupted
    lit = fitted.fit.height.absorbed.value > 0.0

    def answer(wanted: bool, what: str, search: Callable[[console.Progress | None], T]) -> T | None:  # noqa: FBT001
        nonlocal stopped
        if stopped or not wanted:
            return None
        try:
            with console.progress_bar(what) as progress:
                return search(progress)
        except KeyboardInterrupt:
            stopped = True
            return None

    built = answer(
        builds and lit,
        "Comparing ways to build",
        lambda progress: ways_to_build(scene_file, fitted.hours, effort=effort, progress=progress),
    )
    stopped = stopped or (built is not None and built.interrupted)
    borne = answer(
        tolerances and lit,
        "Trying errors",
        lambda progress: tolerances_of(fitted.scene_file.scene, fitted.moved, effort=effort, progress=progress),
    )
    stopped = stopped or (borne is not None and borne.interrupted)
    marked = answer(
        marks is not None and lit,
        "Building response tables for four ways to build",
        lambda progress: compared_builds(
            fitted.scene_file, marks or dt.date.min, lambda each: response_table(each, progress=progress)
        ),
    )
    return More(
        scene_file=scene_file,
        builds=built,
        tolerances=borne,
        marks=marked,
        water=tuple(plan_water(row.scene_file, row.plan, row.table) for row in marked or ()),
        day=marks,
        stopped=stopped,
    )
