"""`focalrow fit`: choose lens height and tilt."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from tracking.energy.fit.hours import Span
    from tracking.energy.fit.result import Way
    from tracking.energy.fit.sample import Effort

DEFAULT_HOURS, DEFAULT_RAYS = 384, 4096
MOST_HOURS, MOST_RAYS = 100_000, 1 << 20
"""Far more than a comparison of designs needs."""


WORST_MONTH = "worst-month"


def fit(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    over: Annotated[
        str,
        typer.Option(
            metavar="SPAN",
            help='The time that counts: "year", "worst-month", a month "2026-06" or a day "2026-06-21".',
        ),
    ] = "year",
    year: Annotated[
        int | None,
        typer.Option("--year", metavar="YEAR", help="Which year.", show_default="this year at the site"),
    ] = None,
    moved: Annotated[
        str,
        typer.Option(
            metavar="HOW",
            help=(
                '"perfectly": kept aimed; "by-plan": the plan with the fewest moves of each day; "seasonal": the tilt '
                'set four times a year; "fixed": the best single setting.'
            ),
        ),
    ] = "perfectly",
    tilt: Annotated[bool, typer.Option(help="Also look at the tilt.")] = True,  # noqa: FBT002
    hours: Annotated[
        int,
        typer.Option(metavar="N", help="Positions of the sun traced for each candidate; rounded up to 16 replicates."),
    ] = DEFAULT_HOURS,
    rays: Annotated[
        int, typer.Option(metavar="N", help="Rays for each of them; rounded up to a power of two.")
    ] = DEFAULT_RAYS,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same result.")] = 0,
    threads: Annotated[
        int | None,
        typer.Option(metavar="N", help="Threads; the result does not depend on it.", show_default="all processors"),
    ] = None,
    widths: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV",
            help="Instead: focal length, slope error and side of a lens, from measured widths of its focal line.",
            show_default=False,
        ),
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
    """Choose lens height and tilt for a place, a lens and its tubes: most energy, and how exact it has to be.

    Ctrl-C ends the search; what was found so far is kept and printed.
    """
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    options.check_run(rays=None, seed=seed, threads=threads)
    way = way_of(moved)
    files.check_folder(out)

    if widths is not None:
        from tracking.cli.fit_widths import tell_widths

        if frame:
            raise options.wrong("--frame", "it is given together with --widths", "one of the two")
        tell_widths(scene, widths, seed=seed, threads=threads, json=json, out=out)
        return
    if frame:
        from tracking.cli.fit_frame import tell_frame

        tell_frame(scene, json=json, out=out)
        return

    from tracking.energy.fit.fit import fit_of
    from tracking.response import response_table
    from tracking.scenefile import read_scene

    effort = effort_of(hours, rays, seed, threads)
    scene_file = read_scene(scene)
    span = span_of("year" if over == WORST_MONTH else over, this_year(year, scene_file.site.timezone))
    with scene_errors(scene), console.progress_bar("Trying lens heights and tilts") as progress:
        fitted = fit_of(
            scene_file,
            span,
            table_of=lambda built, tell: response_table(built, progress=tell),
            worst_month=over == WORST_MONTH,
            moved=way,
            with_tilt=tilt,
            effort=effort,
            progress=progress,
        )
    found = fitted.fit
    if found.interrupted:
        console.talk("focalrow: interrupted; what was found so far is kept.")
    from tracking.cli.fit_numbers import json_object
    from tracking.cli.fit_table import table_text
    from tracking.cli.fit_tilt_table import tilt_object

    texts = {
        "fit.txt": table_text(scene_file, found, width=console_width()),
        "fit.json": console.as_json(json_object(scene_file, found) | {"tilt": tilt_object(found.tilt)}),
    }
    if out is not None:
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(texts["fit.json" if json else "fit.txt"])


def way_of(text: str) -> "Way":
    """How the mount is moved.

    Raises
    ------
    InputError
        If it is none of the words.
    """
    from tracking.cli import options
    from tracking.energy.fit.result import WAYS

    for way in WAYS:
        if text == way:
            return way
    raise options.wrong("--moved", f'"{text}" is no way to move a lens', ", ".join(f'"{way}"' for way in WAYS))


def effort_of(hours: int, rays: int, seed: int, threads: int | None) -> "Effort":
    """Hours and rays for each candidate.

    Raises
    ------
    InputError
        If a number is out of range.
    """
    from tracking.cli import options
    from tracking.energy.fit.sample import REPLICATES, Effort

    for option, value, low, high in (("--hours", hours, 1, MOST_HOURS), ("--rays", rays, 1, MOST_RAYS)):
        if not low <= value <= high:
            raise options.wrong(option, f"{value} is out of range", f"a whole number from {low} to {high}")
    return Effort(draws=-(-hours // REPLICATES), rays=1 << (rays - 1).bit_length(), seed=seed, threads=threads)


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
    raise options.wrong(
        "--over", f'"{text}" is no span of time', '"year", "worst-month", a month "2026-06" or a day "2026-06-21"'
    )
