"""Drawings on sheets of paper at full size: a ruler to check the printer, the cautions, and sheets that are glued."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path

from tracking.paper import typeset
from tracking.paper.page import MARGIN, PAPERS, Paper
from tracking.paper.template_words import TemplateWords
from tracking.paper.templates.clip import OVERLAP, Box, Tile, Tiling, cut, tiling
from tracking.paper.templates.shapes import (
    ACTED_ON,
    DASHES,
    READ,
    STROKE_WIDTHS,
    Dot,
    Drawing,
    Line,
    Point,
    Stroke,
    Text,
)
from tracking.paper.typeset import MM_PER_INCH, POINTS_PER_INCH

RULER = 100.0
"""Length of the check ruler [mm]."""
RULER_ROOM = 12.0
"""Height that ruler and figures take [mm]."""
CLEAR = 2.0
"""Between the drawing and what stands above and below it [mm]."""
TITLE = 16.0
CROSS = 4.0
"""Half the length of a registration cross [mm]."""
MOST_SHEETS = 150
"""Sheets of one drawing beyond which nobody glues: it is written as SVG and DXF alone."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Heading:
    """What stands above a drawing: a title, lines of large type that are acted on, and paragraphs."""

    title: str
    lines: tuple[str, ...] = ()
    paragraphs: tuple[str, ...] = ()


class Page:
    """A sheet with coordinates in millimetres, the origin at the lower left, that is never scaled."""

    def __init__(self, paper: Paper, words: TemplateWords) -> None:
        self.width, self.height = PAPERS[paper]
        self.words = words
        self.figure = Figure(figsize=(self.width / MM_PER_INCH, self.height / MM_PER_INCH))
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, self.width)
        self.axes.set_ylim(0.0, self.height)
        self.axes.set_axis_off()
        self.room = self.width - 2.0 * MARGIN

    def text(self, text: Text, *, window: Box | None = None) -> None:
        """Write a line; only what lies in the window [mm] is printed."""
        typeset.width(text.words, text.size, bold=text.bold)  # a missing glyph is an error
        drawn = self.axes.text(
            *text.at,
            text.words.replace("$", r"\$"),
            fontsize=text.size,
            family=typeset.FAMILY,
            weight="bold" if text.bold else "normal",
            ha=text.align,
            va="baseline",
            color="black",
        )
        if window is not None:
            left, low, right, high = window
            frame = Rectangle((left, low), right - left, high - low, transform=self.axes.transData)
            drawn.set_clip_path(frame)
            drawn.set_clip_on(True)

    def strokes(self, lines: Sequence[Line]) -> None:
        """Draw lines: those of one kind in one path, each point as it is."""
        for stroke, group in groupby(sorted(lines, key=lambda line: line.stroke), key=lambda line: line.stroke):
            of_kind = list(group)
            vertices = np.concatenate([np.array(line.points, dtype=np.float64) for line in of_kind])
            codes = np.concatenate([[Path.MOVETO] + [Path.LINETO] * (len(line.points) - 1) for line in of_kind])
            path = Path(vertices, codes)
            path.should_simplify = False  # simplified lines move by up to 0.04 mm
            points = STROKE_WIDTHS[stroke] / MM_PER_INCH * POINTS_PER_INCH
            self.axes.add_patch(
                PathPatch(path, fill=False, edgecolor="black", linewidth=points, linestyle=_dashes(stroke))
            )

    def dots(self, dots: Sequence[Dot]) -> None:
        """Draw filled discs."""
        for dot in dots:
            self.axes.add_patch(PathPatch(Path.circle(dot.centre, dot.radius), facecolor="black", edgecolor="none"))

    def place(self, drawing: Drawing, window: Box, corner: Point, *, cuts_texts: bool = True) -> None:
        """Put what shows through a window of a drawing on the page, its lower left corner at `corner`, at full size."""
        dx, dy = corner[0] - window[0], corner[1] - window[1]
        moved = moved_by(cut(drawing, window), dx, dy)
        self.strokes(moved.lines)
        self.dots(moved.dots)
        frame = (window[0] + dx, window[1] + dy, window[2] + dx, window[3] + dy)
        for text in moved.texts:
            self.text(text, window=frame if cuts_texts else None)

    def head(self, heading: Heading, count: str) -> float:
        """Write the heading; the height [mm] above which nothing else may stand."""
        y = self.height - MARGIN - typeset.cap_height(TITLE)
        room = self.room - typeset.width(count, READ) - 6.0
        self.text(Text(at=(self.width - MARGIN, y), words=count, align="right"))
        for words in typeset.lines_that_fit(heading.title, TITLE, room, bold=True):
            self.text(Text(at=(MARGIN, y), words=words, size=TITLE, bold=True))
            y -= typeset.leading(TITLE)
        for size, paragraphs in ((ACTED_ON, heading.lines), (READ, heading.paragraphs)):
            for paragraph in paragraphs:
                for words in typeset.lines_that_fit(paragraph, size, self.room):
                    self.text(Text(at=(MARGIN, y), words=words, size=size))
                    y -= typeset.leading(size)
                y -= 0.8
        return y + typeset.cap_height(READ) - CLEAR

    def foot(self) -> float:
        """Write cautions and ruler, on every page; the height [mm] below which nothing else may stand."""
        lines = typeset.lines_that_fit(" ".join(self.words.cautions), READ, self.room)
        y = MARGIN + 0.3 * typeset.cap_height(READ)
        for words in reversed(lines):
            self.text(Text(at=(MARGIN, y), words=words))
            y += typeset.leading(READ)
        self.strokes([Line(points=((MARGIN, y), (self.width - MARGIN, y)), stroke="cut")])
        return self._ruler(y + 2.0)

    def _ruler(self, low: float) -> float:
        base = low + typeset.leading(READ) + 1.0
        for mm in range(0, int(RULER) + 1, 10):
            long = 4.0 if mm % 50 == 0 else 2.5
            self.strokes([Line(points=((MARGIN + mm, base), (MARGIN + mm, base + long)), stroke="thin")])
        self.strokes([Line(points=((MARGIN, base), (MARGIN + RULER, base)), stroke="thin")])
        self.text(Text(at=(MARGIN, low + 1.0), words="0"))
        self.text(Text(at=(MARGIN + 0.5 * RULER, low + 1.0), words=f"{0.5 * RULER:g}", align="center"))
        self.text(Text(at=(MARGIN + RULER, low + 1.0), words=f"{RULER:g} mm", align="right"))
        room = self.room - RULER - 4.0
        y = base + 0.5
        for words in typeset.lines_that_fit(self.words.ruler, READ, room):
            self.text(Text(at=(MARGIN + RULER + 4.0, y), words=words))
            y -= typeset.leading(READ)
        return low + RULER_ROOM + CLEAR


