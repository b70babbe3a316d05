"""The strict grammar of quantities: a number, one space, a unit that the kind of quantity knows.

Nothing is guessed: a free-text parser reads "0,6 m" as 0 m and "10 C" as ten coulombs.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

NUMBER = r"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,2})?"
"""How a number is written; two digits of exponent are enough for every quantity here."""

_QUANTITY = re.compile(rf"({NUMBER}) (\S+)")
_NO_UNIT = re.compile(rf"{NUMBER} *")
_NO_SPACE = re.compile(rf"({NUMBER})([^\s0-9.,+-]\S*)")
_SPACES = re.compile(rf"\s*({NUMBER})\s+(\S+)\s*")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")

LONGEST_TEXT = 60
"""Characters of a quantity; no honest one comes near it."""

MOST_ENTRIES = 20
"""Entries of a list that a message shows."""

TOO_MANY_DIGITS = 10**18
"""No whole number in a scene comes near it, and a float holds all below it; Python refuses to print very long ones."""


class QuantityError(ValueError):
    """A value that is not written as it must be: what is wrong with it, and what is allowed.

    `key` names the key within the value, if the value is a table.
    """

    def __init__(self, problem: str, allowed: str, *, key: str = "") -> None:
        super().__init__(f"{problem}; allowed: {allowed}")
        self.problem = problem
        self.allowed = allowed
        self.key = key


@dataclass(frozen=True, kw_only=True, slots=True)
class Kind:
    """A kind of quantity: its units and how many of the base unit each of them is, and an example."""

    name: str
    base: str
    units: Mapping[str, Fraction]
    example: str

    @property
    def unit_list(self) -> str:
        """The units in words: "m, cm or mm"."""
        *first, last = self.units
        return f"{', '.join(first)} or {last}" if first else last


_DEGREES_PER_RADIAN = Fraction(180.0 / math.pi)

LENGTH = Kind(
    name="length",
    base="m",
    units={
        "mm": Fraction(1, 1000),
        "cm": Fraction(1, 100),
        "m": Fraction(1),
        "um": Fraction(1, 1_000_000),
        # Exact since the international yard and pound agreement of 1959: 1 in = 25.4 mm.
        "in": Fraction(254, 10000),
        "ft": Fraction(3048, 10000),
    },
    example="600 mm",
)
ANGLE = Kind(
    name="angle",
    base="deg",
    units={"deg": Fraction(1), "mrad": _DEGREES_PER_RADIAN / 1000, "rad": _DEGREES_PER_RADIAN},
    example="3 deg",
)
SMALL_ANGLE = Kind(
    name="angle",
    base="mrad",
    units={"mrad": Fraction(1), "deg": 1000 / _DEGREES_PER_RADIAN, "rad": Fraction(1000)},
    example="2 mrad",
)
IRRADIANCE = Kind(
    name="irradiance",
    base="W/m^2",
    units={"W/m^2": Fraction(1), "kW/m^2": Fraction(1000)},
    example="850 W/m^2",
)
ABSORPTION = Kind(
    name="absorption coefficient",
    base="1/m",
    units={"1/m": Fraction(1), "1/cm": Fraction(100), "1/mm": Fraction(1000)},
    example="5 1/m",
)
WAVELENGTH = Kind(
    name="wavelength",
    base="nm",
    units={"nm": Fraction(1), "um": Fraction(1000)},
    example="587.6 nm",
)
DURATION = Kind(
    name="duration",
    base="s",
    units={"min": Fraction(60), "h": Fraction(3600), "s": Fraction(1)},
    example="15 min",
)


def quantity(raw: object, kind: Kind, *, low: str | None = None, high: str | None = None) -> float:
    """The value of a quantity as written, in the base unit of its kind.

    Parameters
    ----------
    raw
        What was written, such as "600 mm".
    kind
        Which units are allowed.
    low, high
        Bounds, both allowed, written in the same grammar.

    Raises
    ------
    QuantityError
        If it is not a number, one space and a unit of the kind, or lies outside the bounds.

    Notes
    -----
    The product with the unit is exact and rounded once: "600 mm" and "0.6 m" are the same number, and a bound never
    shuts out its own value.
    """
    allowed = allowed_quantity(kind, low=low, high=high)
    exact = _exact(raw, kind, allowed)
    if low is not None and exact < _exact(low, kind, allowed):
        raise QuantityError(f"{shown(raw)} is too small", allowed)
    if high is not None and exact > _exact(high, kind, allowed):
        raise QuantityError(f"{shown(raw)} is too large", allowed)
    return float(exact)


def allowed_quantity(kind: Kind, *, low: str | None = None, high: str | None = None) -> str:
    """What may be written for a quantity, in words."""
    grammar = f"written as number, one space, unit ({kind.unit_list})"
    return f'{_with_article(kind.name)}{_bounds(low, high)}, {grammar}, such as "{kind.example}"'


def number(raw: object, *, low: float | None = None, high: float | None = None) -> float:
    """The value of a plain number without a dimension.

    Raises
    ------
    QuantityError
        If it is not a finite number or lies outside the bounds, which are allowed themselves.
    """
    allowed = allowed_number(low=low, high=high)
    if isinstance(raw, bool) or not isinstance(raw, (int, float)):
        hint = ": write it without quotes" if isinstance(raw, str) and re.fullmatch(NUMBER, raw) else ""
        raise QuantityError(_comma_hint(raw) or f"{shown(raw)} is no plain number{hint}", allowed)
    if isinstance(raw, float) and not math.isfinite(raw):
        raise QuantityError(f"{raw} is not a finite number", allowed)
    if isinstance(raw, int) and abs(raw) >= TOO_MANY_DIGITS:
        raise QuantityError(f"{shown(raw)} is too large", allowed)
    if low is not None and raw < low:
        raise QuantityError(f"{shown(raw)} is too small", allowed)
    if high is not None and raw > high:
        raise QuantityError(f"{shown(raw)} is too large", allowed)
    return float(raw)


def allowed_number(*, low: float | None = None, high: float | None = None, whole: bool = False) -> str:
    """What may be written for a plain number, in words."""
    bounds = _bounds(None if low is None else f"{low:g}", None if high is None else f"{high:g}")
    return f"{'a whole' if whole else 'a plain'} number{bounds}, without quotes and without a unit"


def shown(raw: object, *, depth: int = 4) -> str:
    """A value as it stands in a scene file, shortened where it is very long or nested deeper than `depth`."""
    if depth == 0:
        return "..."
    if isinstance(raw, bool):
        text = "true" if raw else "false"
    elif isinstance(raw, str):
        text = f'"{raw}"' if raw.isprintable() else ascii(raw)
    elif isinstance(raw, list | tuple):
        entries = [shown(entry, depth=depth - 1) for entry in raw[:MOST_ENTRIES]]
        text = f"[{', '.join(entries)}{', ...' if len(raw) > MOST_ENTRIES else ''}]"
    elif isinstance(raw, Mapping):
        entries = [f"{key} = {shown(value, depth=depth - 1)}" for key, value in raw.items()]
        text = f"{{ {', '.join(entries)} }}" if raw else "{}"
    elif isinstance(raw, int) and abs(raw) >= TOO_MANY_DIGITS:
        text = "a number of too many digits"
    else:
        text = str(raw)
    return text if len(text) <= 2 * LONGEST_TEXT else text[: 2 * LONGEST_TEXT] + "..."


def _exact(raw: object, kind: Kind, allowed: str) -> Fraction:
    if not isinstance(raw, str):
        is_number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
        what = "is a bare number: write it with its unit, in quotes" if is_number else f"is no {kind.name}"
        raise QuantityError(f"{shown(raw)} {what}", allowed)
    match = _QUANTITY.fullmatch(raw) if len(raw) <= LONGEST_TEXT else None
    if match is None:
        raise QuantityError(_what_is_wrong(raw), allowed)
    written, unit = match.groups()
    if unit not in kind.units:
        raise QuantityError(f'{shown(raw)} has the unit "{unit}", which is none for this {kind.name}', allowed)
    return Fraction(written) * kind.units[unit]


def _what_is_wrong(raw: str) -> str:
    if len(raw) > LONGEST_TEXT:
        return f"{shown(raw)} is too long for a quantity"
    if hint := _comma_hint(raw):
        return hint
    if _NO_UNIT.fullmatch(raw):
        return f"{shown(raw)} has no unit"
    if match := _NO_SPACE.fullmatch(raw) or _SPACES.fullmatch(raw):
        return f'{shown(raw)} has not exactly one space, between number and unit: write "{match[1]} {match[2]}"'
    return f"{shown(raw)} is not a number, one space and a unit"


def _comma_hint(raw: object) -> str:
    if not isinstance(raw, str) or "," not in raw:
        return ""
    match = _DECIMAL_COMMA.search(raw)
    advice = f"write {match[0].replace(',', '.')}, not {match[0]}" if match else "a number has a decimal point or none"
    return f"{shown(raw)} has a comma: {advice}"


def _bounds(low: str | None, high: str | None) -> str:
    if low is not None and high is not None:
        return f" from {low} to {high}"
    if low is not None:
        return f" of {low} or more"
    return "" if high is None else f" of {high} or less"


def _with_article(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"
