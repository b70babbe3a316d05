"""A whole ray, from its random numbers to its entry in the sums of a replicate."""

import math
from typing import NamedTuple

import numpy as np

from raytrace.kernels.jit import entry, inlined, kernel
from raytrace.kernels.ray import UNDER, in_row_frame, lattice_ray, through_sheet
from raytrace.kernels.sheet import DOWN, EDGE, UP, Sheet
from raytrace.kernels.sun import Sun
from raytrace.kernels.tube import IN_ENVELOPE, MISSED, Row, walk_row

# Sums of a replicate, one row of `sums`: the nine entries of the ledger in their order, then three more.
REFLECTED_LENS, ABSORBED_LENS, UPWARD_LENS, EDGE_LENS, TRAPPED_LENS = 0, 1, 2, 3, 4
MISSED_ROW, ENVELOPE, REFLECTED_ABSORBER, ABSORBED = 5, 6, 7, 8
STARTED, LEFT_DOWN, INTERCEPTED = 9, 10, 11
SUMS = 12

# What is left to do for a ray.
DONE, FROM_START, FROM_SHEET = 0, 1, 2


class Leftovers(NamedTuple):
    """Rays that `block` leaves to the general path, up to as many as the arrays are long.

    Columns of `numbers`, from the start: first turn of the facet, x, y, unused, direction; from the sheet on: weight,
    place, direction.
    """

    kind: np.ndarray  # FROM_START or FROM_SHEET
    ray: np.ndarray
    line: np.ndarray
    numbers: np.ndarray  # (n, COLUMNS)


COLUMNS = 7


def room_for_leftovers(count: int) -> Leftovers:
    """Empty arrays for `count` rays that stray from the plain way; a plain function, for Python to call."""
    kind, ray, line = (np.empty(count, np.int32) for _ in range(3))
    return Leftovers(kind=kind, ray=ray, line=line, numbers=np.empty((count, COLUMNS)))


class Window(NamedTuple):
    """Bins of the profile on the plane of the tubes: fine ones about the centre, then ever wider ones on both sides.

    Bin order: the outer bins of the low side from the outermost in, the fine bins, the outer bins of the high side.
    """

    centre: float
    fine_width: float
    fine_bins: int
    outer_bins: int
    outer_ratio_log: float


@inlined
def profile_bin(window: Window, x: float) -> int:
    """Number of the bin that holds x [m]."""
    half = 0.5 * window.fine_bins * window.fine_width
    d = x - window.centre
    if abs(d) < half:
        return window.outer_bins + min(int((d + half) / window.fine_width), window.fine_bins - 1)
    k = min(math.log(abs(d) / half) / window.outer_ratio_log, window.outer_bins - 1.0)
    if d < 0.0:
        return window.outer_bins - 1 - int(k)
    return window.outer_bins + window.fine_bins + int(k)


@kernel
def finish_at_row(
    row: Row, glass_index: float, glass_absorption: float, weight: float,
    x: float, y: float, z: float, px: float, py: float, pz: float,
    sums: np.ndarray, tubes: np.ndarray, flux: np.ndarray,
) -> None:
    """Book a ray that has left the sheet on the tubes' side, at the row."""
    u, v, w, pu, pv, pw = in_row_frame(row, x, y, z, px, py, pz)
    tube, arrived, lost, factor, patch = walk_row(row, glass_index, glass_absorption, weight, u, v, w, pu, pv, pw)
    sums[ENVELOPE] += lost
    if tube == MISSED:
        sums[MISSED_ROW] += arrived
    elif tube == IN_ENVELOPE:
        sums[ENVELOPE] += arrived
    else:
        taken = arrived * factor
        sums[INTERCEPTED] += arrived
        sums[ABSORBED] += taken
        sums[REFLECTED_ABSORBER] += arrived * (1.0 - factor)
        tubes[0, tube] += arrived
        tubes[1, tube] += taken
        if flux.shape[0] > 0:
            flux[tube, patch] += arrived


@inlined
def follow_ray(
    sheet: Sheet, row: Row, sun: Sun, window: Window, key: int, ray: int, line: int, first_turn: float,
    x: float, y: float, px: float, py: float, pz: float,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray,
) -> None:
    """Follow one ray from the sunward face plane by the general path and book all of it."""
    shine = -pz
    if shine <= 0.0:
        return
    sums[STARTED] += shine
    fate, weight, x, y, z, px, py, pz, reflected, absorbed = through_sheet(
        sheet, sun, line, first_turn, key, ray, x, y, px, py, pz
    )
    sums[REFLECTED_LENS] += shine * reflected
    sums[ABSORBED_LENS] += shine * absorbed
    weight *= shine
    if fate == DOWN:
        sums[LEFT_DOWN] += weight
        if pz < 0.0:
            profile[profile_bin(window, x + (z + row.height) / -pz * px)] += weight
        finish_at_row(
            row, sun.glass_index[line], sun.glass_absorption[line], weight, x, y, z, px, py, pz, sums, tubes, flux
        )
    elif fate == UP:
        sums[UPWARD_LENS] += weight
    elif fate == EDGE:
        sums[EDGE_LENS] += weight
    elif fate == UNDER:
        sums[LEFT_DOWN] += weight
        sums[MISSED_ROW] += weight
    else:
        sums[TRAPPED_LENS] += weight


@entry
def finish_leftovers(
    sheet: Sheet, row: Row, sun: Sun, window: Window, key: int, count: int, leftovers: Leftovers,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray,
) -> None:
    """Follow the first `count` rays of `leftovers` to their ends and add them to the sums of their replicate."""
    for k in range(count):
        kind, ray, line = leftovers.kind[k], leftovers.ray[k], leftovers.line[k]
        numbers = leftovers.numbers[k]
        first, x, y, z, px, py, pz = numbers[0], numbers[1], numbers[2], numbers[3], numbers[4], numbers[5], numbers[6]
        if kind == FROM_START:
            follow_ray(sheet, row, sun, window, key, ray, line, first, x, y, px, py, pz, sums, tubes, profile, flux)
        else:
            finish_at_row(
                row, sun.glass_index[line], sun.glass_absorption[line], first, x, y, z, px, py, pz, sums, tubes, flux
            )


@entry
def trace_one_by_one(
    sheet: Sheet, row: Row, sun: Sun, window: Window, rays: int, vector: np.ndarray, shift: np.ndarray, key: int,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray,
) -> None:
    """Trace all rays of a replicate by the general path, one after the other.

    The straightforward loop that `block.trace_plain` is held against, in results and in speed.
    """
    for ray in range(rays):
        line, first_turn, x, y, px, py, pz = lattice_ray(sheet, sun, vector, shift, ray)
        follow_ray(
            sheet, row, sun, window, key, ray, line, first_turn, x, y, px, py, pz, sums, tubes, profile, flux
        )
