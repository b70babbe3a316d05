"""Where single rays go: the general path of `path.follow_ray`, with places and fates noted instead of sums."""

import math

import numpy as np

from raytrace.kernels import points
from raytrace.kernels.jit import entry
from raytrace.kernels.path import Sun
from raytrace.kernels.points import cos_sin_turn, from_table, lattice_point
from raytrace.kernels.sheet import DOWN, Sheet, walk_sheet
from raytrace.kernels.sun import sun_direction, turned_centre
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
    lines = sun.sheet_index.shape[0]
    for ray in range(rays):
        cx, cy, cz = sun.tan_transversal, sun.tan_longitudinal, 1.0
        if sun.aiming_error > 0.0:
            aim_across = lattice_point(ray, vector[points.AIM_ACROSS], shift[points.AIM_ACROSS])
            aim_along = lattice_point(ray, vector[points.AIM_ALONG], shift[points.AIM_ALONG])
            cx, cy, cz = turned_centre(
                cx, cy, sun.aiming_error * from_table(sun.normal, aim_across),
                sun.aiming_error * from_table(sun.normal, aim_along),
            )
        cos_turn, sin_turn = cos_sin_turn(lattice_point(ray, vector[points.SUN_AZIMUTH], shift[points.SUN_AZIMUTH]))
        radius_u = lattice_point(ray, vector[points.SUN_RADIUS], shift[points.SUN_RADIUS])
        sx, sy, sz = sun_direction(cx, cy, cz, from_table(sun.radius_sq, radius_u), cos_turn, sin_turn)
        line_u = lattice_point(ray, vector[points.LINE], shift[points.LINE])
        slope_u = lattice_point(ray, vector[points.SLOPE], shift[points.SLOPE])
        line = min(int(line_u * lines), lines - 1)
        x = (2.0 * lattice_point(ray, vector[points.ACROSS], shift[points.ACROSS]) - 1.0) * sheet.half_width
        y = (2.0 * lattice_point(ray, vector[points.ALONG], shift[points.ALONG]) - 1.0) * sheet.half_length
        px, py, pz = -sx, -sy, -sz
        out = noted[ray]
        out[START], out[START + 1], out[START + 2] = x, y, sheet.thickness
        out[BEFORE], out[BEFORE + 1], out[BEFORE + 2] = px, py, pz
        fates[ray, LINE] = line
        fates[ray, AT_ROW] = NOT_AT_ROW
        fates[ray, AT_SHEET] = DOWN
        if pz >= 0.0:
            continue
        shine = -pz
        lowered, cos_piece, sin_piece, xc = 0.0, 1.0, 0.0, 0.0
        beside = False
        if sheet.sag != 0.0:
            # As in `follow_ray`: the walk happens in the frame of the groove through whose face the ray starts.
            groove = min(int(abs(x) / sheet.pitch), sheet.depth.shape[0] - 1)
            xc = math.copysign((groove + 0.5) * sheet.pitch, x)
            lowered, cos_piece = sheet.lowered[groove], sheet.cos_piece[groove]
            sin_piece = math.copysign(1.0, x) * sheet.sin_piece[groove]
            dx, dz = x - xc, sheet.thickness + lowered
            along_piece, above = dx * cos_piece + dz * sin_piece, dz * cos_piece - dx * sin_piece
            px, pz = px * cos_piece + pz * sin_piece, pz * cos_piece - px * sin_piece
            beside = pz >= 0.0
            if not beside:
                s = (sheet.thickness - above) / pz
                x, y = xc + along_piece + s * px, y + s * py
        if beside:
            continue
        fate, weight, x, y, z, px, py, pz, _, _ = walk_sheet(
            sheet, sun.sheet_index[line], sun.sheet_absorption[line], sun.normal,
            sheet.slope_error * from_table(sun.normal, slope_u), key, ray, x, y, px, py, pz,
        )
        if sheet.sag != 0.0:
            dx = x - xc
            x, z = xc + dx * cos_piece - z * sin_piece, dx * sin_piece + z * cos_piece - lowered
            px, pz = px * cos_piece - pz * sin_piece, px * sin_piece + pz * cos_piece
        fates[ray, AT_SHEET] = fate
        out[LEFT], out[LEFT + 1], out[LEFT + 2] = x, y, z
        out[AFTER], out[AFTER + 1], out[AFTER + 2] = px, py, pz
        out[WEIGHT] = weight * shine
        if fate == DOWN:
            a = row.axes
            cz = z + row.height
            tube, arrived, _, _, _ = walk_row(
                row, sun.glass_index[line], sun.glass_absorption[line], weight * shine,
                a[0, 0] * x + a[0, 1] * y + a[0, 2] * cz,
                a[1, 0] * x + a[1, 1] * y + a[1, 2] * cz,
                a[2, 0] * x + a[2, 1] * y + a[2, 2] * cz,
                a[0, 0] * px + a[0, 1] * py + a[0, 2] * pz,
                a[1, 0] * px + a[1, 1] * py + a[1, 2] * pz,
                a[2, 0] * px + a[2, 1] * py + a[2, 2] * pz,
            )
            fates[ray, AT_ROW] = tube
            out[ARRIVED] = arrived
