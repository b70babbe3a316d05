"""First stages of a block: what the random numbers of its rays say, as vector code.

A number that picks a place in a table is turned into that place in a loop of its own. In one loop with the look-up the
compiler works out each ray's place by itself, as an address, and does so with all that leads up to it.
"""

import numpy as np

from raytrace.kernels import points
from raytrace.kernels.gather import between, fill_gathered
from raytrace.kernels.jit import kernel, look, put
from raytrace.kernels.points import cos_sin_turn, lattice_point
from raytrace.kernels.sheet import Sheet
from raytrace.kernels.sun import Sun, sun_direction, turned


@kernel
def fill_places(
    base: int, count: int, z: int, shift: int, cells: float, cell: np.ndarray, part: np.ndarray
) -> None:
    """In which of so many cells one number of each ray of a block lies, and where within it, in [0, 1)."""
    for k in range(count):
        position = lattice_point(base + k, z, shift) * cells
        at = np.int32(position)
        put(cell, k, at)
        put(part, k, position - float(at))


@kernel
def fill_from_table(
    base: int, count: int, z: int, shift: int, table: np.ndarray, scale: float,
    cell: np.ndarray, part: np.ndarray, out: np.ndarray,
) -> None:
    """`scale` times what a table over [0, 1] says at one number of each ray; `cell` and `part` are room to work in."""
    fill_places(base, count, z, shift, float(table.shape[0] - 1), cell, part)
    for k in range(count):
        put(out, k, scale * between(table, look(cell, k), look(part, k)))


@kernel
def fill_directions(
    sun: Sun, base: int, count: int, vector: np.ndarray, shift: np.ndarray,
    cell: np.ndarray, part: np.ndarray, radius_sq: np.ndarray, across: np.ndarray, along: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray,
) -> None:
    """Directions of a block's rays before the lens; the arrays before them are room to work in."""
    z, s = vector[points.SUN_RADIUS], shift[points.SUN_RADIUS]
    fill_from_table(base, count, z, s, sun.radius_sq, 1.0, cell, part, radius_sq)
    z, s = vector[points.SUN_AZIMUTH], shift[points.SUN_AZIMUTH]
    sin_t, cos_t = sun.sin_transversal, sun.cos_transversal
    sin_l, cos_l = sun.sin_longitudinal, sun.cos_longitudinal
    if sun.aiming_error > 0.0:
        for number, out in ((points.AIM_ACROSS, across), (points.AIM_ALONG, along)):
            fill_from_table(
                base, count, vector[number], shift[number], sun.normal, sun.aiming_error, cell, part, out)
        for k in range(count):
            sin_turned, cos_turned = turned(sin_t, cos_t, look(across, k))
            sin_raised, cos_raised = turned(sin_l, cos_l, look(along, k))
            c, s_k = cos_sin_turn(lattice_point(base + k, z, s))
            sx, sy, sz = sun_direction(
                sin_turned, cos_turned, sin_raised, cos_raised, look(radius_sq, k), c, s_k)
            put(px, k, -sx)
            put(py, k, -sy)
            put(pz, k, -sz)
    else:
        for k in range(count):
            c, s_k = cos_sin_turn(lattice_point(base + k, z, s))
            sx, sy, sz = sun_direction(sin_t, cos_t, sin_l, cos_l, look(radius_sq, k), c, s_k)
            put(px, k, -sx)
            put(py, k, -sy)
            put(pz, k, -sz)


@kernel
def fill_starts(
    sheet: Sheet, sun: Sun, base: int, count: int, vector: np.ndarray, shift: np.ndarray,
    cell: np.ndarray, part: np.ndarray,
    x: np.ndarray, y: np.ndarray, index: np.ndarray, absorption: np.ndarray, turn: np.ndarray, line: np.ndarray,
) -> None:
    """Where a block's rays start, their line of the spectrum, and by how much the first facet is turned.

    `cell` and `part` are room to work in.
    """
    z0, s0 = vector[points.ACROSS], shift[points.ACROSS]
    z1, s1 = vector[points.ALONG], shift[points.ALONG]
    half_width, half_length = sheet.half_width, sheet.half_length
    for k in range(count):
        put(x, k, (2.0 * lattice_point(base + k, z0, s0) - 1.0) * half_width)
        put(y, k, (2.0 * lattice_point(base + k, z1, s1) - 1.0) * half_length)
    lines = float(sun.sheet_index.shape[0])
    fill_places(base, count, vector[points.LINE], shift[points.LINE], lines, line, part)
    fill_gathered(sun.sheet_index, line, count, index)
    fill_gathered(sun.sheet_absorption, line, count, absorption)
    fill_from_table(
        base, count, vector[points.SLOPE], shift[points.SLOPE], sun.normal, sheet.slope_error, cell, part, turn)
