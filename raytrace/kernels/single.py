"""Where single rays go: the general path of `path.follow_ray`, with places and fates noted instead of sums."""

import numpy as np

from raytrace.kernels.jit import entry
from raytrace.kernels.ray import UNDER, in_row_frame, lattice_ray, through_sheet
from raytrace.kernels.sheet import DOWN, Sheet
from raytrace.kernels.sun import Sun
from raytrace.kernels.tube import Row, walk_row

# Columns of `noted`: start, sun's direction reversed, place and direction on leaving the sheet (lens frame), weights.
START, BEFORE, LEFT, AFTER = 0, 3, 6, 9
WEIGHT, ARRIVED, NUMBERS = 12, 13, 14
# Columns of `fates`: fate at the sheet, tube or MISSED or IN_ENVELOPE, line of the spectrum.
AT_SHEET, AT_ROW, LINE, FATES = 0, 1, 2, 3

NOT_AT_ROW = -3
"""Stands in AT_ROW for a ray that does not leave the sheet on the tubes' side."""


@entry
def note_rays(
    sheet: Sheet, row: Row, sun: Sun, rays: int, vector: np.ndarray, shift: np.ndarray, key: int,
    noted: np.ndarray, fates: np.ndarray,
) -> None:
    """Fill `noted` (rays, NUMBERS) and `fates` (rays, FATES); rays that start from behind the lens keep weight 0."""
    for ray in range(rays):
        line, first_turn, x, y, px, py, pz = lattice_ray(sheet, sun, vector, shift, ray)
        out = noted[ray]
        out[START], out[START + 1], out[START + 2] = x, y, sheet.thickness
        out[BEFORE], out[BEFORE + 1], out[BEFORE + 2] = px, py, pz
        fates[ray, LINE] = line
        fates[ray, AT_ROW] = NOT_AT_ROW
        fates[ray, AT_SHEET] = DOWN
        if pz >= 0.0:
            continue
        shine = -pz
        fate, weight, x, y, z, px, py, pz, _, _ = through_sheet(
            sheet, sun, line, first_turn, key, ray, x, y, px, py, pz
        )
        if fate == UNDER:
            continue
        fates[ray, AT_SHEET] = fate
        out[LEFT], out[LEFT + 1], out[LEFT + 2] = x, y, z
        out[AFTER], out[AFTER + 1], out[AFTER + 2] = px, py, pz
        out[WEIGHT] = weight * shine
        if fate == DOWN:
            u, v, w, pu, pv, pw = in_row_frame(row, x, y, z, px, py, pz)
            tube, arrived, _, _, _ = walk_row(
                row, sun.glass_index[line], sun.glass_absorption[line], weight * shine, u, v, w, pu, pv, pw
            )
            fates[ray, AT_ROW] = tube
            out[ARRIVED] = arrived
