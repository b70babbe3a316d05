"""The printed sheet of a day's settings: large black type, one box to tick for each move, cautions on every page."""

import datetime as dt
import itertools
import math
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from tracking.paper.order import draw_order
from tracking.paper.page import (
    ACTED_ON,
    MARGIN,
    PAPERS,
    READ,
    TITLE,
    Page,
    Paper,
    date_words,
    draw_foot,
    foot_height,
    offset_words,
    pdf_bytes,
    short_date_words,
)
from tracking.paper.sheet_parts import azimuth_words, setting_cells, sky_words, swivel_mark
from tracking.paper.typeset import (
    MM_PER_INCH,
    POINTS_PER_INCH,
    MissingGlyphError,
    leading,
    lines_that_fit,
    width,
)
from tracking.paper.words import WORDS, Words
from tracking.plans.marks import mount_axes
from tracking.plans.moves import MovesPlan, Stretch, split_at_clock_change
from tracking.plans.validity import Validity
from tracking.scenefile import SceneFile
from tracking.sky.magnetic import Declination
from tracking.sky.sunpath import SunPath

__all__ = [
    "ACTED_ON",
    "MARGIN",
    "MM_PER_INCH",
    "PAPERS",
    "POINTS_PER_INCH",
    "MissingGlyphError",
    "Paper",
    "SheetInput",
    "pdf_bytes",
    "sheet_pages",
]

ROW = 8.2
"""Height of a row of the table [mm]."""
SUN_WIDTH, SUN_HEIGHT = 66.0, 40.0
HIGHEST = 90.0
LABEL_STEP, MOST_LABELS = 30.0, 6
"""Distance of the azimuths that are written below the sun's way [deg], three times as wide beyond so many of them."""
SMALLEST_DOT, LARGEST_DOT = 0.38, 1.0
"""Radius of a move on the sun's way [mm]."""
DOTS_IN_A_ROW = 28.0
"""Half the length of a sun's way in the picture [mm]: so many moves' radii stand side by side without a contact."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SheetInput:
    """What a sheet shows. `declination` is None beyond the magnetic model's years.

    `watched` tells whether what stands around is known and the focus was followed over it; `walk_off` [min] is then
    the shortest time from the end of a stretch until an unattended lens may set something on fire, None where it sets
    nothing.
    """

    scene_file: SceneFile
    plan: MovesPlan
    path: SunPath
    valid: Validity
    declination: Declination | None
    watched: bool = False
    walk_off: float | None = None


def sheet_pages(data: SheetInput, *, paper: Paper = "A4", language: str = "en") -> list[Figure]:
    """The pages of a day's sheet as figures of true size.

    A day on which the clock changes makes two sheets, each with its own offset from UTC in its title.

    Raises
    ------
    MissingGlyphError
        If the name of the place has a letter that the type lacks.
    """
    words = WORDS[language]
    stretches = itertools.chain.from_iterable(split_at_clock_change(each) for each in data.plan.stretches)
    groups = [list(group) for _, group in itertools.groupby(stretches, key=lambda each: each.start.utcoffset())] or [[]]
    parts = [part for group in groups for part in _parts(data, group, paper, words)]
    return [_page(data, part, paper, words, number, len(parts)) for number, part in enumerate(parts, 1)]


Row = tuple[Stretch, dt.datetime | None]
"""A stretch, and until when the lens stays covered after it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Part:
    rows: list[Row]
    first: bool
    offset: str


def _parts(data: SheetInput, stretches: list[Stretch], paper: Paper, words: Words) -> list[_Part]:
    """Rows cut into pages."""
    rows: list[Row] = []
    for stretch, after in itertools.zip_longest(stretches, stretches[1:]):
        covered = after.start if after is not None and after.start > stretch.until else None
        rows.append((stretch, covered))
    offset = offset_words(stretches[0].start) if stretches else ""
    parts: list[_Part] = []
    while rows or not parts:
        page = Page(paper)
        top = _head(page, data, _Part(rows=[], first=not parts, offset=offset), words, 1, 1)
        space = page.height - MARGIN - foot_height(page, words) - top - 2.0 * ROW
        taken = 0
        while taken < len(rows) and (space := space - ROW * (1 if rows[taken][1] is None else 2)) >= 0.0:
            taken += 1
        taken = max(taken, min(1, len(rows)))  # never an endless row of empty pages
        parts.append(_Part(rows=rows[:taken], first=not parts, offset=offset))
        rows = rows[taken:]
    return parts


