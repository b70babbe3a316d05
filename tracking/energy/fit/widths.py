"""Widths of the focal line that somebody has measured at several heights, read from a CSV file."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from raytrace.scene import GroovesSide
from tracking.energy.fit.csv_file import Cell, CsvFile, read_csv
from tracking.scenefile.units import LENGTH

WidthKind = Literal["fwhm", "w50", "w90"]
"""Full width at half maximum; full widths that hold the central 50 or 90 % of the light, equal tails."""

KINDS: tuple[WidthKind, ...] = get_args(WidthKind)
SIDES: tuple[GroovesSide, ...] = get_args(GroovesSide)

EXAMPLE = ("height_mm,fwhm_mm,height_uncertainty_mm,fwhm_uncertainty_mm", "700,205,2,4")
LEAST_HEIGHTS = 3
MOST_LINES = 200
LEAST_HEIGHT, MOST_HEIGHT = 0.02, 10.0  # [m], as for a lens height
MOST_WIDTH = 5.0  # [m], as for a lens
SIDE_COLUMN = "grooves_toward"


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredWidth:
    """One line: distance of the target from the sheet's lower face, width of the line there, and their standard
    uncertainties [m]; the side on which the grooves lay.
    """

    height: float
    width: float
    height_uncertainty: float
    width_uncertainty: float
    grooves_toward: GroovesSide


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredWidths:
    """What a file says: which width was measured, and the lines."""

    path: Path
    kind: WidthKind
    lines: tuple[MeasuredWidth, ...]


def read_widths(path: Path, grooves_toward: GroovesSide) -> MeasuredWidths:
    """Measured widths from a CSV file.

    The header names four columns, each with its unit (mm, cm, m, in): height_mm, a width (fwhm_mm, w50_mm or w90_mm),
    height_uncertainty_mm and the width's (fwhm_uncertainty_mm); these are standard uncertainties. A fifth column,
    grooves_toward, may tell for each line on which side the grooves lay (tubes or sun, seen as the sheet hung).

    Parameters
    ----------
    path
        The file.
    grooves_toward
        The side of lines that do not tell it.

    Raises
    ------
    InputError
        Naming file, line and column.
    """
    file = read_csv(path, example=EXAMPLE)
    kinds = [kind for kind in KINDS if any(name.rpartition("_")[0] == kind for name in file.columns)]
    if len(kinds) != 1:
        found = " and ".join(kinds) or "none"
        raise file.wrong(
            f"one column has to hold widths of the line, and there is {found}", "one of fwhm_mm, w50_mm, w90_mm",
            key="header",
        )  # fmt: skip
    kind = kinds[0]
    names = ("height", kind, "height_uncertainty", f"{kind}_uncertainty")
    columns = {name: _column(file, name) for name in names}
    known = {column for column, _ in columns.values()} | {SIDE_COLUMN}
    for name in file.columns:
        if name not in known:
            wanted = ", ".join(column for column, _ in columns.values())
            allowed = f"{wanted} and, if wanted, {SIDE_COLUMN}"
            raise file.wrong(f'the column "{name}" is not known', allowed, key="header")
    limits = {
        "height": (LEAST_HEIGHT, MOST_HEIGHT),
        kind: (0.0, MOST_WIDTH),
        "height_uncertainty": (0.0, MOST_HEIGHT),
        f"{kind}_uncertainty": (0.0, MOST_WIDTH),
    }
    lines = []
    for row in file.rows:
        values = {}
        for name in names:
            column, unit = columns[name]
            above = name in {kind, f"{kind}_uncertainty"}
            values[name] = _length(row[column], unit, limits[name], above=above)
        lines.append(
            MeasuredWidth(
                height=values["height"],
                width=values[kind],
                height_uncertainty=values["height_uncertainty"],
                width_uncertainty=values[f"{kind}_uncertainty"],
                grooves_toward=_side(row.get(SIDE_COLUMN), grooves_toward),
            )
        )
    if len(lines) > MOST_LINES:
        raise file.wrong(f"{len(lines)} lines are too many", f"at most {MOST_LINES}")
    heights = {line.height for line in lines}
    if len(heights) < LEAST_HEIGHTS:
        raise file.wrong(
            f"widths at {len(heights)} different heights cannot give a focal length and a slope error with their "
            f"uncertainties",
            f"{LEAST_HEIGHTS} heights or more, some nearer to the sheet than the narrowest line and some farther",
        )
    return MeasuredWidths(path=path, kind=kind, lines=tuple(lines))


def _column(file: CsvFile, name: str) -> tuple[str, str]:
    """The column that holds a length of this name, and its unit."""
    units = ", ".join(LENGTH.units)
    for column in file.columns:
        base, _, unit = column.rpartition("_")
        if base == name and unit in LENGTH.units:
            return column, unit
        if name in {column, base}:
            raise file.wrong(
                f'the column "{column}" does not name a unit of length', f"{name}_mm (units: {units})", key="header"
            )
    raise file.wrong(f'the column "{name}_mm" is missing', f'a header such as "{EXAMPLE[0]}"', key="header")


def _length(cell: Cell, unit: str, limits: tuple[float, float], *, above: bool) -> float:
    """The cell's length [m]."""
    scale = float(LENGTH.units[unit])
    low, high = (limit / scale for limit in limits)
    allowed = f"a number {'above' if above else 'from'} {low:g} {'and up ' if above else ''}to {high:g} {unit}"
    return scale * cell.number(low=low, high=high, allowed=allowed, above=above)


def _side(cell: Cell | None, otherwise: GroovesSide) -> GroovesSide:
    if cell is None:
        return otherwise
    for side in SIDES:
        if cell.text == side:
            return side
    raise cell.wrong(f'"{cell.text}" is no side', "tubes or sun")
