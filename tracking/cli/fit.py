"""`focalrow fit`: choose lens height and tilt."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from tracking.energy.fit.hours import Span


def fit(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    over: Annotated[
        str,
        typer.Option(metavar="SPAN", help='The time that counts: "year", a month "2026-06" or a day "2026-06-21".'),
    ] = "year",
    year: Annotated[
        int | None,
        typer.Option("--year", metavar="YEAR", help="Which year.", show_default="this year at the site"),
    ] = None,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same result.")] = 0,
    threads: Annotated[
        int | None,
        typer.Option(metavar="N", help="Threads; the result does not depend on it.", show_default="all processors"),
    ] = None,
    frame: Annotated[  # noqa: FBT002
        bool, typer.Option("--frame", help="Instead: the room that the unit needs, and the wind on its sheet.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Also write fit.txt and fit.json there.", show_default=False),
    ] = None,
) -> None:
    """Choose the lens height for a place, a lens and its tubes: most energy, and how exact the height must be."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    options.check_run(rays=None, seed=seed, threads=threads)
    files.check_folder(out)

    if frame:
        from tracking.cli.fit_frame import tell_frame

        tell_frame(scene, json=json, out=out)
        return

    from tracking.energy.fit.fit import fit_of
    from tracking.energy.fit.sample import Effort
    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    span = span_of(over, this_year(year, scene_file.site.timezone))
    with scene_errors(scene), console.progress_bar("Trying lens heights") as progress:
        found = fit_of(scene_file, span, effort=Effort(seed=seed, threads=threads), progress=progress)
    from tracking.cli.fit_numbers import json_object
    from tracking.cli.fit_table import table_text

    texts = {
        "fit.txt": table_text(scene_file, found, width=console_width()),
        "fit.json": console.as_json(json_object(scene_file, found)),
    }
    if out is not None:
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(texts["fit.json" if json else "fit.txt"])


def this_year(year: int | None, timezone: str) -> int:
    """The year asked for, or the present one on a clock.

    Raises
    ------
    InputError
        If it is out of range.
    """
    import datetime as dt
    import zoneinfo

    from tracking.cli import options

    if year is None:
        return dt.datetime.now(zoneinfo.ZoneInfo(timezone)).year
    if not options.FIRST_YEAR <= year <= options.LAST_YEAR:
        raise options.wrong("--year", f"{year} is out of range", f"{options.FIRST_YEAR} to {options.LAST_YEAR}")
    return year


def span_of(text: str, year: int) -> "Span":
    """The time that is written as "year", year-month or year-month-day.

    Raises
    ------
    InputError
        If it is none of these, or not in the calendar.
    """
    import re

    from tracking.cli import options
    from tracking.energy.fit.hours import Span

    if text == "year":
        return Span(year=year)
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, flags=re.ASCII):
        day = options.date("--over", text)
        return Span(year=day.year, month=day.month, day=day.day)
    if re.fullmatch(r"\d{4}-\d{2}", text, flags=re.ASCII):
        first = options.date("--over", f"{text}-01")
        return Span(year=first.year, month=first.month)
    raise options.wrong("--over", f'"{text}" is no span of time', '"year", a month "2026-06" or a day "2026-06-21"')
