"""Reading tables and picking rays of a block, for its stages."""

import numpy as np

from raytrace.kernels.jit import inlined, kernel, look, put


@inlined
def between(table: np.ndarray, cell: int | np.int32, part: float) -> float:
    """Value of a table of evenly spaced nodes at a place within a cell, linear in between."""
    low, high = float(look(table, cell)), float(look(table, cell + 1))
    return low + (high - low) * part


@kernel
def fill_gathered(table: np.ndarray, line: np.ndarray, count: int, out: np.ndarray) -> None:
    """out[k] = table[line[k]]."""
    for k in range(count):
        put(out, k, look(table, look(line, k)))


@kernel
def places_of(kinds: np.ndarray, kind: int, count: int, places: np.ndarray) -> int:
    """Write down where a kind stands among the first `count`; returns how many there are. Without a branch."""
    found = int(np.int64(0))  # typed: for a literal what takes it would be compiled a second time
    for k in range(count):
        places[found] = k
        found += 1 if kinds[k] == kind else 0
    return found
