"""A drawing as plain data, in millimetres at full size: lines, arcs, dots and texts. No writer adds to it.

x runs right, y up. Arcs run counterclockwise from `start` to `end`, in [deg] from x.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from tracking.paper import typeset

Stroke = Literal["cut", "mark", "thin", "dashed", "dotted"]
"""What a line is for: an outline to cut or a body's edge, a mark, a help line, and two that are told apart from it."""
Align = Literal["left", "center", "right"]
Point = tuple[float, float]

STROKE_WIDTHS: dict[Stroke, float] = {"cut": 0.5, "mark": 0.4, "thin": 0.18, "dashed": 0.35, "dotted": 0.35}
"""[mm]; a drawing's choice."""
DASHES: dict[Stroke, tuple[float, float]] = {"dashed": (3.0, 1.5), "dotted": (0.6, 1.2)}
"""Length of a dash and of the gap after it [mm]."""
CHORD_ERROR = 0.005
"""Largest distance between an arc and the chords that stand for it where a writer has no arcs [mm]."""
ACTED_ON, READ = 14.0, 11.0
"""Least size of marks and times, and of the rest [pt]: readable at arm's length. Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """Straight pieces through points, in order."""

    points: tuple[Point, ...]
    stroke: Stroke = "mark"


@dataclass(frozen=True, kw_only=True, slots=True)
class Arc:
    """Part of a circle, or all of it where `end` is 360 beyond `start`."""

    centre: Point
    radius: float
    start: float = 0.0
    end: float = 360.0
    stroke: Stroke = "mark"

    @property
    def is_circle(self) -> bool:
        """Whether it closes."""
        return self.end - self.start >= 360.0

    def points(self) -> tuple[Point, ...]:
        """Points on it, close enough for chords; the first again at the end of a circle."""
        sweep = math.radians(min(self.end - self.start, 360.0))
        step = 2.0 * math.acos(max(0.0, 1.0 - CHORD_ERROR / self.radius))
        count = max(2, math.ceil(sweep / step))
        x, y = self.centre
        turns = [math.radians(self.start) + sweep * k / count for k in range(count + 1)]
        return tuple((x + self.radius * math.cos(turn), y + self.radius * math.sin(turn)) for turn in turns)


@dataclass(frozen=True, kw_only=True, slots=True)
class Dot:
    """A filled disc."""

    centre: Point
    radius: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Text:
    """A line of words; `at` is the left end, middle or right end of its baseline, `size` in [pt]."""

    at: Point
    words: str
    size: float = READ
    align: Align = "left"
    bold: bool = False

    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of what the letters cover, tails below the line included [mm]."""
        wide, x = typeset.width(self.words, self.size, bold=self.bold), self.at[0]
        left = {"left": x, "center": x - 0.5 * wide, "right": x - wide}[self.align]
        high = typeset.cap_height(self.size)
        return left, self.at[1] - 0.3 * high, left + wide, self.at[1] + high


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawing:
    """All that a template shows at full size [mm]."""

    name: str
    lines: tuple[Line, ...] = ()
    arcs: tuple[Arc, ...] = ()
    dots: tuple[Dot, ...] = ()
    texts: tuple[Text, ...] = ()

    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of everything [mm]."""
        boxes = [text.box() for text in self.texts]
        corners = [corner for left, low, right, high in boxes for corner in ((left, low), (right, high))]
        corners += [point for line in self.lines for point in line.points]
        corners += [point for arc in self.arcs for point in arc.points()]
        for dot in self.dots:
            corners += [(dot.centre[0] + sign * dot.radius, dot.centre[1] + sign * dot.radius) for sign in (-1, 1)]
        xs, ys = zip(*corners, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


def merged(name: str, parts: Iterable[Drawing]) -> Drawing:
    """Several drawings as one."""
    listed = list(parts)
    return Drawing(
        name=name,
        lines=tuple(line for part in listed for line in part.lines),
        arcs=tuple(arc for part in listed for arc in part.arcs),
        dots=tuple(dot for part in listed for dot in part.dots),
        texts=tuple(text for part in listed for text in part.texts),
    )


def polar(centre: Point, radius: float, bearing: float) -> Point:
    """The point at a bearing, clockwise from straight up [deg]."""
    turn = math.radians(bearing)
    return centre[0] + radius * math.sin(turn), centre[1] + radius * math.cos(turn)


def overlap(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float], room: float = 0.0
) -> bool:
    """Whether two boxes come closer than `room` [mm]."""
    return (
        one[0] < other[2] + room and other[0] < one[2] + room and one[1] < other[3] + room and other[1] < one[3] + room
    )