def _dashes(stroke: Stroke) -> str | tuple[int, tuple[float, float]]:
    """A pattern in widths of the line, as the plotting library counts it."""
    if stroke not in DASHES:
        return "solid"
    dash, gap = (length / STROKE_WIDTHS[stroke] for length in DASHES[stroke])
    return 0, (dash, gap)


def moved_by(drawing: Drawing, dx: float, dy: float) -> Drawing:
    """A drawing of lines, dots and texts at another place."""
    return Drawing(
        name=drawing.name,
        lines=tuple(
            Line(points=tuple((x + dx, y + dy) for x, y in line.points), stroke=line.stroke) for line in drawing.lines
        ),
        dots=tuple(Dot(centre=(d.centre[0] + dx, d.centre[1] + dy), radius=d.radius) for d in drawing.dots),
        texts=tuple(
            Text(at=(t.at[0] + dx, t.at[1] + dy), words=t.words, size=t.size, align=t.align, bold=t.bold)
            for t in drawing.texts
        ),
    )


def room_below(heading: Heading, paper: Paper, words: TemplateWords) -> tuple[float, float]:
    """Width and height [mm] that a page with this heading leaves for a drawing."""
    page = Page(paper, words)
    return page.room, page.head(heading, words.page.format(page=MOST_SHEETS, pages=MOST_SHEETS)) - page.foot()


def single_page(
    drawing: Drawing,
    window: Box,
    heading: Heading,
    *,
    paper: Paper,
    words: TemplateWords,
    number: int = 1,
    pages: int = 1,
) -> Figure:
    """One page with what shows through a window of a drawing, which must fit; see `room_below`."""
    page = Page(paper, words)
    top = page.head(heading, words.page.format(page=number, pages=pages))
    low = page.foot()
    left = MARGIN + 0.5 * (page.room - (window[2] - window[0]))
    corner = left, low + 0.5 * (top - low - (window[3] - window[1]))
    page.place(drawing, window, corner, cuts_texts=False)
    return page.figure


