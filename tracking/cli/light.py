"""`focalrow light`: one trace, with the power on each tube, the focal line and the ledger."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracking.errors import InputError

if TYPE_CHECKING:
    from tracking.cli.light_numbers import Sunlight
    from tracking.scenefile import SceneFile

DEFAULT_RAYS = 1_000_000
ASSUMED_DNI = 850.0
"""DNI where neither the scene nor an instant tells it [W/m2]: a clear day. Common practice, no source."""


def light(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    transversal: Annotated[
        str | None,
        typer.Option(
            metavar="ANGLE", help='The sun\'s angle across the grooves, such as "1.5 deg".', show_default="0 deg"
        ),
    ] = None,
    longitudinal: Annotated[
        str | None,
        typer.Option(
            metavar="ANGLE", help='The sun\'s angle along the grooves, such as "10 deg".', show_default="0 deg"
        ),
    ] = None,
    tilt: Annotated[
        str | None,
        typer.Option(
            metavar="ANGLE", help="The row lies as at this setting of the mount's tilt.", show_default="0 deg"
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help='Sun, DNI and settings of a moment, with its offset from UTC: "2026-06-21T10:00:00-03:00".',
            show_default=False,
        ),
    ] = None,
    rays: Annotated[
        int | None,
        typer.Option(metavar="N", help="Rays, rounded up to full replicates.", show_default="1000000"),
    ] = None,
    target_error: Annotated[
        float | None,
        typer.Option(
            metavar="X",
            help="Instead of --rays: go on until the standard error of the intercepted fraction is this small.",
            show_default=False,
        ),
    ] = None,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same result.")] = 0,
    threads: Annotated[
        int | None,
        typer.Option(metavar="N", help="Threads; the result does not depend on it.", show_default="all processors"),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Also write light.txt, light.json and light.csv there.", show_default=False),
    ] = None,
) -> None:
    """Trace the sunlight once: power on each tube, the focal line, and where the light goes."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    if at is not None:
        for option, text in (("--transversal", transversal), ("--longitudinal", longitudinal), ("--tilt", tilt)):
            if text is not None:
                raise options.wrong(option, "it is given together with --at", "either --at or the angles and --tilt")
    if rays is not None and target_error is not None:
        raise options.wrong("--target-error", "it is given together with --rays", "one of the two")
    moment = None if at is None else options.instant("--at", at)
    angles = (
        options.angle("--transversal", transversal or "0 deg"),
        options.angle("--longitudinal", longitudinal or "0 deg"),
    )
    row_tilt = options.angle("--tilt", tilt or "0 deg")
    if target_error is not None:
        options.small_fraction("--target-error", target_error)
    options.check_run(rays=rays, seed=seed, threads=threads)
    files.check_folder(out)

    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    sunlight = (
        sunlight_of_angles(scene_file, *angles, row_tilt) if moment is None else sunlight_at(scene_file, moment)
    )
    with scene_errors(scene), console.progress_bar("Tracing rays (the very first run compiles first)") as progress:
        from raytrace.trace import trace

        traced = trace(
            scene_file.scene,
            transversal_angle=sunlight.transversal,
            longitudinal_angle=sunlight.longitudinal,
            rays=DEFAULT_RAYS if rays is None else rays,
            seed=seed,
            target_error=target_error,
            row=sunlight.row,
            threads=threads,
            progress=progress,
        )
    from tracking.cli.light_numbers import Light, csv_text, json_object
    from tracking.cli.light_table import table_text

    answer = Light(scene_file=scene_file, sunlight=sunlight, trace=traced)
    texts = {
        "light.txt": table_text(answer, width=console_width()),
        "light.json": console.as_json(json_object(answer)),
        "light.csv": csv_text(answer),
    }
    if out is not None:
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(texts["light.json" if json else "light.txt"])
    if json:
        console.talk(sunlight.dni_words)


def sunlight_of_angles(scene_file: "SceneFile", transversal: float, longitudinal: float, tilt: float) -> "Sunlight":
    """The sunlight at angles [deg], with the row as at a tilt [deg]."""
    from tracking.cli.light_numbers import Sunlight
    from tracking.mount import row_pose

    told = scene_file.sky.dni
    return Sunlight(
        transversal=transversal,
        longitudinal=longitudinal,
        dni=ASSUMED_DNI if told is None else told,
        dni_words=(
            f"DNI: {ASSUMED_DNI:g} W/m2, an assumption, as the scene names none; every watt here stands and falls "
            f"with it."
            if told is None
            else f"DNI: {told:g} W/m2, from [sky] dni of the scene; every watt here stands and falls with it."
        ),
        pose_words=f"The row lies as at tilt {tilt:g} deg.",
        row=row_pose(scene_file.mount, tilt, scene_file.scene.tubes.angle_to_grooves),
    )


def sunlight_at(scene_file: "SceneFile", moment: dt.datetime) -> "Sunlight":
    """The sunlight of a moment, with the lens aimed.

    Raises
    ------
    InputError
        If nothing is aimed then, or the sun is not before the lens.
    """
    from tracking.cli.light_numbers import Moment, Sunlight
    from tracking.cli.scene_words import dni_source
    from tracking.mount import MIN_ELEVATION
    from tracking.plans.instant import instants_at

    (instant,) = instants_at(scene_file, [moment])
    if instant.aim is None:
        raise InputError(
            file=str(scene_file.path),
            key="--at",
            problem=f"the sun stands at an elevation of {instant.solar_elevation:.1f} deg then, and nothing is aimed",
            allowed=f"Allowed: a moment with the sun at {MIN_ELEVATION:g} deg or above.",
        )
    angles = instant.aim.angles
    if angles.incidence >= RIGHT_ANGLE:
        raise InputError(
            file=str(scene_file.path),
            key="--at",
            problem=f"the sun is not before the lens then: it stands {angles.incidence:.1f} deg off its normal",
            allowed="Allowed: a moment with the sun less than 90 deg off the lens normal.",
        )
    setting = instant.aim.setting
    return Sunlight(
        transversal=angles.transversal,
        longitudinal=angles.longitudinal,
        dni=instant.dni,
        dni_words=f"DNI: {instant.dni:.0f} W/m2, {dni_source(scene_file)}; every watt here stands and falls with it.",
        pose_words=(
            f"{instant.time_local.isoformat()}: sun at azimuth {instant.solar_azimuth:.1f} deg, elevation "
            f"{instant.solar_elevation:.1f} deg; lens set to tilt {setting.tilt:.1f} deg, swivel "
            f"{setting.swivel:.1f} deg; the tubes slope {instant.aim.tube_slope:.1f} deg against level."
        ),
        row=instant.aim.row,
        moment=Moment(
            solar_azimuth=instant.solar_azimuth,
            solar_elevation=instant.solar_elevation,
            tilt=setting.tilt,
            swivel=setting.swivel,
        ),
    )


RIGHT_ANGLE = 90.0  # [deg]
