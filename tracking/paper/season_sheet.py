"""A season on one or two pages: for each week or fortnight the times and marks that hold on every day of it."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from tracking.mount import Mount
from tracking.paper.order import draw_order
from tracking.paper.page import (
    ACTED_ON,
    MARGIN,
    READ,
    TITLE,
    Page,
    Paper,
    date_words,
    draw_foot,
    foot_height,
    offset_words,
    short_date_words,
)
from tracking.paper.sheet_parts import azimuth_words, setting_cells, sky_words
from tracking.paper.typeset import leading, lines_that_fit
from tracking.paper.words import WORDS, Words
from tracking.plans.marks import mount_axes
from tracking.plans.season import KeptDay, Piece
from tracking.scenefile import SceneFile
from tracking.sky.magnetic import Declination

COLUMNS = 3
GAP = 6.0
"""Between two columns [mm]."""
HEADING = ACTED_ON - 1.0
"""Type of the days of a table [pt]."""
ROW = 7.0
"""Height of a row [mm]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SeasonInput:
    """What a season's sheet shows. `declination` is None beyond the magnetic model's years."""

    scene_file: SceneFile
    pieces: tuple[Piece, ...]
    declination: Declination | None

    @property
    def dimmest(self) -> KeptDay:
        """The day with the least share at any minute."""
        return min((piece.dimmest for piece in self.pieces), key=_share)

    @property
    def worst_loss(self) -> float:
        """Largest share of a day's energy that is lost."""
        return max(piece.worst.loss for piece in self.pieces)


def _share(day: KeptDay) -> float:
    return 1.0 if day.least_share is None else day.least_share


@dataclass(frozen=True, kw_only=True, slots=True)
class _Line:
    """A line of a column: a time and its marks, from left to right, or one text over the whole width."""

    cells: tuple[str, ...] = ()
    text: str = ""
    size: float = ACTED_ON
    heading: bool = False


def season_pages(data: SeasonInput, *, paper: Paper = "A4", language: str = "en") -> list[Figure]:
    """The pages of a season's sheet as figures of true size; as few as the type's size allows.

    Raises
    ------
    MissingGlyphError
        If the name of the place has a letter that the type lacks.
    """
    words = WORDS[language]
    offsets = {offset_words(stretch.start) for piece in data.pieces for stretch in piece.plan.stretches}
    blocks = [_block(data, piece, words, tell_offset=len(offsets) > 1) for piece in data.pieces]
    columns: list[list[list[_Line]]] = []
    while blocks:
        page = Page(paper)
        top = _head(page, data, words, sorted(offsets), first=not columns, count="")
        room = int((page.height - MARGIN - foot_height(page, words) - top - 2.0) / ROW)
        columns.append([_filled(blocks, max(room, 4)) for _ in range(COLUMNS)])
    pages = []
    for number, filled in enumerate(columns, 1):
        page = Page(paper)
        count = words.page.format(page=number, pages=len(columns))
        top = _head(page, data, words, sorted(offsets), first=number == 1, count=count)
        _draw_columns(page, filled, top)
        draw_foot(page, words)
        pages.append(page.figure)
    return pages


def _filled(blocks: list[list[_Line]], room: int) -> list[_Line]:
    """Lines for one column, taken from the blocks; a block that does not fit goes on with its heading again."""
    column: list[_Line] = []
    while blocks:
        heading = [line for line in blocks[0] if line.heading]
        left = room - len(column) - (1 if column else 0)
        if len(blocks[0]) <= left:
            column += ([_Line()] if column else []) + blocks.pop(0)
            continue
        if left < len(heading) + 2 or (column and len(blocks[0]) <= room):
            break
        column += ([_Line()] if column else []) + blocks[0][:left]
        blocks[0] = heading + blocks[0][left:]
        break
    return column


