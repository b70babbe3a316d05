"""Small CSV files that people write by hand, with errors that name file, line and column."""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tracking.errors import InputError

LARGEST_FILE = 1_000_000
"""Bytes; a hand-written file has a few thousand."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Cell:
    """One cell of a file, and where it stands."""

    path: Path
    line: int
    column: str
    text: str

    def wrong(self, problem: str, allowed: str) -> InputError:
        """The error for this cell."""
        return InputError(
            file=str(self.path),
            key=f"line {self.line}, column {self.column}",
            problem=problem,
            allowed=f"Allowed: {allowed}.",
        )

    def number(self, *, low: float, high: float, allowed: str, above: bool = False) -> float:
        """The cell's number, between bounds; `above`: the lower bound itself is not allowed.

        Raises
        ------
        InputError
            If it is no number or lies outside.
        """
        try:
            value = float(self.text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or not self.text.isascii() or "_" in self.text:
            raise self.wrong(f'"{self.text}" is no number' if self.text else "this cell is empty", allowed)
        if not low <= value <= high or (above and value == low):
            raise self.wrong(f"{self.text} is out of range", allowed)
        return value


@dataclass(frozen=True, kw_only=True, slots=True)
class CsvFile:
    """The header of a file and its lines, cell by cell, by column."""

    path: Path
    columns: tuple[str, ...]
    rows: tuple[dict[str, Cell], ...]

    def wrong(self, problem: str, allowed: str, *, key: str | None = None) -> InputError:
        """An error about the file as a whole, or about its header."""
        return InputError(file=str(self.path), key=key, problem=problem, allowed=f"Allowed: {allowed}.")


def read_csv(path: Path, *, example: Sequence[str]) -> CsvFile:
    """Header and lines of a CSV file; empty lines and those that begin with # are left out.

    Parameters
    ----------
    path
        The file: UTF-8, a comma between cells.
    example
        Lines that show how such a file is written, header first.

    Raises
    ------
    InputError
        If it cannot be read, has no header, names a column twice, or a line has more or fewer cells than the header.
    """
    wanted = "lines such as " + " / ".join(f'"{line}"' for line in example)
    lines = _lines(path, _text(path, wanted), wanted)
    columns = tuple(name.lower() for name in lines[0][1])
    for name in columns:
        if columns.count(name) > 1:
            what = f'the column "{name}" stands there twice' if name else "a column has no name"
            raise _wrong(path, what, wanted, line=lines[0][0])
    rows = []
    for line, cells in lines[1:]:
        if len(cells) != len(columns):
            hint = " (a number has a decimal point, not a comma)" if len(cells) > len(columns) else ""
            problem = f"it has {len(cells)} cells, and the header has {len(columns)}{hint}"
            raise _wrong(path, problem, wanted, line=line)
        pairs = zip(columns, cells, strict=True)
        rows.append({name: Cell(path=path, line=line, column=name, text=cell) for name, cell in pairs})
    return CsvFile(path=path, columns=columns, rows=tuple(rows))


def _text(path: Path, wanted: str) -> str:
    """All of a file."""
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE + 1)
        if len(content) > LARGEST_FILE:
            raise _wrong(path, "this file is too large", f"at most {LARGEST_FILE} bytes")
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _wrong(path, "this file is not in UTF-8", wanted) from None
    except (OSError, ValueError) as error:  # ValueError: a path with a zero byte
        reason = getattr(error, "strerror", None) or str(error)
        raise _wrong(path, f"this file cannot be read: {reason}", "the path of a CSV file") from None


def _lines(path: Path, text: str, wanted: str) -> list[tuple[int, list[str]]]:
    """The cells of each line that is neither empty nor a remark, at least one line, and the lines' numbers."""
    reader = csv.reader(io.StringIO(text, newline=""), skipinitialspace=True, strict=True)
    lines = []
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped) and not stripped[0].startswith("#"):
                lines.append((reader.line_num, stripped))
    except csv.Error as error:
        raise _wrong(path, f"this is no CSV: {error}", wanted, line=reader.line_num) from None
    if not lines:
        raise _wrong(path, "there is nothing in this file", wanted)
    return lines


def _wrong(path: Path, problem: str, allowed: str, *, line: int | None = None) -> InputError:
    key = None if line is None else f"line {line}"
    return InputError(file=str(path), key=key, problem=problem, allowed=f"Allowed: {allowed}.")
