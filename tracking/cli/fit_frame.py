"""`focalrow fit SCENE --frame`: the room that the unit needs, and the wind on its sheet."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from tracking.cli import console, files
from tracking.cli.cautions import WIND
from tracking.cli.scene_words import closing_sections, lens_words, tubes_words
from tracking.cli.tables import Column, console_width, number, paragraph, section, table
from tracking.mount import Mount
from tracking.mount.frame import Extent, Frame, frame_of
from tracking.mount.wind import WIND_SPEEDS, WindLoad, air_density, wind_load
from tracking.scenefile import SceneFile


def frame_object(scene_file: SceneFile) -> dict[str, Any]:
    """Room and wind as numbers for programs."""
    frame = frame_of(scene_file.mount, scene_file.scene)
    return {
        "scene": str(scene_file.path),
        "frame": {
            "top_m": frame.top,
            "bottom_m": frame.bottom,
            "least_foot_height_m": -frame.bottom,
            "tallest_m": frame.tallest.height,
            "turning_radius_m": frame.turning_radius,
            "leaning_radius_m": frame.leaning_radius,
            "air_density_kg_m3": air_density(scene_file.site.altitude),
            "settings": [
                {
                    "tilt_deg": each.setting.tilt,
                    "swivel_deg": each.setting.swivel,
                    "inclination_deg": each.inclination,
                    "top_m": each.top,
                    "bottom_m": each.bottom,
                    "height_m": each.height,
                    "along_m": each.along,
                    "across_m": each.across,
                    "radius_m": each.radius,
                    "wind": [_wind_object(load) for load in _loads(scene_file, frame, each)],
                }
                for each in frame.shown
            ],
        },
    }


def _wind_object(load: WindLoad) -> dict[str, float]:
    return {
        "speed_m_s": load.speed,
        "pressure_pa": load.pressure,
        "force_n": load.force,
        "horizontal_n": load.horizontal,
        "vertical_n": load.vertical,
        "tilt_moment_n_m": load.tilt_moment,
        "swivel_moment_n_m": load.swivel_moment,
        "foot_moment_n_m": load.foot_moment,
    }


def _loads(scene_file: SceneFile, frame: Frame, each: Extent) -> list[WindLoad]:
    return [
        wind_load(
            scene_file.mount,
            scene_file.scene,
            each.setting,
            speed=speed,
            altitude=scene_file.site.altitude,
            foot_height=-frame.bottom,
        )
        for speed in WIND_SPEEDS
    ]


def frame_text(scene_file: SceneFile, *, width: int) -> str:
    """Room and wind as text for people."""
    mount = scene_file.mount
    frame = frame_of(mount, scene_file.scene)
    title = f"{scene_file.site.name}: room and wind".removeprefix(": ")
    return "\n\n".join(
        [
            section(title, *(paragraph(words(scene_file), width=width) for words in (lens_words, tubes_words))),
            section("Room", *_room(mount, frame, width)),
            section("Wind on the sheet", *_wind(scene_file, frame, width)),
            *closing_sections(scene_file, [], width=width),
        ]
    )


def _key(mount: Mount, extents: tuple[Extent, ...]) -> Column:
    """The settings, as the first column of a table."""
    if mount.kind != "polar":
        return Column(heading=("tilt", "deg"), cells=tuple(number(each.setting.tilt, 0) for each in extents))
    cells = tuple(f"{number(each.setting.tilt, 0)} / {number(each.setting.swivel, 0)}" for each in extents)
    return Column(heading=("declination /", "hour angle, deg"), cells=cells)


def _room(mount: Mount, frame: Frame, width: int) -> list[str]:
    polar = mount.kind == "polar"
    tallest = frame.tallest
    names = ("declination setting", "hour angle") if polar else ("tilt", "swivel")
    at = f"{names[0]} {tallest.setting.tilt:g} deg" + (f", {names[1]} {tallest.setting.swivel:g} deg" if polar else "")
    turns = "The swivel turns all of it about that line and changes none of these lengths. "
    if mount.kind != "swivel-tilt":
        turns = ""
    words = (
        f"Over all settings the unit reaches {frame.top:.2f} m above the middle of the row and {-frame.bottom:.2f} m "
        f"below it, so the middle of the row stands at least {-frame.bottom:.2f} m above the ground. It is tallest, "
        f"{tallest.height:.2f} m, at {at}. No point of it comes farther than {frame.turning_radius:.2f} m from the "
        f"upright line through the middle of the row: keep that circle free. Leaning, it sweeps a circle of "
        f"{frame.leaning_radius:.2f} m about the tilt axis. {turns}Sheet and tubes are "
        f"counted; add the frame's own members, drives and pipes."
    )
    headings: tuple[tuple[str, ...], ...] = (
        ("from row up", "m"),
        ("from row down", "m"),
        ("overall", "height, m"),
        ("east-west", "m") if polar else ("along tilt", "axis, m"),
        ("north-south", "m") if polar else ("across it", "m"),
        ("swept", "radius, m"),
    )
    values: tuple[Callable[[Extent], float], ...] = (
        lambda each: each.top,
        lambda each: -each.bottom,
        lambda each: each.height,
        lambda each: each.along,
        lambda each: each.across,
        lambda each: each.radius,
    )
    columns = [
        Column(heading=heading, cells=tuple(number(value(each), 2) for each in frame.shown))
        for heading, value in zip(headings, values, strict=True)
    ]
    return [paragraph(words, width=width), "", table(_key(mount, frame.shown), [columns], width=width)]


def _wind(scene_file: SceneFile, frame: Frame, width: int) -> list[str]:
    mount = scene_file.mount
    loads = [_loads(scene_file, frame, each) for each in frame.shown]
    intro = (
        f"Gusts of {', '.join(f'{speed:g}' for speed in WIND_SPEEDS)} m/s at the height of the sheet, from the worst "
        f"side, with air of {air_density(scene_file.site.altitude):.3f} kg/m3 (standard atmosphere at "
        f"{scene_file.site.altitude:g} m; cold air is up to a tenth denser)."
    )
    names: tuple[tuple[tuple[str, ...], Callable[[WindLoad], float]], ...] = (
        (("force on", "sheet, N"), lambda load: load.force),
        (("level", "N"), lambda load: load.horizontal),
        (("up or", "down, N"), lambda load: load.vertical),
        (("about tilt", "axis, N m"), lambda load: load.tilt_moment),
        (("about", "swivel, N m"), lambda load: load.swivel_moment),
        (("at the", "foot, N m"), lambda load: load.foot_moment),
    )
    tables = []
    for k, speed in enumerate(WIND_SPEEDS):
        columns = [
            Column(heading=heading, cells=tuple(number(value(row[k]), 0) for row in loads)) for heading, value in names
        ]
        pressure = loads[0][k].pressure
        tables += [
            "",
            f"{speed:g} m/s ({3.6 * speed:.0f} km/h), gust pressure {pressure:.0f} Pa:",
            table(_key(mount, frame.shown), [columns], width=width),
        ]
    notes = (
        "Force coefficients: 0.5 (level) to 1.8 (30 deg and more), of canopies and signboards in EN 1991-1-4:2005 "
        "(values from memory, to be confirmed), with the force a quarter of the sheet off its middle, which is what "
        "a brake has to hold. At the foot: with the row's middle at its least height above the ground. Wind on frame "
        "and tubes, and the sheet's own weight, come on top."
    )
    return [
        paragraph(intro, width=width), *tables, "",
        paragraph(notes, width=width), "", paragraph(WIND, width=width),
    ]  # fmt: skip


def tell_frame(scene: Path, *, json: bool, out: Path | None) -> None:
    """Print the room and the wind of a scene's unit, and write them to a folder if there is one.

    Raises
    ------
    InputError
        If the scene cannot be used.
    """
    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    texts = {
        "fit_frame.txt": frame_text(scene_file, width=console_width()),
        "fit_frame.json": console.as_json(frame_object(scene_file)),
    }
    files.write_if_asked(out, texts)
    console.result(texts["fit_frame.json" if json else "fit_frame.txt"])
