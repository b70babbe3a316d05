"""Reads the data files that ship beside the code: two columns of numbers under a header that names the source."""

import functools
from importlib import resources

import numpy as np

from raytrace.arrays import Floats


@functools.cache
def two_columns(name: str) -> tuple[Floats, Floats]:
    """Both columns of `data/<name>.txt`, (n,) float each, not writeable."""
    text = resources.files("raytrace.optics").joinpath("data", f"{name}.txt").read_text(encoding="ascii")
    rows = np.array([[float(cell) for cell in line.split()] for line in text.splitlines() if not line.startswith("#")])
    rows.flags.writeable = False
    return rows[:, 0], rows[:, 1]
