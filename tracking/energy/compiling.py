"""The boiler's compiled loop, compiled by a second process while the first run compiles and traces."""

from contextlib import AbstractContextManager

import numpy as np

from raytrace.compiling import compiled_beside
from tracking.energy.boil_kernel import TubeNumbers, fill_steps


def compile_boiling() -> None:
    """Compile `fill_steps` for the types that `TubeRow` gives it, and keep its machine code."""
    blanks = {name: np.zeros(1) if name in ("enthalpies", "slopes") else 0.0 for name in TubeNumbers._fields}
    no_step = np.zeros((0, 1))
    fill_steps(
        TubeNumbers(**blanks),  # type: ignore[arg-type]
        0.0, no_step, np.zeros(0), np.zeros((1, 4)), np.zeros((0, 1, 6)), np.zeros((0, 1, 4)),
    )  # fmt: skip


def boiling_beside() -> AbstractContextManager[bool]:
    """See `raytrace.compiling.compiled_beside`."""
    return compiled_beside(fill_steps, "tracking.energy.compiling:compile_boiling")
