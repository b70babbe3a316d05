"""Cuts drawings to a rectangle and into sheets that overlap."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tracking.paper.templates.shapes import Drawing, Line, Point, Stroke, overlap

Box = tuple[float, float, float, float]
"""Left, bottom, right and top [mm]."""

OVERLAP = 12.0
"""Width of the strip that two neighbouring sheets share [mm]: room for glue. Common practice, no source."""


def clipped(points: tuple[Point, ...], box: Box) -> list[tuple[Point, ...]]:
    """The parts of a line inside a box.

    Each piece by Y.-D. Liang and B. A. Barsky, "A new concept and method for line clipping", ACM Transactions on
    Graphics 3, 1984.
    """
    parts: list[list[Point]] = []
    for start, end in itertools.pairwise(points):
        kept = _clipped_piece(start, end, box)
        if kept is None:
            continue
        if parts and parts[-1][-1] == kept[0]:
            parts[-1].append(kept[1])
        else:
            parts.append([*kept])
    return [tuple(part) for part in parts]


def _clipped_piece(start: Point, end: Point, box: Box) -> tuple[Point, Point] | None:
    first, last = 0.0, 1.0
    for axis in (0, 1):
        low, high, run = box[axis], box[axis + 2], end[axis] - start[axis]
        if run == 0.0:
            if not low <= start[axis] <= high:
                return None
            continue
        enter, leave = sorted(((low - start[axis]) / run, (high - start[axis]) / run))
        first, last = max(first, enter), min(last, leave)
    if first > last:
        return None

    def at(share: float) -> Point:
        if share == 0.0:
            return start
        if share == 1.0:
            return end
        return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])

    return at(first), at(last)


def inside(point: Point, box: Box) -> bool:
    """Whether a point lies in a box, its edge included."""
    return box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3]


def cut(drawing: Drawing, box: Box) -> Drawing:
    """What of a drawing shows through a window; arcs come out as chords, texts whole where any of them shows."""
    return _cut(drawing, _runs(drawing), box)


class _Run(NamedTuple):
    """A line or an arc as points, and the box around them."""

    points: tuple[Point, ...]
    stroke: Stroke
    box: Box


def _runs(drawing: Drawing) -> list[_Run]:
    found = []
    for points, stroke in [(line.points, line.stroke) for line in drawing.lines] + [
        (arc.points(), arc.stroke) for arc in drawing.arcs
    ]:
        xs, ys = zip(*points, strict=True)
        found.append(_Run(points, stroke, (min(xs), min(ys), max(xs), max(ys))))
    return found


def _cut(drawing: Drawing, runs: Sequence[_Run], box: Box) -> Drawing:
    return Drawing(
        name=drawing.name,
        lines=tuple(
            Line(points=part, stroke=run.stroke)
            for run in runs
            if _touch(run.box, box)
            for part in clipped(run.points, box)
            if len(part) > 1
        ),
        dots=tuple(dot for dot in drawing.dots if inside(dot.centre, box)),
        texts=tuple(text for text in drawing.texts if overlap(text.box(), box)),
    )


def _touch(one: Box, other: Box) -> bool:
    """Whether two boxes have a point in common: a level line's box has no height."""
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]


@dataclass(frozen=True, kw_only=True, slots=True)
class Tile:
    """One sheet of a tiled drawing: its place, row and column from 1 at the upper left, and what it shows."""

    row: int
    column: int
    box: Box
    drawing: Drawing

    @property
    def label(self) -> str:
        """Its name on paper."""
        return f"{self.row}-{self.column}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Tiling:
    """A drawing on sheets of one size. Sheets on which nothing would stand are left out."""

    tiles: tuple[Tile, ...]
    rows: int
    columns: int
    box: Box

    def at(self, row: int, column: int) -> Tile | None:
        """The sheet at a place, if there is one."""
        return next((tile for tile in self.tiles if (tile.row, tile.column) == (row, column)), None)


def sheets_needed(length: float, sheet: float) -> int:
    """Sheets of a length, each overlapping the next, that cover a length [mm]."""
    return max(1, math.ceil((length - OVERLAP) / (sheet - OVERLAP) - 1e-9))


SHIFTS = (0.0, -0.25, 0.25, -0.5, 0.5)
"""Places of a drawing on its sheets that are tried, over the white that is left beside it."""


MOST_SHIFTED = 40
"""Sheets, the empty ones counted, up to which more than one place is tried, for the time that it takes."""


def tiling(drawing: Drawing, width: float, height: float) -> Tiling:
    """A drawing on sheets that show `width` by `height` [mm] of it each, placed so that the fewest sheets are used."""
    left, low, right, high = drawing.bounds()
    columns, rows = sheets_needed(right - left, width), sheets_needed(high - low, height)
    whole = columns * (width - OVERLAP) + OVERLAP, rows * (height - OVERLAP) + OVERLAP
    spare = whole[0] - (right - left), whole[1] - (high - low)
    runs = _runs(drawing)
    shifts = SHIFTS if columns * rows <= MOST_SHIFTED else SHIFTS[:1]
    tried = [
        _tiled(
            drawing,
            runs,
            (0.5 * (left + right - whole[0]) + dx * spare[0], 0.5 * (low + high + whole[1]) + dy * spare[1]),
            (width, height),
            (columns, rows),
        )
        for dx in shifts
        for dy in shifts
    ]
    return min(tried, key=lambda found: len(found.tiles))


def _tiled(
    drawing: Drawing, runs: Sequence[_Run], start: Point, sheet: tuple[float, float], counts: tuple[int, int]
) -> Tiling:
    """Sheets from the upper left corner `start` on."""
    (width, height), (columns, rows) = sheet, counts
    step_x, step_y = width - OVERLAP, height - OVERLAP
    tiles = []
    for row in range(1, rows + 1):
        for column in range(1, columns + 1):
            x, top = start[0] + (column - 1) * step_x, start[1] - (row - 1) * step_y
            box = (x, top - height, x + width, top)
            # A strip that two sheets show is the left or upper one's: a sheet with nothing beyond it is left out.
            own = (x + (OVERLAP if column > 1 else 0.0), box[1], box[2], top - (OVERLAP if row > 1 else 0.0))
            shown = _cut(drawing, runs, own)
            if shown.lines or shown.dots or shown.texts:
                tiles.append(Tile(row=row, column=column, box=box, drawing=_cut(drawing, runs, box)))
    return Tiling(
        tiles=tuple(tiles),
        rows=rows,
        columns=columns,
        box=(start[0], start[1] - rows * step_y - OVERLAP, start[0] + columns * step_x + OVERLAP, start[1]),
    )
