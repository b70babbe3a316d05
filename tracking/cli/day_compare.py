"""`focalrow day --compare`: which build is easiest to tend, as table and as picture."""

import csv
import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tracking.cli import console
from tracking.cli.files import write_files
from tracking.cli.scene_words import closing_sections, scene_errors
from tracking.cli.tables import Column, console_width, number, paragraph, section, table
from tracking.energy.plan_water import PlanWater, plan_water
from tracking.plans.compare import ACROSS, Build, Compared, compared_builds
from tracking.plans.day import JOULES_PER_KWH
from tracking.response import response_table
from tracking.scenefile import SceneFile

WORDS = (
    (
        "The same lens and mount, built in four ways, with marks so many degrees apart on each axis that moves. Moves: "
        "the fewest settings for 90 % of the power of perfect aiming at every minute, as far as the marks allow. "
        "Short: minutes at which no mark reaches that share. Lost: energy against perfect aiming of the same build; "
        "below 0 where the row takes more beside its middle, as where a line aimed perfectly falls between tubes."
    ),
    (
        "Grooves level or upslope: the way of the focal line on the mount. Tubes along: under the focal line; across: "
        "side by side, the line crossing them. The lens height stays as in the scene, which may suit one build better "
        "than another: `focalrow fit` finds the height of each."
    ),
)


def compare_text(rows: Sequence[Compared], water: Sequence[PlanWater], *, width: int) -> str:
    """The comparison as a section; `water` of each row in the same order."""

    def column(heading: tuple[str, ...], cells: list[str]) -> Column:
        return Column(heading=heading, cells=tuple(cells))

    columns = [
        column(("marks", "deg"), [number(row.spacing, 0) for row in rows]),
        column(("moves",), [str(row.plan.moves) for row in rows]),
        column(("short", "min"), [str(row.plan.short_minutes) for row in rows]),
        column(("absorbed", "kWh"), [number(row.plan.absorbed / JOULES_PER_KWH, 2) for row in rows]),
        column(("lost", "%"), [number(100.0 * row.plan.loss, 1) for row in rows]),
        column(("water", "L"), [number(each.litres, 2) for each in water]),
        column(("moves", "a litre"), [number(each.moves_per_litre, 1) for each in water]),
    ]
    builds = tuple(build_words(row) for row in rows)
    body = table(Column(heading=("build",), cells=builds, left=True), [columns], width=width)
    whose = "A boiler of defaults, as the scene names none." if water[0].boiler_is_assumed else "The scene's boiler."
    words = [paragraph(each, width=width) for each in (*WORDS, f"Water: {whose}")]
    return section("Which build is easiest to tend", *words, "", body)


def build_words(row: Compared) -> str:
    """A build in words: grooves, number of tubes and how they lie."""
    count = row.scene_file.scene.tubes.count
    return f"grooves {row.build.grooves}, {count} tube{'s' if count > 1 else ''} {_lie(row.build)}"


def _lie(build: Build) -> str:
    return "across" if build.angle_to_grooves == ACROSS else "along"


def compare_object(rows: Sequence[Compared], water: Sequence[PlanWater]) -> list[dict[str, Any]]:
    """The comparison as numbers for programs."""
    return [
        {
            "grooves": row.build.grooves,
            "angle_to_grooves_deg": row.build.angle_to_grooves,
            "tubes": row.scene_file.scene.tubes.count,
            "mark_spacing_deg": row.spacing,
            "moves": row.plan.moves,
            "minutes_below_wanted_share": row.plan.short_minutes,
            "absorbed_kwh": row.plan.absorbed / JOULES_PER_KWH,
            "loss_against_perfect": row.plan.loss,
            "litres": each.litres,
            "moves_per_litre": each.moves_per_litre,
        }
        for row, each in zip(rows, water, strict=True)
    ]


def print_comparison(
    scene_file: SceneFile, path: Path, date: dt.date | None, *, json: bool, out: Path | None = None
) -> None:
    """Compare the builds on a day, today at the site if none is named, print the result and write it with a picture."""
    day = dt.datetime.now(scene_file.site.zone).date() if date is None else date
    console.talk("Building a response table for each way of building: some minutes, once.")
    with scene_errors(path), console.progress_bar("Building the response tables") as progress:
        rows = compared_builds(scene_file, day, lambda built: response_table(built, progress=progress))
        water = [plan_water(row.scene_file, row.plan, row.table) for row in rows]
    numbers = compare_object(rows, water)
    width = console_width()
    title = section(f"{scene_file.site.name}, {day.isoformat()}".removeprefix(", "))
    sections = [title, compare_text(rows, water, width=width), *closing_sections(scene_file, [], width=width)]
    texts = {
        "compare.txt": "\n\n".join(sections),
        "compare.json": console.as_json({"date": day.isoformat(), "builds": numbers}),
        "compare.csv": _csv_text(numbers),
    }
    if out is not None:
        from tracking.paper.compare_figure import compare_picture

        picture = compare_picture(rows, [build_words(row) for row in rows])
        write_files(out, texts | {"compare.png": picture.png(), "compare.svg": picture.svg()})
        console.talk(f"Wrote {', '.join(texts)}, compare.png and compare.svg to {out}.")
    console.result(texts["compare.json" if json else "compare.txt"])


def _csv_text(numbers: Sequence[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(numbers[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(numbers)
    return text.getvalue()
