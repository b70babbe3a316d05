"""`focalrow fit`: choose lens height and tilt."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from tracking.energy.fit.fit import Fitted
    from tracking.energy.fit.hours import Span
    from tracking.energy.fit.result import Way
    from tracking.energy.fit.sample import Effort
    from tracking.scenefile import SceneFile


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
    builds: Annotated[  # noqa: FBT002
        bool, typer.Option("--builds", help="Also compare ways to build: grooves, tubes, row; a minute or two.")
    ] = False,
    tolerances: Annotated[  # noqa: FBT002
        bool, typer.Option("--tolerances", help="Also find the errors that the design bears; a minute or two.")
    ] = False,
    marks: Annotated[
        str | None,
        typer.Option(
            metavar="DATE",
            help="Also compare spacings of the marks on a day, for four ways to build; some minutes.",
            show_default=False,
        ),
    ] = None,
    hours: Annotated[
        int,
        typer.Option(metavar="N", help="Positions of the sun traced for each candidate; rounded up to 16 replicates."),
    ] = 384,
    rays: Annotated[
        int, typer.Option(metavar="N", help="Rays for each of them; rounded up to a power of two.")
    ] = 4096,
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
    places: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV",
            help="Instead: lens height and tilt at many places (name, latitude, longitude, altitude, timezone).",
            show_default=False,
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help='With --places: on a Dask cluster that runs already, such as "tcp://192.0.2.7:8786".',
            show_default="processes of this machine",
        ),
    ] = None,
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
    from tracking.cli.fit_apart import check_apart
    from tracking.cli.fit_more import further_answers
    from tracking.cli.fit_options import WORST_MONTH, effort_of, span_of, this_year, way_of
    from tracking.cli.fit_wrong_way import turned_over, wrong_way_object, wrong_way_sections
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    options.check_run(rays=None, seed=seed, threads=threads)
    way = way_of(moved)
    files.check_folder(out)

    more_asked = builds or tolerances or marks is not None
    check_apart(widths=widths, frame=frame, places=places, scheduler=scheduler, more=more_asked)
    if widths is not None:
        from tracking.cli.fit_widths import tell_widths

        tell_widths(scene, widths, seed=seed, threads=threads, json=json, out=out)
        return
    if frame:
        from tracking.cli.fit_frame import tell_frame

        tell_frame(scene, json=json, out=out)
        return

    from tracking.scenefile import read_scene

    day = None if marks is None else options.date("--marks", marks)
    effort = effort_of(hours, rays, seed, threads)
    scene_file = read_scene(scene)
    if day is not None and scene_file.mount.kind == "fixed":
        raise options.wrong("--marks", "the mount is fixed, so nobody sets it to a mark", "leave it out")
    is_worst = over == WORST_MONTH
    span = span_of("year" if is_worst else over, this_year(year, scene_file.site.timezone))
    if places is not None:
        from tracking.cli.fit_places import Where, tell_places
        from tracking.energy.fit.places import Question

        question = Question(
            scene_file=scene_file, span=span, worst_month=is_worst, moved=way, with_tilt=tilt, effort=effort
        )
        tell_places(question, places, Where(scheduler=scheduler, threads=threads), json=json, out=out)
        return
    with scene_errors(scene):
        fitted = fitted_scene(scene_file, span, worst_month=is_worst, moved=way, with_tilt=tilt, effort=effort)
        more = further_answers(fitted, scene_file, effort, builds=builds, tolerances=tolerances, marks=day)
        cost = None if more.interrupted else turned_over(fitted, effort)
    if fitted.fit.interrupted or more.interrupted:
        console.talk("focalrow: interrupted; what was found so far is kept.")
    from tracking.cli.fit_numbers import json_object
    from tracking.cli.fit_table import table_text
    from tracking.cli.fit_tilt_table import tilt_object

    width = console_width()
    mounted = scene_file.scene.lens.grooves_toward
    sections = [*more.sections(width=width), *wrong_way_sections(cost, mounted, width=width)]
    numbers = json_object(scene_file, fitted.fit) | {"tilt": tilt_object(fitted.fit.tilt)} | more.numbers()
    texts = {
        "fit.txt": table_text(scene_file, fitted.fit, sections, width=width),
        "fit.json": console.as_json(numbers | {"wrong_way": wrong_way_object(cost)}),
    }
    files.write_if_asked(out, texts)
    console.result(texts["fit.json" if json else "fit.txt"])


def fitted_scene(
    scene_file: "SceneFile", span: "Span", *, worst_month: bool, moved: "Way", with_tilt: bool, effort: "Effort"
) -> "Fitted":
    """Lens height and tilt, with a bar while they are sought."""
    from tracking.cli import console
    from tracking.energy.fit.fit import fit_of
    from tracking.response import response_table

    with console.progress_bar("Trying lens heights and tilts") as progress:
        return fit_of(
            scene_file,
            span,
            table_of=lambda built, tell: response_table(built, progress=tell),
            worst_month=worst_month,
            moved=moved,
            with_tilt=with_tilt,
            effort=effort,
            progress=progress,
        )