def _block(data: SeasonInput, piece: Piece, words: Words, *, tell_offset: bool) -> list[_Line]:
    span = words.span.format(first=short_date_words(words, piece.first), last=short_date_words(words, piece.last))
    room = _column_width(Page("A4"))  # the narrower of the two papers
    lines = [_Line(text=part, size=HEADING, heading=True) for part in lines_that_fit(span, HEADING, room, bold=True)]
    worst = words.worst.format(share=f"{100.0 * _share(piece.dimmest):.0f}")
    stretches = piece.plan.stretches
    if tell_offset and stretches:
        worst = f"UTC{offset_words(stretches[0].start)}, {worst}"
    lines += [_Line(text=part, size=READ, heading=True) for part in lines_that_fit(worst, READ, room)]
    if not stretches:
        return [*lines, _Line(text=words.order[0])]
    for stretch, after in itertools.zip_longest(stretches, stretches[1:]):
        lines.append(_Line(cells=(f"{stretch.start:%H:%M}", *setting_cells(data.scene_file.mount, stretch.setting))))
        if after is None or after.start > stretch.until:
            lines.append(_Line(text=f"{stretch.until:%H:%M}  {words.order[0]}"))
    return lines


def _column_width(page: Page) -> float:
    return (page.room - (COLUMNS - 1) * GAP) / COLUMNS


def _draw_columns(page: Page, columns: Sequence[list[_Line]], top: float) -> None:
    width = _column_width(page)
    for k, lines in enumerate(columns):
        x, y = MARGIN + k * (width + GAP), top
        for line in lines:
            y += ROW
            if line.text:
                page.text(x, y, line.text, line.size, bold=line.size == HEADING)
            elif line.cells:
                page.text(x, y, line.cells[0], ACTED_ON, bold=True)
                for n, cell in enumerate(line.cells[1:]):
                    page.text(x + (37.0 if n == 0 else width), y, cell, ACTED_ON, bold=True, align="right")
                page.line([x, x + width], [y + 1.8, y + 1.8], 0.3)


def _head(page: Page, data: SeasonInput, words: Words, offsets: Sequence[str], *, first: bool, count: str) -> float:
    """Title and what holds for all days; where the columns may begin [mm]."""
    site, pieces = data.scene_file.site, data.pieces
    y = MARGIN + 7.0
    page.text(page.width - MARGIN, y, count, READ, align="right")
    start, end = pieces[0].first, pieces[-1].last
    from_day = short_date_words(words, start) if start.year == end.year else date_words(words, start)
    title = words.season_title.format(first=from_day, last=date_words(words, end))
    for line in lines_that_fit(title, TITLE - 2.0, page.room - 32.0):
        page.text(MARGIN, y, line, TITLE - 2.0)
        y += leading(TITLE - 2.0)
    place = f"{site.name}. " if site.name else ""
    for line in lines_that_fit(place + words.clock.format(offset=" / ".join(offsets)), ACTED_ON, page.room):
        page.text(MARGIN, y, line, ACTED_ON)
        y += leading(ACTED_ON)
    if not first:
        return y - 4.0
    dimmest = data.dimmest
    if dimmest.least_at is not None:
        told = words.season_worst.format(
            share=f"{100.0 * _share(dimmest):.0f}",
            day=short_date_words(words, dimmest.date),
            time=f"{dimmest.least_at:%H:%M}",
            loss=f"{100.0 * max(0.0, data.worst_loss):.0f}",
        )
        y = page.paragraph(y, told, READ, page.room)
    marks = words.season_marks.format(marks=_marks_words(data.scene_file.mount, words))
    y = page.paragraph(
        y, marks.replace("..", "."), READ, page.room
    )  # a name may be cut short by a full stop of its own
    y = page.paragraph(y, words.ahead, READ, page.room)
    y = page.paragraph(y, azimuth_words(data.scene_file, data.declination, words), READ, page.room)
    y = page.paragraph(y, sky_words(data.scene_file, words), READ, page.room)
    y = draw_order(page, y - 2.0, words)
    return page.paragraph(y, words.night, READ, page.room) - 4.0


def _marks_words(mount: Mount, words: Words) -> str:
    polar = mount.kind == "polar"
    tilts, swivels = mount_axes(mount)
    names = [words.declination if polar else words.tilt] if tilts else []
    if swivels:
        names.append(words.hour_angle if polar else f"{words.swivel_long}")
    return ", ".join(names)
