"""What is wrong with a scene file, key by key, and the one error that tells all of it."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracking.errors import InputError


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """A key (dotted, such as lens.width), what is wrong with it, and what is allowed."""

    key: str
    problem: str
    allowed: str


def input_error(file: Path, problems: Sequence[Problem]) -> InputError:
    """One error for all the problems of a file, so that they can be mended in one go; its key is the first one's."""
    first, *others = problems
    also = "".join(f"\nAlso {each.key}: {each.problem}. Allowed: {each.allowed}." for each in others)
    return InputError(file=str(file), key=first.key, problem=first.problem, allowed=f"Allowed: {first.allowed}.{also}")


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that is nearest to a mistyped one, if any is near."""
    by_lower_case = {each.lower(): each for each in known}
    found = difflib.get_close_matches(word.lower(), by_lower_case, n=1)
    return by_lower_case[found[0]] if found else None


def listed(words: Iterable[str], last: str = "and") -> str:
    """Words in a sentence: "a, b and c"."""
    *first, end = words
    return f"{', '.join(first)} {last} {end}" if first else end