def _page(data: SheetInput, part: _Part, paper: Paper, words: Words, number: int, pages: int) -> Figure:
    page = Page(paper)
    top = _head(page, data, part, words, number, pages)
    _table(page, data, part.rows, top + ROW, words)
    draw_foot(page, words)
    return page.figure


def _head(page: Page, data: SheetInput, part: _Part, words: Words, number: int, pages: int) -> float:
    """Title and what holds for the whole sheet; where the table may begin [mm]."""
    plan, site = data.plan, data.scene_file.site
    y = MARGIN + 7.0
    title = f"{words.title}: {site.name}" if site.name else words.title
    count = words.page.format(page=number, pages=pages)
    room = page.room - width(count, READ) - 6.0
    for line in lines_that_fit(title, TITLE, room):
        page.text(MARGIN, y, line, TITLE, bold=False)
        y += leading(TITLE)
    page.text(page.width - MARGIN, MARGIN + 7.0, count, READ, align="right")
    page.text(MARGIN, y, date_words(words, plan.date), ACTED_ON + 1.0, bold=True)
    y += leading(ACTED_ON + 1.0)
    if part.offset:
        page.text(MARGIN, y, words.clock.format(offset=part.offset), ACTED_ON)
        y += leading(ACTED_ON)
    if not part.first:
        return y
    sun_top = y - leading(ACTED_ON)
    side = page.room - SUN_WIDTH - 6.0
    for line in lines_that_fit(_valid_words(data.valid, words), ACTED_ON, side):
        page.text(MARGIN, y, line, ACTED_ON)
        y += leading(ACTED_ON)
    if plan.stretches:
        useful = words.useful.format(first=f"{plan.stretches[0].start:%H:%M}", last=f"{plan.stretches[-1].until:%H:%M}")
        for line in lines_that_fit(useful, ACTED_ON, side):
            page.text(MARGIN, y, line, ACTED_ON)
            y += leading(ACTED_ON)
    y += 1.0
    told = [_shares_words(data, words), words.ahead, azimuth_words(data.scene_file, data.declination, words)]
    for paragraph in told if plan.stretches else ():
        y = page.paragraph(y, paragraph, READ, side)
    _sun_picture(page, data, page.width - MARGIN - SUN_WIDTH, sun_top)
    y = max(y, sun_top + SUN_HEIGHT + 8.0) + 2.0
    y = draw_order(page, y, words)
    y = page.paragraph(y, words.night, READ, page.room)
    return page.paragraph(y, _walk_off_words(data, words), READ, page.room) - 1.0


def _valid_words(valid: Validity, words: Words) -> str:
    if valid.first == valid.last:
        return words.valid_one
    return words.valid.format(first=short_date_words(words, valid.first), last=short_date_words(words, valid.last))


def _shares_words(data: SheetInput, words: Words) -> str:
    """What the plan keeps on its own day, and on the others for which it is valid."""
    plan, valid = data.plan, data.valid
    least = 0.0 if plan.weakest is None else plan.weakest.least_share
    if plan.share is None:
        energy = f"{100.0 * (1.0 - plan.loss):.0f}"
        told = words.energy.format(moves=plan.moves, energy=energy, share=f"{100.0 * least:.0f}")
    else:
        share = least if plan.short_minutes else plan.share
        told = words.shares.format(share=f"{100.0 * share:.0f}", moves=plan.moves)
    if valid.first != valid.last and valid.least_share is not None:
        told += " " + words.valid_share.format(share=f"{100.0 * valid.least_share:.0f}")
    return told + " " + sky_words(data.scene_file, words)


def _walk_off_words(data: SheetInput, words: Words) -> str:
    if not data.watched:
        return words.walk_off_unknown
    if data.walk_off is None:
        return words.walk_off_none
    if data.walk_off < 1.0:
        return words.walk_off_now
    return words.walk_off.format(minutes=f"{math.floor(data.walk_off):d}")


def _compass(data: SheetInput) -> Declination | None:
    """The declination where a column of compass azimuths stands beside the true ones."""
    mount = data.scene_file.mount
    return data.declination if mount.kind == "swivel-tilt" and mount_axes(mount)[1] else None


def _columns(data: SheetInput, words: Words) -> list[str]:
    mount = data.scene_file.mount
    polar = mount.kind == "polar"
    tilts, swivels = mount_axes(mount)
    columns = [words.set_at, words.good_until]
    if tilts:
        columns.append(words.declination if polar else words.tilt)
    if swivels:
        columns.append(words.hour_angle if polar else words.swivel)
    return [*columns, *([words.compass] if _compass(data) else []), words.power]


