"""The first run: what must be compiled, and its two halves compiled at the same time.

The block path and the general path are entries of their own. Compiling is work for one thread, as the compiler is
locked, so the general path is compiled by a second process, which leaves its machine code in the cache folder.
"""

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

_CALL = (
    "import importlib, sys; sys.path.insert(0, sys.argv[1]); "
    "module, name = sys.argv[2].split(':'); getattr(importlib.import_module(module), name)()"
)


def default_threads() -> int:
    """As many threads as there are processors for this process."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)


def _kept(entry: object) -> bool:
    """Whether machine code of this entry is kept on disk or in this process. True without the compiler."""
    stats = getattr(entry, "stats", None)  # without the compiler it is a plain function
    if stats is None or getattr(entry, "signatures", None):
        return True
    name = getattr(entry, "__name__", "")
    return any(Path(stats.cache_path or ".").glob(f"*.{name}-*.nbi"))


def must_compile() -> bool:
    """Whether the first trace of this process will compile the tracer, as no machine code of it is kept yet."""
    from raytrace.kernels.block import trace_plain
    from raytrace.kernels.path import finish_leftovers

    return not (_kept(trace_plain) and _kept(finish_leftovers))


def compile_general_path() -> None:
    """Compile `finish_leftovers` for the types that every scene gives it, and keep its machine code."""
    from raytrace.kernels.path import SUMS, Window, finish_leftovers, room_for_leftovers
    from raytrace.kernels.sheet import Sheet
    from raytrace.kernels.sun import Sun
    from raytrace.kernels.tube import Row

    blanks = {float: 0.0, int: 0, bool: False, np.ndarray: np.zeros(1)}

    def blank(kind: type, **others: object) -> Any:  # noqa: ANN401 - one of four named tuples
        return kind(**{name: blanks[hint] for name, hint in kind.__annotations__.items()} | others)

    finish_leftovers(
        blank(Sheet), blank(Row, axes=np.zeros((3, 3))), blank(Sun), blank(Window), 0, 0, room_for_leftovers(1),
        np.zeros(SUMS), np.zeros((2, 1)), np.zeros(1), np.zeros((0, 0)),
    )


@contextlib.contextmanager
def compiled_beside(entry: object, call: str) -> Iterator[bool]:
    """While the block runs, a second process compiles an entry, if that must be compiled and can be kept.

    The block is told whether that is so: then it may compile something else. At its end the second process is waited
    for. Whatever goes wrong in it, the entry is then compiled in this process when it is called.

    Parameters
    ----------
    entry
        The compiled function.
    call
        The function that calls the entry once for the types that it is always given, as "module:name".
    """
    can_be_kept = getattr(getattr(entry, "stats", None), "cache_path", None) is not None
    if _kept(entry) or not can_be_kept or default_threads() < 2 or not sys.executable:
        yield False
        return
    folder = str(Path(__file__).resolve().parent.parent)
    command = [sys.executable, "-P", "-c", _CALL, folder, call]
    try:
        process = subprocess.Popen(  # noqa: S603 - our own interpreter and code
            command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
    except OSError:
        yield False
        return
    with process:
        try:
            yield True
        except BaseException:
            process.kill()
            raise


def general_path_beside() -> contextlib.AbstractContextManager[bool]:
    """A second process compiles the general path while the block compiles the other half; see `compiled_beside`."""
    from raytrace.kernels.path import finish_leftovers

    return compiled_beside(finish_leftovers, "raytrace.compiling:compile_general_path")
