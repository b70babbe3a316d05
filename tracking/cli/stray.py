"""`focalrow stray`: where the focus of a lens goes that nobody moves."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from tracking.mount import Setting
    from tracking.paper.style import Picture
    from tracking.scenefile import SceneFile


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
    after_plan: Annotated[  # noqa: FBT002
        bool, typer.Option("--after-plan", help="Leave the lens as the plan of moves of the day before does.")
    ] = False,
    step: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="Time between instants.", show_default="2 min, with --year 20 min"),
    ] = None,
    year: Annotated[  # noqa: FBT002
        bool, typer.Option("--year", help="Through the year: each 14th day, and around each peak.")
    ] = False,
    rays: Annotated[int, typer.Option(metavar="N", help="Rays of each instant.")] = 32768,
    missing_tube: Annotated[
        int | None,
        typer.Option(
            metavar="K", help="Take tube K out of the row, counted from 1, as a broken one.", show_default=False
        ),
    ] = None,
    walk_off: Annotated[  # noqa: FBT002
        bool, typer.Option("--walk-off", help="Also: what happens after each row of the plan if nobody comes.")
    ] = False,
    aimed: Annotated[  # noqa: FBT002
        bool, typer.Option("--aimed", help="Also: what misses the tubes while the lens is aimed.")
    ] = False,
    park: Annotated[  # noqa: FBT002
        bool, typer.Option("--park", help="Also: the best pose to leave the lens in (some minutes).")
    ] = False,
    keep_out: Annotated[  # noqa: FBT002
        bool, typer.Option("--keep-out", help="Also: the region around the focal line to keep out of.")
    ] = False,
    threshold: Annotated[
        str, typer.Option(metavar="FLUX", help="For walk-off and parking: the flux that counts.")
    ] = "4.3 kW/m^2",
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Also write table, JSON and pictures there.", show_default=False)
    ] = None,
) -> None:
    """Where the focus goes when nobody moves the lens, and what it may do there. Never a promise of safety."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    interval = options.step("--step", step or (YEAR_STEP if year else DAY_STEP))
    options.check_run(rays=rays, seed=0, threads=None)
    files.check_folder(out)
    day = options.date("--date", date) if date is not None else None
    limit = options.flux("--threshold", threshold)
    leans = options.angle("--tilt", tilt, limit=180.0) if tilt is not None else None
    turns = options.angle("--swivel", swivel, limit=720.0) if swivel is not None else None
    if after_plan and (tilt is not None or swivel is not None):
        raise options.wrong("--after-plan", "it is given together with a pose", "--after-plan, or --tilt and --swivel")

    from raytrace.trace import prepare
    from tracking.scenefile import read_scene
    from tracking.stray.idle import idle_path
    from tracking.stray.refine import refined
    from tracking.stray.stretch import DAYS_APART, day_times, idle_setting, year_times

    scene_file = read_scene(scene)
    count = scene_file.scene.tubes.count
    if missing_tube is not None and not 1 <= missing_tube <= count:
        raise options.wrong("--missing-tube", f"{missing_tube} is no tube", f"a whole number from 1 to {count}")
    first = dt.datetime.now(scene_file.site.zone).date() if day is None else day
    with scene_errors(scene):
        setting = _left_after_plan(scene_file, first) if after_plan else idle_setting(scene_file, first, leans, turns)
    times = year_times(scene_file.site, first.year, interval) if year else day_times(scene_file.site, first, interval)
    broken = None if missing_tube is None else missing_tube - 1
    with scene_errors(scene), console.progress_bar("Following the focus") as progress:
        prepared = prepare(scene_file.scene)
        found = idle_path(
            scene_file, setting, times, step=interval, rays=rays,
            missing_tube=broken, prepared=prepared, progress=progress,
        )  # fmt: skip
        if year:
            found = refined(scene_file, found, missing_tube=broken, prepared=prepared, progress=progress)
    from tracking.cli import stray_more as more
    from tracking.cli.stray_table import json_object, table_text

    days = f"every {DAYS_APART}th day of {first.year}" if year else f"{first}"
    width = console_width()
    with scene_errors(scene), console.progress_bar("Answering what else was asked") as progress:
        ask = more.Asked(
            date=first, step=interval, rays=rays, threshold=limit, missing_tube=missing_tube, aimed=aimed,
            walk_off=walk_off, park=park, keep_out=keep_out,
        )  # fmt: skip
        answers = more.further(scene_file, ask, progress, width=width)
    numbers = json_object(scene_file, found, days, missing_tube) | answers.numbers
    text = table_text(scene_file, found, days, missing_tube, answers.sections, width=width)
    if out is not None:
        from tracking.paper.stray_figures import idle_figures
        from tracking.paper.stray_regions import keep_out_figure

        pictures = idle_figures(found, days)
        if answers.keep_out is not None:
            pictures += (keep_out_figure(scene_file.scene, answers.keep_out),)
        _write(out, {"stray.txt": text, "stray.json": console.as_json(numbers)}, pictures)
    console.result(console.as_json(numbers) if json else text)


def _left_after_plan(scene_file: "SceneFile", date: dt.date) -> "Setting":
    """The pose in which the plan of moves of the day before leaves the lens."""
    from tracking.cli import console
    from tracking.response import response_table
    from tracking.stray.stretch import last_of_plan

    with console.progress_bar("Building the response table") as progress:
        table = response_table(scene_file, progress=progress)
    return last_of_plan(scene_file, date - dt.timedelta(days=1), table)


def _write(out: Path, texts: dict[str, str], pictures: "tuple[Picture, ...]") -> None:
    from tracking.cli import console, files

    written: dict[str, str | bytes] = {**texts}
    for picture in pictures:
        written |= {f"{picture.name}.png": picture.png(), f"{picture.name}.svg": picture.svg()}
    files.write_files(out, written)
    console.talk(f"Wrote {', '.join(written)} to {out}.")


DAY_STEP, YEAR_STEP = "2 min", "20 min"
"""A focal line moves by no more than its width in the first; a year at that step would take a long time."""
