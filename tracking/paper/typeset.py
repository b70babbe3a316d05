"""Width of type on paper, lines that fit, and letters that the type lacks."""

import functools
import re

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font

FAMILY = "DejaVu Sans"
MM_PER_INCH, POINTS_PER_INCH = 25.4, 72.0
MM_PER_POINT = MM_PER_INCH / POINTS_PER_INCH
LEADING = 1.35
"""Distance of lines over size of type."""
CAP_HEIGHT = 0.73
"""Height of a capital or a figure over the size of the type DejaVu Sans (1493 of 2048 units, from its OS/2 table)."""
NEVER_FIRST = ";:!?%"
"""Signs that French sets apart from the word before them."""


class MissingGlyphError(ValueError):
    """A letter that the type of the pages does not have."""


@functools.cache
def _font(weight: str) -> FT2Font:
    return FT2Font(findfont(FontProperties(family=FAMILY, weight=weight)))


@functools.cache
def _letters(weight: str) -> frozenset[int]:
    return frozenset(_font(weight).get_charmap())


@functools.cache
def width(words: str, size: float, *, bold: bool = False) -> float:
    """Width of a line [mm] at a size [pt].

    Raises
    ------
    MissingGlyphError
        If the type lacks one of its letters.
    """
    weight = "bold" if bold else "normal"
    missing = sorted({letter for letter in words if ord(letter) not in _letters(weight)})
    if missing:
        raise MissingGlyphError(f'the type of the pages has no glyph for "{"".join(missing)}" in "{words}".')
    font = _font(weight)
    font.set_size(size, POINTS_PER_INCH)
    font.set_text(words)
    return float(font.get_width_height()[0]) / 64.0 * MM_PER_POINT


def lines_that_fit(words: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """A paragraph cut into lines of at most `room` [mm]: a longer word stands alone, a lone sign begins no line."""
    lines: list[str] = []
    for word in re.split(f" +(?![{NEVER_FIRST}][.,;:)]?(?: |$))", words.strip()) if words.strip() else ():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, size, bold=bold) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def leading(size: float) -> float:
    """Distance of lines [mm] at a size [pt]."""
    return size * LEADING * MM_PER_POINT


def cap_height(size: float) -> float:
    """Height of capitals and figures [mm] at a size [pt]."""
    return size * CAP_HEIGHT * MM_PER_POINT
