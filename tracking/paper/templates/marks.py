"""Marks and figures along a graduated arc."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from tracking.paper import typeset
from tracking.paper.templates.shapes import ACTED_ON, Drawing, Line, Point, Stroke, Text, overlap, polar

TICK = 12.0
"""Length of a mark [mm]."""
SHORT_TICK = 6.0
ROW = 8.0
"""Distance of one row of figures from the next [mm]."""
ROWS = 3
"""Rows of figures, one within another, among which crowded marks are spread."""
LABEL_STEPS = (1, 2, 5, 10, 20, 30, 45, 90)
"""Each how many marks, at most, gets a figure on an evenly marked arc."""
FREE_STEP = 1.0
"""Step [deg] of the scale where a scene has no marks."""
EVEN = 1e-6
"""Difference of two steps [deg] that is rounding alone."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scale:
    """Settings that are marked [deg], rising, those of them that get figures, and whether they are evenly spaced."""

    drawing: Drawing
    marks: tuple[float, ...]
    figured: tuple[float, ...]
    even: bool

    @property
    def bare(self) -> int:
        """Marks without a figure."""
        return len(self.marks) - len(self.figured)


def figure(angle: float) -> str:
    """An angle as it stands beside a mark."""
    return f"{angle + 0.0:.6g}°".replace("-", "\N{MINUS SIGN}")


def scale(
    centre: Point, radius: float, settings: Sequence[float], bearings: Sequence[float], *, outward: bool = False
) -> Scale:
    """Marks at bearings (n,) [deg], clockwise from straight up, on a circle [mm], each with the figure of its setting.

    Marks and figures stand within the circle, or outside it. Evenly spaced settings get a figure at each or at each
    second, fifth, tenth ... of their marks; of others as many as three rows hold.
    """
    side = 1.0 if outward else -1.0
    lines: list[Line] = []
    texts: list[Text] = []
    figured = _figured(settings, bearings, radius)
    placed: list[Text] = []
    kept = []
    for setting, bearing in zip(settings, bearings, strict=True):
        text = _placed(centre, radius, setting, bearing, side, placed) if setting in figured else None
        if text is not None:
            placed.append(text)
            texts.append(text)
            kept.append(setting)
        long = text is not None or len(figured) == len(settings)
        stroke: Stroke = "mark" if long else "thin"
        end = radius + side * (TICK if long else SHORT_TICK)
        lines.append(Line(points=(polar(centre, radius, bearing), polar(centre, end, bearing)), stroke=stroke))
    return Scale(
        drawing=Drawing(name="scale", lines=tuple(lines), texts=tuple(texts)),
        marks=tuple(settings),
        figured=tuple(kept),
        even=_even(settings),
    )


def _even(settings: Sequence[float]) -> bool:
    steps = [b - a for a, b in itertools.pairwise(settings)]
    return not steps or max(steps) - min(steps) < EVEN


def _figured(settings: Sequence[float], bearings: Sequence[float], radius: float) -> frozenset[float]:
    """Settings for which a figure is tried."""
    if len(settings) < 3:
        return frozenset(settings)
    if not _even(settings):
        return frozenset(settings)
    step = settings[1] - settings[0]
    arc = math.radians(abs(bearings[1] - bearings[0])) * (radius - TICK - ROW)
    room = max(typeset.width(figure(setting), ACTED_ON) for setting in settings) + 2.0
    numbers = {setting: round(setting / step) for setting in settings}
    each = next((each for each in LABEL_STEPS if each * arc >= room), LABEL_STEPS[-1])
    return frozenset(setting for setting, number in numbers.items() if number % each == 0)


def _placed(
    centre: Point, radius: float, setting: float, bearing: float, side: float, placed: Sequence[Text]
) -> Text | None:
    """The figure in the outermost row where it touches no other; None where there is none."""
    words = figure(setting)
    half = 0.5 * typeset.width(words, ACTED_ON), 0.5 * typeset.cap_height(ACTED_ON)
    turn = math.radians(bearing)
    # From the end of the mark to the middle of the figure: what the figure's box covers in that direction.
    reach = abs(half[0] * math.sin(turn)) + abs(half[1] * math.cos(turn)) + 1.5
    for row in range(ROWS):
        x, y = polar(centre, radius + side * (TICK + reach + row * ROW), bearing)
        text = Text(at=(x, y - half[1]), words=words, size=ACTED_ON, align="center")
        if not any(overlap(text.box(), other.box(), 0.8) for other in placed):
            return text
    return None