def tiled_pages(drawing: Drawing, heading: Heading, *, paper: Paper, words: TemplateWords) -> list[Figure] | None:
    """A page that shows how the sheets go together, and the sheets; None where they are more than MOST_SHEETS."""
    longest = words.neighbours.format(sheet="10-10", right="10-11", below="11-10")
    short = Heading(title=heading.title, paragraphs=(longest,))
    sheets = tiling(drawing, *room_below(short, paper, words))
    if len(sheets.tiles) > MOST_SHEETS:
        return None
    pages = 1 + len(sheets.tiles)
    first = Page(paper, words)
    top = first.head(heading, words.page.format(page=1, pages=pages))
    _assembly_map(first, drawing, sheets, top, first.foot())
    figures = [first.figure]
    for number, tile in enumerate(sheets.tiles, 2):
        page = Page(paper, words)
        told = Heading(title=heading.title, paragraphs=(_neighbours(tile, sheets, words),))
        page.head(told, words.page.format(page=number, pages=pages))
        _sheet(page, tile, sheets, page.foot())
        figures.append(page.figure)
    return figures


def _neighbours(tile: Tile, sheets: Tiling, words: TemplateWords) -> str:
    right, below = sheets.at(tile.row, tile.column + 1), sheets.at(tile.row + 1, tile.column)
    none = words.no_sheet
    return words.neighbours.format(
        sheet=tile.label, right=right.label if right else none, below=below.label if below else none
    )


def _sheet(page: Page, tile: Tile, sheets: Tiling, low: float) -> None:
    """One sheet of a tiled drawing: its edge, the line on which its neighbour's edge lies, and crosses on both."""
    left, bottom, right, top = tile.box
    page.place(tile.drawing, tile.box, (MARGIN, low))
    edge = ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))
    help_lines = [Line(points=edge, stroke="thin")]
    if sheets.at(tile.row, tile.column + 1):
        help_lines.append(Line(points=((right - OVERLAP, bottom), (right - OVERLAP, top)), stroke="dotted"))
        help_lines += _crosses(right - 0.5 * OVERLAP, bottom, top, upright=True)
    if sheets.at(tile.row, tile.column - 1):
        help_lines += _crosses(left + 0.5 * OVERLAP, bottom, top, upright=True)
    if sheets.at(tile.row + 1, tile.column):
        help_lines.append(Line(points=((left, bottom + OVERLAP), (right, bottom + OVERLAP)), stroke="dotted"))
        help_lines += _crosses(bottom + 0.5 * OVERLAP, left, right, upright=False)
    if sheets.at(tile.row - 1, tile.column):
        help_lines += _crosses(top - 0.5 * OVERLAP, left, right, upright=False)
    page.place(Drawing(name="edges", lines=tuple(help_lines)), tile.box, (MARGIN, low))


def _crosses(across: float, start: float, end: float, *, upright: bool) -> list[Line]:
    """Two crosses on the middle of a strip, at a quarter and at three: they stand on both sheets that share it."""
    lines = []
    for share in (0.25, 0.75):
        along = start + share * (end - start)
        x, y = (across, along) if upright else (along, across)
        lines.append(Line(points=((x - CROSS, y), (x + CROSS, y)), stroke="thin"))
        lines.append(Line(points=((x, y - CROSS), (x, y + CROSS)), stroke="thin"))
    return lines


def _assembly_map(page: Page, drawing: Drawing, sheets: Tiling, top: float, low: float) -> None:
    """The sheets and the drawing, small, with the sheets' names."""
    for words in typeset.lines_that_fit(page.words.assembly.format(overlap=f"{OVERLAP:g}"), READ, page.room):
        page.text(Text(at=(MARGIN, top - 4.0), words=words))
        top -= typeset.leading(READ)
    left, bottom, right, high = sheets.box
    room = page.room, top - low - 8.0
    scale = min(room[0] / (right - left), room[1] / (high - bottom), 0.5)
    start = MARGIN + 0.5 * (room[0] - scale * (right - left)), low + 3.0 + 0.5 * (room[1] - scale * (high - bottom))

    def small(point: Point) -> Point:
        return start[0] + scale * (point[0] - left), start[1] + scale * (point[1] - bottom)

    outline = cut(drawing, sheets.box)
    page.strokes([Line(points=tuple(map(small, line.points)), stroke="thin") for line in outline.lines])
    for tile in sheets.tiles:
        a, b, c, d = tile.box
        corners = tuple(map(small, ((a, b), (c, b), (c, d), (a, d), (a, b))))
        page.strokes([Line(points=corners, stroke="dotted")])
        middle = small((0.5 * (a + c), 0.5 * (b + d)))
        size = READ if scale * (c - a) > typeset.width(tile.label, READ) + 1.0 else 0.0
        if size:
            page.text(Text(at=(middle[0], middle[1] - 1.5), words=tile.label, size=size, align="center", bold=True))
