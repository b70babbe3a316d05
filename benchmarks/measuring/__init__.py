"""What all benchmarks share: arguments, heading, medians of several runs, a plain table. Imports nothing slow."""

import argparse
import os
import platform
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCENES = tuple(sorted((ROOT / "scenes").glob("*.toml")))
SEED = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Times:
    """Medians over several runs [s]: by the clock, and of the processors' work for this process."""

    wall: float
    work: float


def is_quick(description: str) -> bool:
    """Whether the script was called with `--quick`; `--help` prints the description."""
    parser = argparse.ArgumentParser(description=description.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a brief run, to see that it works; its figures are rough")
    return bool(parser.parse_args().quick)


def processor() -> str:
    """Name of the processor as the operating system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def print_heading(title: str, *, threads: str, scene: str, runs: int) -> None:
    """Print what was measured, and on what; the load says how much else the machine had to do."""
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"
    print(f"\n{title}\n{'=' * len(title)}")
    print(f"processor: {processor()}, {os.cpu_count()} cores; load before the run: {load}")
    print(f"threads: {threads}; scene: {scene}; seed: {SEED}; median of {runs} runs\n")


def print_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table: the first column to the left, the others to the right."""
    cells = [list(columns), *(list(row) for row in rows)]
    widths = [max(len(row[k]) for row in cells) for k in range(len(columns))]
    for number, row in enumerate(cells):
        first, *others = zip(row, widths, strict=True)
        padded = [first[0].ljust(first[1]), *(cell.rjust(width) for cell, width in others)]
        print("  ".join(padded).rstrip())
        if number == 0:
            print("  ".join("-" * width for width in widths))


def median_times(call: Callable[[], object], runs: int) -> Times:
    """Medians of the time that a call takes, which has been called before, so that nothing is left to compile."""
    wall, work = [], []
    for _ in range(runs):
        clock, worked = time.perf_counter(), time.process_time()
        call()
        wall.append(time.perf_counter() - clock)
        work.append(time.process_time() - worked)
    return Times(wall=statistics.median(wall), work=statistics.median(work))
