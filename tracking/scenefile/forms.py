"""How the value of a key is written: one form for each kind of value, told to pydantic as an annotation."""

import zoneinfo
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from raytrace.optics.materials import MATERIALS, Material, constant_material, material_named
from tracking.scenefile.problems import listed, nearest
from tracking.scenefile.units import (
    ABSORPTION,
    ANGLE,
    Kind,
    QuantityError,
    allowed_number,
    allowed_quantity,
    number,
    quantity,
    shown,
)

LONGEST_NAME = 200
"""Characters of a name of a place or a file."""


class Form(ABC):
    """How a value is written."""

    @property
    def allowed(self) -> str:
        """What may be written, in words."""
        return self._allowed()

    def read(self, raw: object) -> object:
        """The value of what is written; QuantityError says what is wrong and what is allowed."""
        return self._read(raw)

    @abstractmethod
    def _allowed(self) -> str: ...

    @abstractmethod
    def _read(self, raw: object) -> object: ...

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Let pydantic read the value by this form alone. None stands for a key left out, as TOML has no such value."""
        return core_schema.no_info_plain_validator_function(lambda raw: None if raw is None else self.read(raw))


@dataclass(frozen=True, slots=True)
class Quantity(Form):
    """A number with a unit, between two bounds that are allowed themselves."""

    kind: Kind
    low: str
    high: str

    def _allowed(self) -> str:
        return allowed_quantity(self.kind, low=self.low, high=self.high)

    def _read(self, raw: object) -> float:
        return self.value(raw)

    def value(self, raw: object) -> float:
        """The value of what is written, in the base unit."""
        return quantity(raw, self.kind, low=self.low, high=self.high)


@dataclass(frozen=True, slots=True)
class Number(Form):
    """A number without a dimension, between two bounds that are allowed themselves."""

    low: float
    high: float

    def _allowed(self) -> str:
        return allowed_number(low=self.low, high=self.high)

    def _read(self, raw: object) -> float:
        return self.value(raw)

    def value(self, raw: object) -> float:
        """The value of what is written, in the base unit."""
        return number(raw, low=self.low, high=self.high)


@dataclass(frozen=True, slots=True)
class Whole(Form):
    """A whole number between two bounds that are allowed themselves."""

    low: int
    high: int

    def _allowed(self) -> str:
        return allowed_number(low=self.low, high=self.high, whole=True)

    def _read(self, raw: object) -> int:
        try:
            number(raw, low=self.low, high=self.high)
        except QuantityError as error:
            raise QuantityError(error.problem, self.allowed) from None
        if not isinstance(raw, int):
            raise QuantityError(f"{shown(raw)} is no whole number", self.allowed)
        return raw


@dataclass(frozen=True, slots=True)
class SchemaVersion(Form):
    """The version of the file's keys."""

    version: int

    def _allowed(self) -> str:
        return f"schema = {self.version}"

    def _read(self, raw: object) -> int:
        if isinstance(raw, bool) or raw != self.version:
            raise QuantityError(f"{shown(raw)} is no version that this program reads", self.allowed)
        return self.version


@dataclass(frozen=True, slots=True)
class Word(Form):
    """One of a few words."""

    words: tuple[str, ...]

    def _allowed(self) -> str:
        return listed((f'"{word}"' for word in self.words), "or")

    def _read(self, raw: object) -> str:
        if isinstance(raw, str) and raw in self.words:
            return raw
        near = nearest(raw, self.words) if isinstance(raw, str) else None
        hint = f', did you mean "{near}"?' if near else ""
        raise QuantityError(f"{shown(raw)} is none of the words that are known here{hint}", self.allowed)


@dataclass(frozen=True, slots=True)
class YesNo(Form):
    """A yes or a no."""

    def _allowed(self) -> str:
        return "true or false, without quotes"

    def _read(self, raw: object) -> bool:
        if not isinstance(raw, bool):
            raise QuantityError(f"{shown(raw)} is neither true nor false", self.allowed)
        return raw


@dataclass(frozen=True, slots=True)
class Text(Form):
    """Any text of one line, such as the name of a place or of a file."""

    what: str

    def _allowed(self) -> str:
        return f"{self.what}: a text of one line, at most {LONGEST_NAME} characters"

    def _read(self, raw: object) -> str:
        if not isinstance(raw, str) or not raw.strip() or not raw.isprintable() or len(raw) > LONGEST_NAME:
            raise QuantityError(f"{shown(raw)} is no such text", self.allowed)
        return raw


@dataclass(frozen=True, slots=True)
class TimeZone(Form):
    """A time zone of the IANA database."""

    def _allowed(self) -> str:
        return 'a name of the IANA time zone database, such as "Africa/Nairobi"'

    def _read(self, raw: object) -> str:
        if not isinstance(raw, str):
            raise QuantityError(f"{shown(raw)} is no known time zone", self.allowed)
        try:
            return zoneinfo.ZoneInfo(raw).key
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):  # a folder of zones is an OSError
            near = nearest(raw, zoneinfo.available_timezones())
            hint = f', did you mean "{near}"?' if near else ""
            raise QuantityError(f"{shown(raw)} is no known time zone{hint}", self.allowed) from None


@dataclass(frozen=True, slots=True)
class TiltRange(Form):
    """Two tilts, the first below the second."""

    low: str
    high: str

    def _allowed(self) -> str:
        return f'a list of two rising angles from {self.low} to {self.high}, such as ["-30 deg", "80 deg"]'

    def _read(self, raw: object) -> tuple[float, float]:
        first, second = _two_angles(raw, self.low, self.high, self.allowed)
        if not first < second:
            raise QuantityError(f"{shown(raw)} does not rise", self.allowed)
        return (first, second)