def _cells(data: SheetInput, stretch: Stretch) -> list[str]:
    mount, compass = data.scene_file.mount, _compass(data)
    cells = [f"{stretch.start:%H:%M}", f"{stretch.until:%H:%M}", *setting_cells(mount, stretch.setting)]
    if compass:
        cells.append(f"{compass.magnetic_azimuth(swivel_mark(mount, stretch.setting)):.0f}°")
    return [*cells, f"{stretch.mean_power:.0f} W"]


def _table(page: Page, data: SheetInput, rows: list[Row], y: float, words: Words) -> None:
    if not data.plan.stretches:
        page.text(MARGIN, y + ROW, words.nothing, ACTED_ON)
        return
    headings = _columns(data, words)
    box = 8.0
    pitch = (page.room - box) / len(headings)
    right = [MARGIN + box + pitch * (k + 1) for k in range(len(headings))]
    for x, heading in zip(right, headings, strict=True):
        size = ACTED_ON if width(heading, ACTED_ON) <= pitch - 2.0 else READ
        page.text(x, y, heading, size, align="right")
    page.line([MARGIN, page.width - MARGIN], [y + 2.0, y + 2.0], 1.5)
    for stretch, covered in rows:
        y += ROW
        page.axes.add_patch(Rectangle((MARGIN, y - 4.6), 5.2, 5.2, fill=False, linewidth=1.3))
        for k, (x, cell) in enumerate(zip(right, _cells(data, stretch), strict=True)):
            page.text(x, y, cell, ACTED_ON, bold=k != 1 and k < len(headings) - 1, align="right")
        if covered is not None:
            y += ROW
            words_there = words.cover_until.format(time=f"{covered:%H:%M}")
            page.text(MARGIN + box + 8.0, y, f"{stretch.until:%H:%M}  {words_there}", ACTED_ON)
        page.line([MARGIN, page.width - MARGIN], [y + 2.1, y + 2.1], 0.4)


def _sun_picture(page: Page, data: SheetInput, x: float, y: float) -> None:
    """The sun's way over the part of the sky that it crosses, with the moves on it."""
    path = data.path
    up = [(float(a), float(e)) for a, e in zip(path.azimuth, path.elevation, strict=True) if e >= 0.0]
    # The sky is cut behind whoever faces the sun at its highest, which between the tropics may be north or south.
    noon, _ = max(up, key=lambda sun: sun[1], default=(180.0, 0.0))
    start = 0.0 if 90.0 < noon < 270.0 else 180.0
    turned = [(azimuth - start) % 360.0 for azimuth, _ in up] or [0.0, 360.0]
    first = math.floor(min(turned) / LABEL_STEP) * LABEL_STEP
    last = max(first + LABEL_STEP, math.ceil(max(turned) / LABEL_STEP) * LABEL_STEP)

    def place(azimuth: float, elevation: float) -> tuple[float, float]:
        return (
            x + ((azimuth - start) % 360.0 - first) / (last - first) * SUN_WIDTH,
            y + SUN_HEIGHT * (1.0 - elevation / HIGHEST),
        )

    page.line([x, x + SUN_WIDTH], [y + SUN_HEIGHT] * 2, 1.2)
    step = LABEL_STEP if last - first <= MOST_LABELS * LABEL_STEP else 3.0 * LABEL_STEP
    for azimuth in np.arange(math.ceil(first / step) * step, last + 1.0, step).tolist():
        at = x + (azimuth - first) / (last - first) * SUN_WIDTH
        page.line([at, at], [y + SUN_HEIGHT, y + SUN_HEIGHT - 1.5])
        page.text(at, y + SUN_HEIGHT + 5.0, f"{(azimuth + start) % 360.0:g}°", READ, align="center")
    runs: list[list[tuple[float, float]]] = []
    for here in itertools.starmap(place, up):
        if not runs or abs(here[0] - runs[-1][-1][0]) > SUN_WIDTH / 2.0:  # over the edge of the picture
            runs.append([])
        runs[-1].append(here)
    for run in runs:
        page.line([at[0] for at in run], [at[1] for at in run], 0.8)
    seconds = path.times_utc.astype("datetime64[s]").astype("int64").tolist()
    by_minute = dict(zip(seconds, zip(path.azimuth.tolist(), path.elevation.tolist(), strict=True), strict=True))
    radius = max(SMALLEST_DOT, min(LARGEST_DOT, DOTS_IN_A_ROW / max(1, data.plan.moves)))
    for stretch in data.plan.stretches:
        sun = by_minute.get(int(stretch.start.timestamp()))
        if sun is not None:
            page.axes.add_patch(Circle(place(*sun), radius, color="black", linewidth=0.0))
