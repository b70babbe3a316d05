"""Which build is easiest to tend: moves and energy of a day against the spacing of the marks, for four builds."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from raytrace.response import ResponseTable
from tracking.mount import Grooves
from tracking.plans.marks import mount_axes
from tracking.plans.moves import DEFAULT_SHARE, MovesPlan, chosen_plan
from tracking.scenefile import SceneFile

SPACINGS = (1.0, 2.0, 5.0, 10.0)
"""Distances of marks [deg] that are compared."""
ALONG, ACROSS = 0.0, 90.0
"""Angles of the tubes to the grooves [deg]: along the focal line, and across it."""
HALFWAY = 45.0
GAP = 2e-3
"""Between two tubes or their glasses where they are laid side by side [m]. Common practice, no source."""
MOST_TUBES = 200
"""The most that a scene may have."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Build:
    """A way to build the same machine: how the grooves lie, and the tubes' angle to them [deg]."""

    grooves: Grooves
    angle_to_grooves: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Compared:
    """A build with marks so many degrees apart on each axis that moves, and its plan for the day.

    `scene_file` and `table` are those of the build, its marks in it.
    """

    build: Build
    spacing: float
    plan: MovesPlan
    scene_file: SceneFile
    table: ResponseTable


BUILDS = tuple(
    Build(grooves=grooves, angle_to_grooves=angle) for grooves in ("level", "upslope") for angle in (ALONG, ACROSS)
)


def compared_builds(
    scene_file: SceneFile,
    date: dt.date,
    table_of: Callable[[SceneFile], ResponseTable],
    *,
    spacings: Sequence[float] = SPACINGS,
    share: float = DEFAULT_SHARE,
) -> tuple[Compared, ...]:
    """The fewest-moves plan of a day for each build and each spacing of the marks.

    Parameters
    ----------
    scene_file
        The scene; lens, lens height and mount stay as they are but for grooves and marks, the tubes but for their angle
        and, where they lie the other way, their number.
    date
        Civil date at the site.
    table_of
        Gives the response table of a changed scene; each build needs one of its own.
    spacings
        Distances of the marks [deg].
    share
        Share of the power of perfect aiming, of that same build, that the plans keep where the marks can.

    Raises
    ------
    InputError
        If the sun is not high enough for a whole minute on that day.
    """
    found = []
    tables: dict[float, ResponseTable] = {}
    for build in BUILDS:
        built = changed_build(scene_file, build)
        # The grooves' way on the mount does not change the optics of a row that tilts with the lens.
        if build.angle_to_grooves not in tables or scene_file.mount.row_turns_with == "base":
            tables[build.angle_to_grooves] = table_of(built)
        table = tables[build.angle_to_grooves]
        for spacing in spacings:
            marked = _with_marks(built, spacing)
            plan = chosen_plan(marked, date, table, share=share)
            found.append(Compared(build=build, spacing=spacing, plan=plan, scene_file=marked, table=table))
    return tuple(found)


def changed_build(scene_file: SceneFile, build: Build) -> SceneFile:
    """The scene with its grooves and tubes laid another way.

    Tubes that come to lie across the focal line are as many as the lens is long, side by side; those that come to lie
    along it are one.
    """
    scene = scene_file.scene
    tubes = replace(scene.tubes, angle_to_grooves=build.angle_to_grooves)
    lies_across = abs(scene.tubes.angle_to_grooves) > HALFWAY
    if build.angle_to_grooves == ACROSS and not lies_across:
        spacing = tubes.outer_diameter + GAP
        count = min(MOST_TUBES, max(1, round(scene.lens.length / spacing)))
        tubes = replace(tubes, count=count, spacing=spacing if count > 1 else 0.0)
    if build.angle_to_grooves == ALONG and lies_across:
        tubes = replace(tubes, count=1, spacing=0.0)
    return replace(
        scene_file,
        scene=replace(scene, tubes=tubes),
        mount=replace(scene_file.mount, grooves=build.grooves),
    )


def _with_marks(scene_file: SceneFile, spacing: float) -> SceneFile:
    tilts, swivels = mount_axes(scene_file.mount)
    mount = replace(scene_file.mount, tilt_marks=spacing if tilts else None, swivel_marks=spacing if swivels else None)
    return replace(scene_file, mount=mount)
