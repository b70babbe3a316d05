"""`focalrow draw`: pictures and solids of a scene, and full-size templates."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tracking.cli import draw_templates

if TYPE_CHECKING:
    import datetime as dt

    from raytrace.response import ResponseTable
    from raytrace.result import TraceResult
    from tracking.cli.light_numbers import Sunlight
    from tracking.paper.solids import Machine
    from tracking.paper.style import Picture
    from tracking.plans.day import Day
    from tracking.plans.moves import MovesPlan
    from tracking.scenefile import SceneFile

DEFAULT_RAYS = 1_000_000
RAYS_IN_SOLIDS = 64
DAY_STEP_MINUTES = 15


def draw(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for pictures and solids.", show_default=False)
    ] = None,
    transversal: Annotated[
        str, typer.Option(metavar="ANGLE", help="The sun's angle across the grooves for the pictures of one trace.")
    ] = "0 deg",
    longitudinal: Annotated[str, typer.Option(metavar="ANGLE", help="The sun's angle along the grooves.")] = "0 deg",
    at: Annotated[
        str | None,
        typer.Option(
            metavar="TIME", help="Sun, DNI and settings of a moment instead of the angles.", show_default=False
        ),
    ] = None,
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="The day, as year-month-day.", show_default="today at the site")
    ] = None,
    rays: Annotated[int, typer.Option(metavar="N", help="Rays of the pictures' one trace.")] = DEFAULT_RAYS,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same pictures.")] = 0,
    templates: draw_templates.Folder = None,
    paper: draw_templates.Paper = None,
    language: draw_templates.Language = None,
    pin: draw_templates.Pin = None,
    level_pin: draw_templates.LevelPin = None,
    radius: draw_templates.Radius = None,
    magnetic: draw_templates.Magnetic = False,  # noqa: FBT002
    json: Annotated[bool, typer.Option("--json", help="Print the numbers behind the pictures as JSON.")] = False,  # noqa: FBT002
) -> None:
    """Pictures of light, sun and energy as PNG and SVG, solids as GLB, STL and PLY; full-size templates."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.scenefile import read_scene

    moment = None if at is None else options.instant("--at", at)
    angles = options.angle("--transversal", transversal), options.angle("--longitudinal", longitudinal)
    asked = None if date is None else options.date("--date", date)
    options.check_run(rays=rays, seed=seed, threads=None)
    files.check_folder(out)
    wishes = draw_templates.Wishes(
        folder=templates, paper=paper, language=language, pin=pin, level_pin=level_pin, radius=radius, magnetic=magnetic
    )
    draw_templates.check_templates(wishes, out)
    scene_file = read_scene(scene)
    numbers, told = draw_templates.write_templates(scene_file, scene, wishes, asked)
    if out is None:
        console.result(console.as_json({"scene": str(scene), "templates": numbers}) if json else "\n".join(told))
        return
    with scene_errors(scene):
        drawn = all_pictures(scene_file, angles=angles, moment=moment, date=asked, rays=rays, seed=seed)
    of_pictures = numbers_of(scene_file, drawn) | ({"templates": numbers} if numbers else {})
    texts = written(drawn.pictures, drawn.machine)
    texts["draw.json"] = console.as_json(of_pictures)
    files.write_files(out, texts)
    console.talk(f"Wrote {len(texts)} files to {out}: {', '.join(sorted(texts))}.")
    alts = [f"{picture.name}: {picture.alt}" for picture in drawn.pictures]
    console.result(texts["draw.json"] if json else "\n".join([*told, *alts]))  # type: ignore[arg-type]


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """What was traced for the pictures, the pictures, and the machine."""

    sunlight: "Sunlight"
    trace: "TraceResult"
    pictures: "tuple[Picture, ...]"
    machine: "Machine"
    table: "ResponseTable"
    plan: "Day"
    moves: "MovesPlan | None"


def all_pictures(
    scene_file: "SceneFile",
    *,
    angles: tuple[float, float],
    moment: "dt.datetime | None",
    date: "dt.date | None",
    rays: int,
    seed: int,
) -> Drawn:
    """Trace what the pictures show, and draw them; the machine at the moment's setting; the day and its moves.

    Powers of the day come from the scene's response table, which is built where none is kept.
    """
    import datetime as dt

    from raytrace.paths import ray_paths
    from raytrace.trace import trace
    from tracking.cli import console
    from tracking.cli.light import sunlight_at, sunlight_of_angles
    from tracking.mount import row_pose
    from tracking.paper.light_figures import light_pictures
    from tracking.paper.light_view import LightView
    from tracking.paper.solids import drawn_setting, machine
    from tracking.paper.sun_figures import sky_pictures
    from tracking.plans.day import day_plan
    from tracking.plans.moves import chosen_plan
    from tracking.response import response_table

    sunlight = sunlight_of_angles(scene_file, *angles, 0.0) if moment is None else sunlight_at(scene_file, moment)
    day = date or dt.datetime.now(scene_file.site.zone).date()
    with console.progress_bar("Building the response table, once for this scene") as progress:
        table = response_table(scene_file, progress=progress)
    with console.progress_bar("Tracing for the pictures") as progress:
        traced = trace(
            scene_file.scene,
            transversal_angle=sunlight.transversal,
            longitudinal_angle=sunlight.longitudinal,
            rays=rays,
            seed=seed,
            row=sunlight.row,
        )
        view = LightView(scene=scene_file.scene, trace=traced, row=sunlight.row, dni=sunlight.dni)
        light = light_pictures(view)
        plan = day_plan(scene_file, day, dt.timedelta(minutes=DAY_STEP_MINUTES), table=table)
        # A day on which nothing is aimed has no plan of moves.
        moves = chosen_plan(scene_file, day, table) if 60.0 * plan.totals.hours_aimed >= 1.0 else None
        sky = sky_pictures(scene_file, plan, moves, table, seed=seed, progress=progress)
    if sunlight.moment is None:
        tilt, swivel = drawn_setting(scene_file.mount)
    else:
        tilt, swivel = sunlight.moment.tilt, sunlight.moment.swivel
    row = row_pose(scene_file.mount, tilt, scene_file.scene.tubes.angle_to_grooves)
    lines = ray_paths(
        scene_file.scene,
        transversal_angle=sunlight.transversal,
        longitudinal_angle=sunlight.longitudinal,
        rays=RAYS_IN_SOLIDS,
        seed=seed,
        row=row,
    )
    return Drawn(
        sunlight=sunlight,
        trace=traced,
        pictures=(*light, *sky),
        machine=machine(scene_file, tilt=tilt, swivel=swivel, row=row, rays=lines),
        table=table,
        plan=plan,
        moves=moves,
    )


def written(pictures: "tuple[Picture, ...]", machine: "Machine") -> dict[str, str | bytes]:
    """All files of pictures and solids, by name."""
    texts: dict[str, str | bytes] = {}
    for picture in pictures:
        texts[f"{picture.name}.png"] = picture.png()
        texts[f"{picture.name}.svg"] = picture.svg()
    return texts | machine.files()


def numbers_of(scene_file: "SceneFile", drawn: Drawn) -> dict[str, Any]:
    """The numbers behind the pictures, for programs."""
    return {
        "scene": str(scene_file.path),
        "transversal_angle_deg": drawn.sunlight.transversal,
        "longitudinal_angle_deg": drawn.sunlight.longitudinal,
        "dni_w_m2": drawn.sunlight.dni,
        "pictures": {p.name: {"title": p.title, "alt": p.alt} | dict(p.numbers) for p in drawn.pictures},
        "machine": dict(drawn.machine.numbers()),
    }
