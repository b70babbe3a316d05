"""Plain-text tables and paragraphs for a console: aligned columns, folded where the console is too narrow."""

import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

GAP = "  "
DEFAULT_WIDTH = 100
"""Width of the output where there is no terminal to ask [characters]; the environment's COLUMNS overrides it."""

NARROWEST, WIDEST = 60, 120
NOTHING = "-"
"""What stands in a cell that has no value."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """A column of a table: heading lines above, one text for each row."""

    heading: tuple[str, ...]
    cells: tuple[str, ...]
    left: bool = False

    @property
    def width(self) -> int:
        """Characters that the widest line needs."""
        return max(len(text) for text in (*self.heading, *self.cells))

    def lines(self, heading_height: int) -> list[str]:
        """Heading, a rule and the cells, each padded to the column's width; short headings stand at the bottom."""
        blank = [""] * (heading_height - len(self.heading))
        texts = [*blank, *self.heading, "-" * self.width, *self.cells]
        return [text.ljust(self.width) if self.left else text.rjust(self.width) for text in texts]


def console_width() -> int:
    """Characters that a line may have: the terminal's, within what is still readable."""
    if sys.stdout.isatty() or "COLUMNS" in os.environ:
        width = shutil.get_terminal_size((DEFAULT_WIDTH, 24)).columns
    else:
        width = DEFAULT_WIDTH
    return min(max(width, NARROWEST), WIDEST)


def number(value: float | None, digits: int = 0) -> str:
    """`value` with `digits` decimals, without a minus sign before a zero; `NOTHING` for None."""
    if value is None:
        return NOTHING
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def table(key: Column, groups: Sequence[Sequence[Column]], *, width: int) -> str:
    """One table, or several below each other that all begin with `key`, none wider than `width` where that can be.

    A group is kept together if it fits into a table of its own; otherwise it is cut between its columns.
    """
    room = width - key.width
    parts: list[list[Column]] = [[]]
    for group in groups:
        if _needed(parts[-1]) + _needed(group) > room and parts[-1]:
            parts.append([])
        for column in group:
            if parts[-1] and _needed(parts[-1]) + _needed([column]) > room:
                parts.append([])
            parts[-1].append(column)
    return "\n\n".join(_one_table([key, *part]) for part in parts if part)


def _needed(columns: Iterable[Column]) -> int:
    return sum(len(GAP) + column.width for column in columns)


def _one_table(columns: Sequence[Column]) -> str:
    height = max(len(column.heading) for column in columns)
    rows = zip(*(column.lines(height) for column in columns), strict=True)
    return "\n".join(GAP.join(row).rstrip() for row in rows)


def paragraph(text: str, *, width: int, bullet: str = "") -> str:
    """`text` wrapped to `width`; after a bullet, the lines that follow are indented."""
    return textwrap.fill(
        text,
        width=width,
        initial_indent=bullet,
        subsequent_indent=" " * len(bullet),
        break_long_words=False,
        break_on_hyphens=False,
    )


def bullets(texts: Iterable[str], *, width: int) -> str:
    """Each text as a paragraph with a dash before it."""
    return "\n".join(paragraph(text, width=width, bullet="- ") for text in texts)


def section(title: str, *parts: str) -> str:
    """A title, underlined, and what stands below it; empty parts are left out."""
    return "\n".join([title, "=" * len(title), *(part for part in parts if part)])
