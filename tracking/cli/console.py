"""Where words go: results to standard output, talk and progress to standard error."""

import json
import sys
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TextIO

Progress = Callable[[float], None]
"""Called now and then with the share done, in [0, 1]."""


def result(text: str) -> None:
    """Write a result to standard output."""
    _write(text, sys.stdout)


def talk(text: str) -> None:
    """Write a remark to standard error."""
    _write(text, sys.stderr)


def as_json(values: Mapping[str, Any]) -> str:
    """`values` as JSON text in ASCII. A number that is not finite is an error here: no output may hold one."""
    return json.dumps(values, indent=2, allow_nan=False)


def _write(text: str, stream: TextIO) -> None:
    stream.write(_printable(text, stream.encoding or "ascii") + "\n")
    stream.flush()


def _printable(text: str, encoding: str) -> str:
    """`text` in letters that the console's encoding has: accents fall away first, then a question mark stands in."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        plain = unicodedata.normalize("NFKD", text)
        kept = "".join(letter for letter in plain if not unicodedata.combining(letter))
        return kept.encode(encoding, errors="replace").decode(encoding)
    return text


@contextmanager
def progress_bar(what: str) -> Iterator[Progress | None]:
    """A bar on standard error while the block runs; None where standard error is no terminal.

    Says in a line what a first run waits for.
    """
    from raytrace.compiling import must_compile

    if must_compile():
        talk("Compiling the ray tracer for this machine: once, ten to twenty seconds.")
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)

        def step(share: float) -> None:
            bar.update(task, completed=share)

        yield step
