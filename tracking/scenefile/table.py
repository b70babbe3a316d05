"""What all tables of a scene file have in common."""

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from tracking.scenefile.problems import Problem
from tracking.scenefile.units import shown


def default(written: object) -> Any:  # noqa: ANN401  as pydantic's own Field: the form turns it into the field's type
    """The default of a key, written as it would be in the file."""
    return Field(default=written)


class Table(BaseModel):
    """A table of the file. Each key is a field: its annotation holds its form, its default is written as in the file.

    A default of None stands for a key that may be left out; `default_text` says what holds then.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=True, arbitrary_types_allowed=True)

    def given(self, key: str) -> bool:
        """Whether the key stands in the file."""
        return key in self.model_fields_set

    def default_text(self, key: str) -> str | None:
        """What holds where the key is left out, as it would be written; None where the key does not apply."""
        written: object = type(self).model_fields[key].default
        return self._default_text(key) if written in {None, ()} else shown(written)

    def problems(self) -> Iterator[Problem]:
        """What is wrong with the keys of this table taken together; `Problem.key` is relative to the table."""
        return self._problems()

    def notes(self) -> Iterator[str]:
        """What a reader of the scene should know about the keys of this table."""
        return self._notes()

    def _default_text(self, key: str) -> str | None:
        """For each table to say: what holds where a key without a default of its own is left out."""

    def _problems(self) -> Iterator[Problem]:
        yield from ()

    def _notes(self) -> Iterator[str]:
        yield from ()
