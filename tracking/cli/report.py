"""`focalrow report`: all of a scene as one page for people."""

import shlex
from pathlib import Path
from typing import Annotated

import typer

DEFAULT_RAYS = 1_000_000


def report(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the files.", show_default=False)],
    at: Annotated[
        str | None,
        typer.Option(
            metavar="TIME", help="The pictures of light show this moment.", show_default="sun straight before the lens"
        ),
    ] = None,
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="The day, as year-month-day.", show_default="today at the site")
    ] = None,
    rays: Annotated[int, typer.Option(metavar="N", help="Rays of the page's one trace.")] = DEFAULT_RAYS,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same page.")] = 0,
    language: Annotated[str, typer.Option(metavar="CODE", help="Language of the sheets: en, es, fr or pt.")] = "en",
) -> None:
    """One HTML page with all that is known of a scene, pictures within, and the day's sheets to print."""
    from importlib.metadata import version

    from tracking.cli import console, files, options
    from tracking.cli.day_sheet import check_sheet
    from tracking.cli.draw import all_pictures, numbers_of
    from tracking.cli.light_numbers import Light
    from tracking.cli.report_gather import gathered
    from tracking.cli.scene_words import scene_errors
    from tracking.scenefile import read_scene

    moment = None if at is None else options.instant("--at", at)
    asked = None if date is None else options.date("--date", date)
    options.check_run(rays=rays, seed=seed, threads=None)
    files.check_folder(out)
    check_sheet(None, "A4", language)
    scene_file = read_scene(scene)
    with scene_errors(scene):
        drawn = all_pictures(scene_file, angles=(0.0, 0.0), moment=moment, date=asked, rays=rays, seed=seed)
        with console.progress_bar("Working out height, year, stray light and sheets") as progress:
            more = gathered(
                scene_file,
                drawn.plan.date,
                drawn.table,
                drawn.moves,
                language=language,
                seed=seed,
                progress=progress,
            )
    from tracking.cli.report_numbers import json_object, pictures_of
    from tracking.cli.report_sections import Told, sections
    from tracking.paper.report import page

    command = ["focalrow", "report", str(scene), "--out", str(out), "--date", drawn.plan.date.isoformat()]
    command += [*([] if at is None else ["--at", at]), "--rays", str(rays), "--seed", str(seed)]
    command += [] if language == "en" else ["--language", language]
    day = drawn.plan.date
    light = Light(scene_file=scene_file, sunlight=drawn.sunlight, trace=drawn.trace)
    numbers = numbers_of(scene_file, drawn)
    told = Told(
        light=light,
        table=drawn.table,
        plan=drawn.plan,
        moves=drawn.moves,
        more=more,
        pictures=(*drawn.pictures, *pictures_of(scene_file, drawn.plan.date, more)),
        machine=numbers["machine"],
        command=shlex.join(command),
        version=version("focalrow"),
        seed=seed,
    )
    texts: dict[str, str | bytes] = {
        "report.html": page(
            f"Solar boiler at {scene_file.site.name or 'the site'}, {day.day} {day:%B %Y}",
            f"Report of focalrow {told.version} on {scene.name}. All times are local wall clock of "
            f"{scene_file.site.timezone}.",
            sections(told),
        ),
        "report.json": console.as_json(json_object(scene_file, drawn, light, more, numbers)),
        **more.sheets,
    }
    files.write_files(out, texts)
    console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(f"Open {out / 'report.html'} in a browser, or print it.")
