"""From the raw keys of a file to its checked tables, or to all that is wrong with them."""

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from tracking.scenefile.forms import Form
from tracking.scenefile.problems import Problem, listed, nearest
from tracking.scenefile.schema import SceneTables
from tracking.scenefile.table import Table
from tracking.scenefile.units import QuantityError, shown


class ProblemsError(Exception):
    """All that is wrong with a file."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__(f"{len(problems)} problems")
        self.problems = problems


def checked_tables(raw: Mapping[str, Any]) -> SceneTables:
    """The tables of a file.

    Raises
    ------
    ProblemsError
        If a key is unknown, missing or not written as it must be, or if keys of one table do not go together.
    """
    try:
        tables = SceneTables.model_validate(raw)
    except ValidationError as error:
        details = error.errors(include_url=False)
        raise ProblemsError(tuple(_problem(each, raw) for each in details)) from None
    problems = tuple(_rules(tables, ""))
    if problems:
        raise ProblemsError(problems)
    return tables


def subtables(table: Table, prefix: str = "") -> Iterator[tuple[str, Table]]:
    """Each table within a table, and within those, with its dotted name followed by a dot."""
    for key in type(table).model_fields:
        value = getattr(table, key)
        inner = {f"{prefix}{key}.": value}
        if isinstance(value, tuple):
            inner = {f"{prefix}{key}.{number}.": each for number, each in enumerate(value, start=1)}
        for name, each in inner.items():
            if isinstance(each, Table):
                yield name, each
                yield from subtables(each, name)


def fields_of(table: type[Table]) -> dict[str, str]:
    """Keys of a table as they stand in the file, with the names of their fields."""
    return {field.alias or name: name for name, field in table.model_fields.items()}


def table_of(table: type[Table], key: str) -> type[Table] | None:
    """The class of the table that a key of a table holds, if it holds one."""
    annotation = table.model_fields[fields_of(table)[key]].annotation
    candidates = (annotation, *getattr(annotation, "__args__", ()))
    return next((each for each in candidates if isinstance(each, type) and issubclass(each, Table)), None)


def _rules(tables: SceneTables, prefix: str) -> Iterator[Problem]:
    for name, table in subtables(tables, prefix):
        for each in table.problems():
            yield Problem(key=name + each.key, problem=each.problem, allowed=each.allowed)


def _problem(details: ErrorDetails, raw: Mapping[str, Any]) -> Problem:
    table: type[Table] = SceneTables
    for part in details["loc"][:-1]:
        if isinstance(part, str):
            table = table_of(table, part) or table
    # Members of a list of tables are counted from 1, as people do.
    *parents, key = (str(part + 1) if isinstance(part, int) else part for part in details["loc"])
    dotted = ".".join((*parents, key))
    kind = details["type"]
    if kind == "missing":
        return _missing(table, key, dotted)
    if kind == "extra_forbidden":
        return _unknown(table, parents, key, raw)
    cause = details.get("ctx", {}).get("error")
    if isinstance(cause, QuantityError):
        dotted = f"{dotted}.{cause.key}" if cause.key else dotted
        return Problem(key=dotted, problem=cause.problem, allowed=cause.allowed)
    inner = table if key.isdecimal() else table_of(table, key)
    if inner is not None:
        return _no_table(dotted, kind, details["input"])
    return Problem(key=dotted, problem=f"{shown(details['input'])} is not allowed here", allowed=_allowed(table, key))


def _no_table(dotted: str, kind: str, found: object) -> Problem:
    """What stands in place of a table, of a list of tables, or of a member of such a list."""
    *name, last = dotted.split(".")
    if kind == "tuple_type":
        return Problem(key=dotted, problem="this is no list of tables", allowed=f"tables that begin with [[{dotted}]]")
    if last.isdecimal():
        begin = f"[[{'.'.join(name)}]]"
        return Problem(key=dotted, problem=f"{shown(found)} is no table", allowed=f"a table that begins with {begin}")
    what = "an array of tables" if isinstance(found, list) else _toml_type(found)
    return Problem(key=dotted, problem=f"this is {what}, not a table", allowed=f"one table that begins with [{dotted}]")


def _missing(table: type[Table], key: str, dotted: str) -> Problem:
    inner = table_of(table, key)
    if inner is None:
        return Problem(key=dotted, problem="this key is missing", allowed=_allowed(table, key))
    needed = [name for name, field in inner.model_fields.items() if field.is_required()]
    return Problem(
        key=dotted,
        problem="this table is missing",
        allowed=f"a table that begins with [{dotted}] and has at least the keys {listed(needed)}",
    )


def _unknown(table: type[Table], parents: list[str], key: str, raw: Mapping[str, Any]) -> Problem:
    prefix = "".join(f"{parent}." for parent in parents)
    what = "table" if isinstance(_found(raw, (*parents, key)), Mapping) else "key"
    known = fields_of(table)
    near = nearest(key, known)
    if near is not None:
        hint = f": did you mean {prefix}{near}?"
    else:
        places = [place for place in _all_keys(SceneTables, "") if place.rpartition(".")[2] == key]
        hint = f": did you mean {places[0]}?" if places else ""
    where = f"the keys of [{'.'.join(parents)}]" if parents else "the keys and tables of a scene"
    return Problem(
        key=f"{prefix}{key}" if key.isprintable() else f"{prefix}{key!a}",
        problem=f"this {what} is not known{hint}",
        allowed=f"{where}: {listed(known)}",
    )


def _found(raw: object, path: tuple[str, ...]) -> object:
    for key in path:
        if isinstance(raw, list) and key.isdecimal():
            raw = raw[int(key) - 1]
        else:
            raw = raw.get(key) if isinstance(raw, Mapping) else None
    return raw


def _all_keys(table: type[Table], prefix: str) -> Iterator[str]:
    for key in fields_of(table):
        yield f"{prefix}{key}"
        inner = table_of(table, key)
        if inner is not None:
            yield from _all_keys(inner, f"{prefix}{key}.")


def _allowed(table: type[Table], key: str) -> str:
    field = table.model_fields[fields_of(table)[key]]
    return next((form.allowed for form in field.metadata if isinstance(form, Form)), "see the description of the file")


def _toml_type(value: object) -> str:
    names: dict[type, str] = {bool: "a truth value", int: "a number", float: "a number", str: "a text"}
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return "a date or time"
    return names.get(type(value), "no table")
