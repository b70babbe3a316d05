"""Writes the printed sheet of `focalrow day --sheet`."""

from pathlib import Path

from raytrace.response import ResponseTable
from tracking.cli.files import write_files
from tracking.cli.options import wrong
from tracking.plans.moves import MINUTE, MovesPlan
from tracking.scenefile import SceneFile

LANGUAGES = ("en", "es", "fr", "pt")
PAPERS = ("A4", "Letter")


def check_sheet(sheet: Path | None, paper: str, language: str) -> None:
    """Refuse a sheet that cannot be made, before any long work.

    Raises
    ------
    InputError
        Naming the option and what is allowed.
    """
    if paper not in PAPERS:
        raise wrong("--paper", f'"{paper}" is not known', " or ".join(PAPERS))
    if language not in LANGUAGES:
        raise wrong("--language", f'"{language}" is not known', ", ".join(LANGUAGES))
    if sheet is None:
        return
    if sheet.suffix.lower() != ".pdf":
        raise wrong("--sheet", f"{sheet} is no PDF", "a file name that ends in .pdf")
    if sheet.is_dir() or not sheet.absolute().parent.is_dir():
        raise wrong("--sheet", f"{sheet} cannot be written", "a file in a folder that is there")


def write_sheet(
    scene_file: SceneFile, plan: MovesPlan, table: ResponseTable, sheet: Path, *, paper: str, language: str
) -> None:
    """Make the sheet and write it.

    Raises
    ------
    InputError
        If the sheet's type lacks a letter of the place's name.
    """
    from tracking.paper.sheet import MissingGlyphError, SheetInput, pdf_bytes, sheet_pages
    from tracking.plans.validity import valid_days
    from tracking.sky.magnetic import magnetic_declination
    from tracking.sky.sunpath import clock_multiples, sun_path

    try:
        declination = magnetic_declination(scene_file.site, plan.date)
    except ValueError:  # beyond the model's years: the sheet says so
        declination = None
    minutes = clock_multiples(scene_file.site.zone, plan.date, MINUTE)
    data = SheetInput(
        scene_file=scene_file,
        plan=plan,
        path=sun_path(scene_file.site, minutes),
        valid=valid_days(scene_file, table, plan),
        declination=declination,
    )
    try:
        pages = sheet_pages(data, paper="Letter" if paper == "Letter" else "A4", language=language)
    except MissingGlyphError as error:
        raise wrong("--sheet", str(error), "names in letters of the sheet's type, DejaVu Sans") from error
    content = pdf_bytes(pages, title=f"{scene_file.site.name} {plan.date.isoformat()}", date=plan.date)
    write_files(sheet.absolute().parent, {sheet.name: content})
