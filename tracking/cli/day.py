"""`focalrow day`: settings and power at each instant of a day, and the day's sums."""

from pathlib import Path
from typing import Annotated

import typer


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
            help="Trace each instant instead of reading the response table; so do --rays and --relative-error.",
        ),
    ] = False,
    table: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--table",
            help="Build the response table, if none is kept, also for a row that stays while the lens tilts: "
            "a quarter of a minute.",
        ),
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
        typer.Option(metavar="FILE", help="Write the plan or the season as a printed sheet (PDF).", show_default=False),
    ] = None,
    season_start: Annotated[
        str | None,
        typer.Option("--from", metavar="DATE", help="First day of a season: a sheet for it.", show_default=False),
    ] = None,
    season_end: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last day of the season.", show_default=False)
    ] = None,
    by: Annotated[
        str | None,
        typer.Option(metavar="SPAN", help="Days with one table: week or fortnight.", show_default="fortnight"),
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
        typer.Option(metavar="DIR", help="Also write text, JSON and CSV there.", show_default=False),
    ] = None,
) -> None:
    """Settings of the lens and power on each tube through a day, the day's sums and the plan of moves."""
    from tracking.cli import files, options
    from tracking.cli.day_sheet import check_season, check_sheet
    from tracking.cli.day_wish import PlanWish

    if table and (direct or rays is not None or relative_error is not None):
        raise options.wrong("--table", "it is given together with a wish to trace each instant", "one of the two")
    if rays is not None and relative_error is not None:
        raise options.wrong("--relative-error", "it is given together with --rays", "one of the two")
    check_sheet(sheet, paper, language)
    options.check_plan(share=share, moves=moves, lazy=lazy)
    interval = options.step("--step", step)
    asked = None if date is None else options.date("--date", date)
    season = check_season(season_start, season_end, by, date=date)
    if relative_error is not None:
        options.small_fraction("--relative-error", relative_error)
    options.check_run(rays=rays, seed=seed, threads=threads)
    files.check_folder(out)
    wish = PlanWish(share=share, most=moves, lazy=lazy, sheet=sheet, paper=paper, language=language)
    for option, instead in (("--compare", compare_builds), ("--measured", measured is not None)):
        if instead and (wish.is_asked or season is not None):
            raise options.wrong(option, "it is given together with a plan, a sheet or a season", "one of the two")

    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    if measured is not None:
        from tracking.cli.day_measured import compare

        compare(scene_file, scene, measured, as_json=json)
    elif compare_builds:
        from tracking.cli.day_compare import print_comparison

        print_comparison(scene_file, scene, asked, json=json, out=out)
    elif season is not None:
        from tracking.cli.day_season import print_season

        print_season(scene_file, scene, season, wish, json=json, out=out)
    else:
        from tracking.cli.day_run import print_day
        from tracking.plans.power import RELATIVE_ERROR, Effort

        effort = Effort(
            rays=rays,
            relative_error=RELATIVE_ERROR if relative_error is None else relative_error,
            seed=seed,
            threads=threads,
        )
        direct = direct or rays is not None or relative_error is not None
        print_day(scene_file, scene, asked, interval, effort, wish, direct=direct, table=table, json=json, out=out)
