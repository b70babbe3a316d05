"""`focalrow year`: months, solstices and equinoxes, energy, losses and distillate."""

from pathlib import Path
from typing import Annotated

import typer


def year(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    of: Annotated[
        int | None,
        typer.Option("--year", metavar="YEAR", help="The calendar year.", show_default="this year at the site"),
    ] = None,
    step: Annotated[str, typer.Option(metavar="TIME", help="Step of the year: a whole part of an hour.")] = "30 min",
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Also write year.txt, year.json, year.csv and four plots there.", show_default=False
        ),
    ] = None,
) -> None:
    """A year of power and water: months, solstices and equinoxes, losses, distillate, alarms."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    interval = options.step("--step", step)
    if 3600.0 % interval.total_seconds():
        raise options.wrong("--step", f'"{step}" is no whole part of an hour', 'such as "15 min" or "1 h"')
    if of is not None and not options.FIRST_YEAR <= of <= options.LAST_YEAR:
        raise options.wrong("--year", f"{of} is out of range", f"{options.FIRST_YEAR} to {options.LAST_YEAR}")
    files.check_folder(out)

    import datetime as dt

    from tracking.energy.compiling import boiling_beside
    from tracking.energy.year import year_of
    from tracking.response import response_table
    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    with scene_errors(scene):
        with boiling_beside(), console.progress_bar("Building the response table, once for this scene") as progress:
            response = response_table(scene_file, progress=progress)
        calendar_year = dt.datetime.now(scene_file.site.zone).year if of is None else of
        with console.progress_bar("Boiling through the year") as progress:
            found = year_of(scene_file, calendar_year, interval, response, progress=progress)
    from tracking.cli.year_numbers import csv_text, json_object
    from tracking.cli.year_table import DRINKING, table_text

    texts: dict[str, str | bytes] = {
        "year.txt": table_text(scene_file, found, width=console_width()),
        "year.json": console.as_json(json_object(found)),
        "year.csv": csv_text(found),
    }
    if out is not None:
        from tracking.paper.figures import figures_of

        texts |= figures_of(found, f"{scene_file.site.name or scene.stem}, {found.year}")
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(str(texts["year.json" if json else "year.txt"]))
    if json:
        for remark in (*(alarm.words for alarm in found.alarms[:3]), DRINKING):
            console.talk(remark)
