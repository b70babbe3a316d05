"""Writes the full-size templates of `focalrow draw --templates`, and holds their options."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from tracking.cli.files import check_folder, write_files
from tracking.cli.options import wrong

if TYPE_CHECKING:
    import datetime as dt

    from tracking.paper.templates.folder import TemplateSettings
    from tracking.scenefile import SceneFile

LANGUAGES = ("en", "es", "fr", "pt")
PIN_RANGE = ("10 mm", "1000 mm")
RADIUS_RANGE = ("100 mm", "1000 mm")
DEFAULT_RADIUS = "250 mm"
MM = 1e3

Folder = Annotated[
    Path | None,
    typer.Option(
        metavar="DIR", help="Write full-size templates, aiming targets and true north there.", show_default=False
    ),
]
Paper = Annotated[
    str | None, typer.Option(metavar="SIZE", help="Paper of the templates: A4 or Letter.", show_default="A4")
]
Language = Annotated[
    str | None, typer.Option(metavar="CODE", help="Language of the templates: en, es, fr or pt.", show_default="en")
]
Pin = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH", help="Height of the pin on the lens frame.", show_default="so that its rings can be read"
    ),
]
LevelPin = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH", help="Height of the pin on the level base.", show_default="so that its noon shadows fit"
    ),
]
Radius = Annotated[
    str | None,
    typer.Option(metavar="LENGTH", help="Radius of the tilt quadrant and the swivel dial.", show_default="250 mm"),
]
Magnetic = Annotated[bool, typer.Option("--magnetic", help="Add a compass scale to the swivel dial.")]


@dataclass(frozen=True, kw_only=True, slots=True)
class Wishes:
    """The options as they were written."""

    folder: Path | None
    paper: str | None
    language: str | None
    pin: str | None
    level_pin: str | None
    radius: str | None
    magnetic: bool


def check_templates(wishes: Wishes, pictures: Path | None) -> None:
    """Refuse options that make no templates, before any long work.

    Raises
    ------
    InputError
        Naming the option and what is allowed.
    """
    if pictures is None and wishes.folder is None:
        raise wrong("--out, --templates", "neither is given", "a folder for pictures, one for templates, or both")
    if wishes.folder is None:
        for option, value in (
            ("--paper", wishes.paper),
            ("--language", wishes.language),
            ("--pin", wishes.pin),
            ("--level-pin", wishes.level_pin),
            ("--radius", wishes.radius),
            ("--magnetic", wishes.magnetic or None),
        ):
            if value is not None:
                raise wrong(option, "it is given without --templates", "together with --templates DIR")
        return
    _length("--pin", wishes.pin, PIN_RANGE)
    _length("--level-pin", wishes.level_pin, PIN_RANGE)
    _length("--radius", wishes.radius, RADIUS_RANGE)
    _paper(wishes.paper)
    if (wishes.language or LANGUAGES[0]) not in LANGUAGES:
        raise wrong("--language", f'"{wishes.language}" is not known', ", ".join(LANGUAGES))
    check_folder(wishes.folder, option="--templates")


def _paper(text: str | None) -> Literal["A4", "Letter"]:
    if text in {None, "A4"}:
        return "A4"
    if text == "Letter":
        return "Letter"
    raise wrong("--paper", f'"{text}" is not known', "A4 or Letter")


def _length(option: str, text: str | None, span: tuple[str, str]) -> float | None:
    """A length in [mm]; None where it is left to the program."""
    from tracking.scenefile.units import LENGTH, QuantityError, quantity

    if text is None:
        return None
    try:
        return MM * quantity(text, LENGTH, low=span[0], high=span[1])
    except QuantityError as error:
        raise wrong(option, error.problem, error.allowed) from None


def _settings(wishes: Wishes, date: "dt.date") -> "TemplateSettings":
    from tracking.paper.templates.folder import TemplateSettings

    return TemplateSettings(
        date=date,
        paper=_paper(wishes.paper),
        language=wishes.language or LANGUAGES[0],
        pin=_length("--pin", wishes.pin, PIN_RANGE),
        level_pin=_length("--level-pin", wishes.level_pin, PIN_RANGE),
        radius=_length("--radius", wishes.radius or DEFAULT_RADIUS, RADIUS_RANGE) or 0.0,
        magnetic=wishes.magnetic,
    )


def write_templates(
    scene_file: "SceneFile", scene: Path, wishes: Wishes, date: "dt.date | None"
) -> tuple[dict[str, Any], list[str]]:
    """Make the templates, if a folder is named, and write them: the numbers behind them, and lines for people.

    Raises
    ------
    InputError
        If the place's name has a letter that the type lacks, or a compass is asked for a year that no model covers.
    """
    if wishes.folder is None:
        return {}, []
    import datetime as dt

    from tracking.cli import console, tables
    from tracking.cli.cautions import CAUTIONS
    from tracking.cli.scene_words import scene_errors
    from tracking.paper.templates.folder import template_files
    from tracking.paper.typeset import MissingGlyphError
    from tracking.response import kept_response_table, response_table
    from tracking.sky.magnetic import magnetic_declination

    settings = _settings(wishes, date or dt.datetime.now(scene_file.site.zone).date())
    if wishes.magnetic:
        try:
            magnetic_declination(scene_file.site, settings.date)
        except ValueError as error:
            raise wrong("--magnetic", str(error), "a --date from 2025 to 2029, or no --magnetic") from None
    with scene_errors(scene):
        table = kept_response_table(scene_file)
        if table is None:
            with console.progress_bar("Building the response table, once for this scene") as progress:
                table = response_table(scene_file, progress=progress)
        try:
            made = template_files(scene_file, table, settings)
        except MissingGlyphError as error:
            raise wrong("--templates", str(error), "names in letters of the pages' type, DejaVu Sans") from None
    numbers = {
        "date": settings.date.isoformat(),
        "paper": settings.paper,
        "language": settings.language,
        **made.numbers,
        "remarks": made.remarks,
    }
    files = made.files | {"templates.json": console.as_json({"scene": str(scene), **numbers})}
    write_files(wishes.folder, files)
    console.talk(f"Wrote {len(files)} files to {wishes.folder}: {', '.join(sorted(files))}.")
    width = tables.console_width()
    told = [
        tables.section("Full-size templates", tables.bullets(_lines(numbers), width=width)),
        tables.section("Remarks", tables.bullets([*made.remarks, PRINT_AT_FULL_SIZE], width=width)),
        tables.section("Cautions", tables.bullets(CAUTIONS, width=width)),
    ]
    return numbers, "\n\n".join(told).splitlines()


PRINT_AT_FULL_SIZE = (
    "Print at 100 %, without scaling or fitting to the page, and measure the ruler of 100 mm on each page."
)


def _lines(numbers: dict[str, Any]) -> list[str]:
    """What was made, a line for each."""
    told = []
    if pin := numbers.get("pin_target"):
        told.append(f"pin-target: for a pin of {pin['pin_mm']:g} mm on the lens frame; {_pages(pin)}.")
    level = numbers["level_target"]
    told.append(f"level-target: for an upright pin of {level['pin_mm']:g} mm on the base; {_pages(level)}.")
    north = numbers["true_north"]
    first = next((day for day in north["dates"] if day["state"] == "shows"), None)
    where = "the noon shadow shows north on none of the dates"
    if first is not None:
        points = "north" if first["true_azimuth_deg"] == 0.0 else "south"
        when = f"{first['time_local'][11:19]} (UTC{first['time_local'][19:]})"
        where = f"on {first['date']} at {when} the shadow of a plumb line points to true {points}"
    told.append(f"true-north: {where}; {_pages(north)}.")
    told += [
        f"{name.replace('_', '-')}: radius {plate['radius_mm']:g} mm, {_count(len(plate['marks_deg']), 'mark')}; "
        f"{_pages(plate)}."
        for name in ("tilt_quadrant", "swivel_dial")
        if (plate := numbers.get(name))
    ]
    side = numbers["side_view"]
    told.append(f"side-view: lens height {side['lens_height_mm']:g} mm; {_pages(side)}.")
    return told


def _pages(entry: dict[str, Any]) -> str:
    count = entry["pages"]
    return "no PDF" if count == 0 else _count(count, "page")


def _count(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
