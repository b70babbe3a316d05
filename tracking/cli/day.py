"""`focalrow day`: settings and power at each instant of a day, and the day's sums."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from tracking.plans.day import Day

MINUTES_PER_HOUR = 60.0

NO_PLAN = (
    "There is no plan of moves yet: it needs the response table, which takes about a minute to build, once. "
    "--table builds it."
)


def day(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="The day, as year-month-day.", show_default="today at the site")
    ] = None,
    step: Annotated[str, typer.Option(metavar="TIME", help="Time between instants, in local clock time.")] = "15 min",
    rays: Annotated[
        int | None,
        typer.Option(metavar="N", help="Rays for each instant, instead of --relative-error.", show_default=False),
    ] = None,
    relative_error: Annotated[
        float | None,
        typer.Option(
            metavar="X",
            help="Trace each instant until the relative standard error is this small.",
            show_default="0.005",
        ),
    ] = None,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same result.")] = 0,
    threads: Annotated[
        int | None,
        typer.Option(metavar="N", help="Threads; the result does not depend on it.", show_default="all processors"),
    ] = None,
    direct: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--direct",
            help="Trace each instant, as without a kept response table and with --rays or --relative-error.",
        ),
    ] = False,
    table: Annotated[  # noqa: FBT002
        bool, typer.Option("--table", help="Build the scene's response table first, if none is kept: half a minute.")
    ] = False,
    share: Annotated[
        float | None,
        typer.Option(
            metavar="X",
            help="Plan of moves: keep this share of the power of perfect aiming at every minute.",
            show_default="0.9",
        ),
    ] = None,
    moves: Annotated[
        int | None,
        typer.Option(metavar="N", help="Plan of moves: the best with at most so many settings.", show_default=False),
    ] = None,
    lazy: Annotated[  # noqa: FBT002
        bool, typer.Option("--lazy", help="Plan of moves: the fewest settings for 80 % of the day's energy.")
    ] = False,
    compare_builds: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--compare", help="Instead: moves and energy of four builds and four mark spacings; builds their tables."
        ),
    ] = False,
    sheet: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the plan of moves as a printed sheet (PDF).", show_default=False),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="SIZE", help="Paper of the sheet: A4 or Letter.")] = "A4",
    language: Annotated[str, typer.Option(metavar="CODE", help="Language of the sheet: en, es, fr or pt.")] = "en",
    measured: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV",
            help="Instead of a day: measured distillate (start, end, distillate_ml, dni_w_m2) against predicted.",
            show_default=False,
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Also write day.txt, day.json and day.csv there.", show_default=False),
    ] = None,
) -> None:
    """Settings of the lens and power on each tube through a day, from ray traces, and the day's sums."""
    from tracking.cli import console, files, options
    from tracking.cli.day_compare import print_comparison
    from tracking.cli.day_sheet import check_sheet, write_sheet
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    if table and (direct or rays is not None or relative_error is not None):
        raise options.wrong("--table", "it is given together with a wish to trace each instant", "one of the two")
    if rays is not None and relative_error is not None:
        raise options.wrong("--relative-error", "it is given together with --rays", "one of the two")
    asked_plan = share is not None or moves is not None or lazy or sheet is not None
    check_sheet(sheet, paper, language)
    options.check_plan(share=share, moves=moves, lazy=lazy)
    interval = options.step("--step", step)
    asked = None if date is None else options.date("--date", date)
    if relative_error is not None:
        options.small_fraction("--relative-error", relative_error)
    options.check_run(rays=rays, seed=seed, threads=threads)
    files.check_folder(out)

    import datetime as dt

    from tracking.plans.day import day_plan
    from tracking.plans.moves import chosen_plan
    from tracking.plans.power import RELATIVE_ERROR, Effort
    from tracking.response import kept_response_table, response_table
    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    if measured is not None:
        from tracking.cli.day_measured import compare

        compare(scene_file, scene, measured, as_json=json)
        return
    effort = Effort(
        rays=rays,
        relative_error=RELATIVE_ERROR if relative_error is None else relative_error,
        seed=seed,
        threads=threads,
    )
    if compare_builds:
        print_comparison(scene_file, scene, asked, json=json)
        return
    direct = direct or rays is not None or relative_error is not None
    with scene_errors(scene):
        response = None if direct else kept_response_table(scene_file)
        # A plan by hand is asked for by its own options: then powers may still be traced, and the plan has its table.
        plan_table = kept_response_table(scene_file) if asked_plan and direct else response
        if (table or asked_plan) and plan_table is None:
            with console.progress_bar("Building the response table, once for this scene") as progress:
                plan_table = response_table(scene_file, progress=progress)
            response = None if direct else plan_table
        with console.progress_bar("Tracing the day (the very first run compiles first)") as progress:
            plan = day_plan(
                scene_file,
                dt.datetime.now(scene_file.site.zone).date() if asked is None else asked,
                interval,
                effort=effort,
                table=response,
                progress=progress,
            )
    # A day on which nothing is aimed has no plan and needs no word about it, unless one was asked for.
    moves_plan = (
        None
        if plan_table is None or (_is_dark(plan) and not asked_plan)
        else chosen_plan(scene_file, plan.date, plan_table, share=share, most=moves, lazy=lazy)
    )
    from tracking.cli.day_numbers import csv_text, json_object
    from tracking.cli.day_table import remarks, sun_words, table_text

    texts = {
        "day.txt": table_text(
            scene_file,
            plan,
            effort,
            response,
            width=console_width(),
            moves=moves_plan,
            remark="" if direct or _is_dark(plan) or moves_plan is not None else NO_PLAN,
        ),
        "day.json": console.as_json(json_object(plan, moves_plan)),
        "day.csv": csv_text(plan),
    }
    if sheet is not None and moves_plan is not None and plan_table is not None:
        write_sheet(scene_file, moves_plan, plan_table, sheet, paper=paper, language=language)
        console.talk(f"Wrote {sheet}.")
    _show(texts, out, json=json, told=[*sun_words(scene_file, plan), *remarks(plan)])


def _is_dark(plan: "Day") -> bool:
    """Whether the lens is aimed for less than a minute."""
    return plan.totals.hours_aimed < 1.0 / MINUTES_PER_HOUR


def _show(texts: dict[str, str], out: Path | None, *, json: bool, told: list[str]) -> None:
    """Write the files and print what was asked for; with JSON the remarks go to standard error."""
    from tracking.cli import console, files

    if out is not None:
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(texts["day.json" if json else "day.txt"])
    for remark in told if json else ():
        console.talk(remark)