@dataclass(frozen=True, slots=True)
class SwivelRange(Form):
    """Two swivels, the second counted on from the first: it may be the smaller number."""

    low: str
    high: str

    def _allowed(self) -> str:
        return (
            f"a list of two different angles from {self.low} to {self.high}, the second counted on from the first, "
            'such as ["90 deg", "450 deg"]'
        )

    def _read(self, raw: object) -> tuple[float, float]:
        first, second = _two_angles(raw, self.low, self.high, self.allowed)
        if first == second:
            raise QuantityError(f"{shown(raw)} leaves no room to turn", self.allowed)
        return (first, second)


@dataclass(frozen=True, slots=True)
class Marks(Form):
    """Marks on a scale: the step between them, counted from 0, or a list of rising angles."""

    low: str
    high: str

    smallest_step = "0.01 deg"
    largest_step = "90 deg"

    def _allowed(self) -> str:
        return (
            f'the step between marks, counted from 0, such as "5 deg" ({self.smallest_step} to {self.largest_step}), '
            f'or a list of rising angles from {self.low} to {self.high}, such as ["10 deg", "25 deg", "40 deg"]'
        )

    def _read(self, raw: object) -> float | tuple[float, ...]:
        if not isinstance(raw, (list, tuple)):
            return _angle(raw, self.smallest_step, self.largest_step, self.allowed)
        angles = tuple(_angle(each, self.low, self.high, self.allowed) for each in raw)
        if not angles or list(angles) != sorted(set(angles)):
            raise QuantityError(f"{shown(raw)} is no list of rising angles", self.allowed)
        return angles


@dataclass(frozen=True, slots=True)
class AngleFactors(Form):
    """A factor for each of some rising angles of incidence."""

    def _allowed(self) -> str:
        return (
            "a list of pairs of angle and factor, the angles rising from 0 deg to 90 deg, such as "
            '[["0 deg", 1.0], ["60 deg", 0.95], ["90 deg", 0.0]]'
        )

    def _read(self, raw: object) -> tuple[tuple[float, float], ...]:
        if not isinstance(raw, (list, tuple)):
            raise QuantityError(f"{shown(raw)} is no list", self.allowed)
        return tuple(self._pair(entry) for entry in raw)

    def _pair(self, entry: object) -> tuple[float, float]:
        if not isinstance(entry, (list, tuple)) or len(entry) != 2:
            raise QuantityError(f"{shown(entry)} is no pair of angle and factor", self.allowed)
        try:
            return (quantity(entry[0], ANGLE, low="0 deg", high="90 deg"), number(entry[1], low=0.0))
        except QuantityError as error:
            raise QuantityError(error.problem, self.allowed) from None


@dataclass(frozen=True, slots=True)
class MaterialForm(Form):
    """A named material, or a table with a refractive index and an absorption coefficient."""

    index: Number
    absorption: Quantity

    def _allowed(self) -> str:
        names = listed((f'"{name}"' for name in MATERIALS), "or")
        return f'{names}, or a table such as {{ index = 1.49, absorption = "5 1/m" }}'

    def _read(self, raw: object) -> Material:
        if isinstance(raw, str):
            try:
                return material_named(raw)
            except ValueError:
                near = nearest(raw, MATERIALS)
                hint = f', did you mean "{near}"?' if near else ""
                raise QuantityError(f"{shown(raw)} is no known material{hint}", self.allowed) from None
        if not isinstance(raw, Mapping):
            raise QuantityError(f"{shown(raw)} is neither a name nor a table", self.allowed)
        return self._from_table(raw)

    def _from_table(self, raw: Mapping[str, object]) -> Material:
        for key in raw:
            if key not in {"index", "absorption"}:
                near = nearest(key, ("index", "absorption"))
                hint = f": did you mean {near}?" if near else ""
                raise QuantityError(f"this key is not known{hint}", "the keys index and absorption", key=key)
        return constant_material(_within(raw, "index", self.index), _within(raw, "absorption", self.absorption))


LENS_MATERIAL = MaterialForm(index=Number(1.3, 2.0), absorption=Quantity(ABSORPTION, "0 1/m", "1000 1/m"))
GLASS_INDEX = Number(1.0, 2.0)
GLASS_ABSORPTION = Quantity(ABSORPTION, "0 1/m", "1000 1/m")
ENVELOPE_MATERIAL = MaterialForm(index=GLASS_INDEX, absorption=GLASS_ABSORPTION)


def _within(table: Mapping[str, object], key: str, form: Number | Quantity) -> float:
    """The value of one key of a table that stands as a value."""
    if key not in table:
        raise QuantityError("this key is missing", form.allowed, key=key)
    try:
        return form.value(table[key])
    except QuantityError as error:
        raise QuantityError(error.problem, error.allowed, key=key) from None


def _angle(raw: object, low: str, high: str, allowed: str) -> float:
    """One angle of a list, with what is allowed for the whole list."""
    try:
        return quantity(raw, ANGLE, low=low, high=high)
    except QuantityError as error:
        raise QuantityError(error.problem, allowed) from None


def _two_angles(raw: object, low: str, high: str, allowed: str) -> tuple[float, float]:
    if not isinstance(raw, (list, tuple)) or len(raw) != 2:
        raise QuantityError(f"{shown(raw)} is no list of two angles", allowed)
    first, second = (_angle(each, low, high, allowed) for each in raw)
    return (first, second)
