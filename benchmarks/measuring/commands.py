"""The command run as a whole process, as a user runs it; imports nothing slow, as its own memory would count."""

import os
import subprocess  # the benchmarks run this project's own command
import sys
import time
from dataclasses import dataclass
from pathlib import Path

FOCALROW = (sys.executable, "-c", "import sys; from tracking.cli.main import main; sys.exit(main())")
MEGABYTE = 1024.0
"""ru_maxrss of Linux counts in units of 1024 bytes: so many make a megabyte."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Process:
    """What a process took: by the clock [s], of the processors' work [s], and its peak memory [MB]."""

    wall: float
    work: float
    peak: float


def run(program: tuple[str, ...], cache: Path) -> Process:
    """Run a program with its caches in a folder; both the machine code and the tables go there on Linux.

    Raises
    ------
    RuntimeError
        If the program fails.
    """
    began = time.perf_counter()
    child = subprocess.Popen(  # noqa: S603  # arguments of our own
        program, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=os.environ | {"XDG_CACHE_HOME": str(cache)}
    )
    _, status, usage = os.wait4(child.pid, 0)
    wall = time.perf_counter() - began
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        raise RuntimeError(f"{' '.join(program[1:])} ended with status {child.returncode}.")
    return Process(wall=wall, work=usage.ru_utime + usage.ru_stime, peak=usage.ru_maxrss / MEGABYTE)


def focalrow(*arguments: str | Path) -> tuple[str, ...]:
    """The command with arguments."""
    return (*FOCALROW, *map(str, arguments))
