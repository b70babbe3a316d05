"""Writes the printed sheets of `focalrow day`: of a day, and of a season."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from raytrace.response import ResponseTable
from tracking.cli.files import write_files
from tracking.cli.options import date as read_date
from tracking.cli.options import wrong
from tracking.plans.marks import MINUTE
from tracking.plans.moves import MovesPlan
from tracking.scenefile import SceneFile

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

    from tracking.paper.page import Paper
    from tracking.plans.season import Piece
    from tracking.sky.magnetic import Declination

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


@dataclass(frozen=True, kw_only=True, slots=True)
class Season:
    """First and last day, both included, and the days that have one table."""

    first: dt.date
    last: dt.date
    days: int


SPANS = {"week": 7, "fortnight": 14}
LONGEST_SEASON = 366
"""Days of one season: a year."""


def check_season(start: str | None, end: str | None, by: str | None, *, date: str | None) -> Season | None:
    """The season that is asked for; None where none is.

    Raises
    ------
    InputError
        Naming the option and what is allowed.
    """
    if start is None and end is None:
        if by is not None:
            raise wrong("--by", "it is given without --from and --to", "together with them")
        return None
    if start is None or end is None:
        missing = "--from" if start is None else "--to"
        raise wrong(missing, "it is missing", "--from and --to together")
    if date is not None:
        raise wrong("--date", "it is given together with a season", "--date, or --from and --to")
    if by is not None and by not in SPANS:
        raise wrong("--by", f'"{by}" is not known', " or ".join(SPANS))
    first, last = read_date("--from", start), read_date("--to", end)
    if not 0 <= (last - first).days < LONGEST_SEASON:
        raise wrong("--to", f"{end} is {(last - first).days} days after --from", f"0 to {LONGEST_SEASON - 1} days")
    return Season(first=first, last=last, days=SPANS[by or "fortnight"])


def write_sheet(
    scene_file: SceneFile, plan: MovesPlan, table: ResponseTable, sheet: Path, *, paper: str, language: str
) -> None:
    """Make a day's sheet and write it.

    Raises
    ------
    InputError
        If the sheet's type lacks a letter of the place's name.
    """
    from tracking.paper.sheet import SheetInput, sheet_pages
    from tracking.plans.validity import valid_days
    from tracking.sky.sunpath import clock_multiples, sun_path

    minutes = clock_multiples(scene_file.site.zone, plan.date, MINUTE)
    watched, walk_off = _walk_off(scene_file, plan)
    data = SheetInput(
        scene_file=scene_file,
        plan=plan,
        path=sun_path(scene_file.site, minutes),
        valid=valid_days(scene_file, table, plan),
        declination=_declination(scene_file, plan.date),
        watched=watched,
        walk_off=walk_off,
    )
    _write(scene_file, plan.date, sheet, lambda: sheet_pages(data, paper=_paper(paper), language=language))


def write_season_sheet(
    scene_file: SceneFile, pieces: "tuple[Piece, ...]", sheet: Path, *, paper: str, language: str
) -> int:
    """Make a season's sheet and write it; how many pages it has.

    Raises
    ------
    InputError
        If the sheet's type lacks a letter of the place's name.
    """
    from tracking.paper.season_sheet import SeasonInput, season_pages

    date = pieces[len(pieces) // 2].plan.date
    data = SeasonInput(scene_file=scene_file, pieces=pieces, declination=_declination(scene_file, date))
    return _write(scene_file, date, sheet, lambda: season_pages(data, paper=_paper(paper), language=language))


def _paper(paper: str) -> "Paper":
    return "Letter" if paper == "Letter" else "A4"


def _declination(scene_file: SceneFile, date: dt.date) -> "Declination | None":
    """Magnetic declination; None beyond the model's years, which the sheet then says."""
    from tracking.sky.magnetic import magnetic_declination

    try:
        return magnetic_declination(scene_file.site, date)
    except ValueError:
        return None


def _write(scene_file: SceneFile, date: dt.date, sheet: Path, pages_of: "Callable[[], list[Figure]]") -> int:
    from tracking.paper.sheet import MissingGlyphError, pdf_bytes

    try:
        pages = pages_of()
    except MissingGlyphError as error:
        raise wrong("--sheet", str(error), "names in letters of the sheet's type, DejaVu Sans") from error
    content = pdf_bytes(pages, title=f"{scene_file.site.name} {date.isoformat()}".strip(), date=date)
    write_files(sheet.absolute().parent, {sheet.name: content})
    return len(pages)


def _walk_off(scene_file: SceneFile, plan: MovesPlan) -> tuple[bool, float | None]:
    """Whether what stands around is known, and the shortest time from a row's end to a fire [min]."""
    if not scene_file.surroundings or not plan.stretches:
        return False, None
    from tracking.cli import console
    from tracking.stray.thresholds import DEFAULT_THRESHOLD
    from tracking.stray.walkoff import rows_of, shortest, walk_offs

    rows = rows_of(plan.stretches)
    with console.progress_bar("Following the focus after each row") as progress:
        soonest = shortest(walk_offs(scene_file, rows, DEFAULT_THRESHOLD, soonest_only=True, progress=progress))
    return True, None if soonest is None else soonest.minutes
