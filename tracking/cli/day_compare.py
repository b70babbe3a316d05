"""The table of `focalrow day --compare`: which build is easiest to tend."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tracking.cli import console
from tracking.cli.scene_words import closing_sections, scene_errors
from tracking.cli.tables import Column, console_width, number, paragraph, section, table
from tracking.plans.compare import ACROSS, Compared, compared_builds
from tracking.plans.day import JOULES_PER_KWH
from tracking.response import response_table
from tracking.scenefile import SceneFile

WORDS = (
    "The same lens, tubes and mount, built in four ways, with marks so many degrees apart on each axis that moves. "
    "Moves: the fewest settings for 90 % of the power of perfect aiming at every minute, as far as the marks allow. "
    "Short: minutes at which no mark reaches that share. Lost: energy against perfect aiming of the same build. The "
    "heights stay as in the scene, which may suit one build better than another."
)


def compare_text(rows: Sequence[Compared], *, width: int) -> str:
    """The comparison as a section."""

    def column(heading: tuple[str, ...], cells: list[str]) -> Column:
        return Column(heading=heading, cells=tuple(cells))

    builds = tuple(f"grooves {row.build.grooves}, tubes {_tubes(row)}" for row in rows)
    columns = [
        column(("marks", "deg"), [number(row.spacing, 0) for row in rows]),
        column(("moves",), [str(row.plan.moves) for row in rows]),
        column(("short", "min"), [str(row.plan.short_minutes) for row in rows]),
        column(("absorbed", "kWh"), [number(row.plan.absorbed / JOULES_PER_KWH, 3) for row in rows]),
        column(("lost", "%"), [number(100.0 * row.plan.loss, 1) for row in rows]),
        column(("moves", "a litre"), [number(row.plan.moves_per_litre, 1) for row in rows]),
    ]
    body = table(Column(heading=("build",), cells=builds, left=True), [columns], width=width)
    return section("Which build is easiest to tend", paragraph(WORDS, width=width), "", body)


def _tubes(row: Compared) -> str:
    return "across" if row.build.angle_to_grooves == ACROSS else "along"


def compare_object(rows: Sequence[Compared]) -> list[dict[str, Any]]:
    """The comparison as numbers for programs."""
    return [
        {
            "grooves": row.build.grooves,
            "angle_to_grooves_deg": row.build.angle_to_grooves,
            "mark_spacing_deg": row.spacing,
            "moves": row.plan.moves,
            "minutes_below_wanted_share": row.plan.short_minutes,
            "absorbed_kwh": row.plan.absorbed / JOULES_PER_KWH,
            "loss_against_perfect": row.plan.loss,
            "moves_per_litre": row.plan.moves_per_litre,
        }
        for row in rows
    ]


def print_comparison(scene_file: SceneFile, path: Path, date: dt.date | None, *, json: bool) -> None:
    """Compare the builds on a day, today at the site if none is named, and print the result."""
    day = dt.datetime.now(scene_file.site.zone).date() if date is None else date
    console.talk("Building a response table for each way of building: some minutes, once.")
    with scene_errors(path), console.progress_bar("Building the response tables") as progress:
        rows = compared_builds(scene_file, day, lambda built: response_table(built, progress=progress))
    if json:
        console.result(console.as_json({"date": day.isoformat(), "builds": compare_object(rows)}))
        return
    width = console_width()
    title = section(f"{scene_file.site.name}, {day.isoformat()}".removeprefix(", "))
    sections = [title, compare_text(rows, width=width), *closing_sections(scene_file, [], width=width)]
    console.result("\n\n".join(sections))
