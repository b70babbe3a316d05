"""`focalrow stray`: where the focus of a lens goes that nobody moves."""

from pathlib import Path
from typing import Annotated

import typer


def stray(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="The day, as year-month-day.", show_default="today at the site")
    ] = None,
    tilt: Annotated[
        str | None,
        typer.Option(metavar="ANGLE", help="Tilt of the lens.", show_default="as last aimed the day before"),
    ] = None,
    swivel: Annotated[
        str | None,
        typer.Option(metavar="ANGLE", help="Swivel of the lens.", show_default="as last aimed the day before"),
    ] = None,
    step: Annotated[str, typer.Option(metavar="TIME", help="Time between instants.")] = "5 min",
    year: Annotated[bool, typer.Option("--year", help="Through the year: every 14th day of it.")] = False,  # noqa: FBT002
    rays: Annotated[int, typer.Option(metavar="N", help="Rays of each instant.")] = 65536,
    missing_tube: Annotated[
        int | None,
        typer.Option(metavar="K", help="Take tube K out of the row, counted from 1, as a broken one.",
                     show_default=False),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Also write table and JSON there.", show_default=False)
    ] = None,
) -> None:
    """Where the focus goes when nobody moves the lens, and what it may do there. Never a promise of safety."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    interval = options.step("--step", step)
    options.check_run(rays=rays, seed=0, threads=None)
    files.check_folder(out)
    day = options.date("--date", date) if date is not None else None
    leans = options.angle("--tilt", tilt, limit=180.0) if tilt is not None else None
    turns = options.angle("--swivel", swivel, limit=720.0) if swivel is not None else None

    import datetime as dt

    from tracking.scenefile import read_scene
    from tracking.stray.idle import idle_path
    from tracking.stray.stretch import day_times, idle_setting, year_times

    scene_file = read_scene(scene)
    count = scene_file.scene.tubes.count
    if missing_tube is not None and not 1 <= missing_tube <= count:
        raise options.wrong("--missing-tube", f"{missing_tube} is no tube", f"a whole number from 1 to {count}")
    first = dt.datetime.now(scene_file.site.zone).date() if day is None else day
    setting = idle_setting(scene_file, first, leans, turns)
    times = year_times(scene_file.site, first.year, interval) if year else day_times(scene_file.site, first, interval)
    with scene_errors(scene), console.progress_bar("Following the focus") as progress:
        found = idle_path(
            scene_file, setting, times, step=interval, rays=rays,
            missing_tube=None if missing_tube is None else missing_tube - 1, progress=progress,
        )  # fmt: skip
    from tracking.cli.stray_table import json_object, table_text

    days = f"every 14th day of {first.year}" if year else f"{first}"
    numbers = json_object(scene_file, found, days, missing_tube)
    text = table_text(scene_file, found, days, missing_tube, width=console_width())
    if out is not None:
        files.write_files(out, {"stray.txt": text, "stray.json": console.as_json(numbers)})
        console.talk(f"Wrote stray.txt and stray.json to {out}.")
    console.result(console.as_json(numbers) if json else text)
