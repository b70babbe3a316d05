"""The steps of one ray on the general path: from random numbers to a start, through the sheet, into the row's frame."""

import math

import numpy as np

from raytrace.kernels import points
from raytrace.kernels.jit import inlined
from raytrace.kernels.points import cos_sin_turn, from_table, lattice_point
from raytrace.kernels.sheet import Sheet, walk_sheet
from raytrace.kernels.sun import Sun, sun_direction, turned
from raytrace.kernels.tube import Row, axes_of, in_axes

UNDER = 4
"""Fate of grazing light that passes under its own tilted piece of a sagging sheet; beside those of `sheet`."""


@inlined
def lattice_ray(
    sheet: Sheet, sun: Sun, vector: np.ndarray, shift: np.ndarray, ray: int
) -> tuple[int, float, float, float, float, float, float]:
    """Start of a ray from its point of the lattice, in the lens frame.

    Returns its line of the spectrum, by how much its first facet is turned [rad], where it crosses the sunward face
    plane (x, y) [m], and its unit direction; p_z >= 0 where it comes from behind the lens.
    """
    sin_t, cos_t = sun.sin_transversal, sun.cos_transversal
    sin_l, cos_l = sun.sin_longitudinal, sun.cos_longitudinal
    if sun.aiming_error > 0.0:
        aim_across = lattice_point(ray, vector[points.AIM_ACROSS], shift[points.AIM_ACROSS])
        aim_along = lattice_point(ray, vector[points.AIM_ALONG], shift[points.AIM_ALONG])
        sin_t, cos_t = turned(sin_t, cos_t, sun.aiming_error * from_table(sun.normal, aim_across))
        sin_l, cos_l = turned(sin_l, cos_l, sun.aiming_error * from_table(sun.normal, aim_along))
    cos_turn, sin_turn = cos_sin_turn(lattice_point(ray, vector[points.SUN_AZIMUTH], shift[points.SUN_AZIMUTH]))
    radius_u = lattice_point(ray, vector[points.SUN_RADIUS], shift[points.SUN_RADIUS])
    sx, sy, sz = sun_direction(sin_t, cos_t, sin_l, cos_l, from_table(sun.radius_sq, radius_u), cos_turn, sin_turn)
    lines = sun.sheet_index.shape[0]
    line_u = lattice_point(ray, vector[points.LINE], shift[points.LINE])
    slope_u = lattice_point(ray, vector[points.SLOPE], shift[points.SLOPE])
    across = lattice_point(ray, vector[points.ACROSS], shift[points.ACROSS])
    along = lattice_point(ray, vector[points.ALONG], shift[points.ALONG])
    return (
        min(int(line_u * lines), lines - 1), sheet.slope_error * from_table(sun.normal, slope_u),
        (2.0 * across - 1.0) * sheet.half_width, (2.0 * along - 1.0) * sheet.half_length, -sx, -sy, -sz,
    )


@inlined
def through_sheet(
    sheet: Sheet, sun: Sun, line: int, first_turn: float, key: int, ray: int,
    x: float, y: float, px: float, py: float, pz: float,
) -> tuple[int, float, float, float, float, float, float, float, float, float]:
    """`walk_sheet` for a sheet that may sag: the walk happens in the frame of the groove through whose piece of the
    face the ray starts. Takes and returns places and directions of the lens frame; p_z < 0.
    """
    lowered, cos_piece, sin_piece, xc = 0.0, 1.0, 0.0, 0.0
    if sheet.sag != 0.0:
        groove = min(int(abs(x) / sheet.pitch), sheet.depth.shape[0] - 1)
        xc = math.copysign((groove + 0.5) * sheet.pitch, x)
        lowered, cos_piece = sheet.lowered[groove], sheet.cos_piece[groove]
        sin_piece = math.copysign(1.0, x) * sheet.sin_piece[groove]
        dx, dz = x - xc, sheet.thickness + lowered
        along_piece, above = dx * cos_piece + dz * sin_piece, dz * cos_piece - dx * sin_piece
        qx, qz = px * cos_piece + pz * sin_piece, pz * cos_piece - px * sin_piece
        if qz >= 0.0:
            return UNDER, 1.0, x, y, sheet.thickness, px, py, pz, 0.0, 0.0
        s = (sheet.thickness - above) / qz
        x, y, px, pz = xc + along_piece + s * qx, y + s * py, qx, qz
    fate, weight, x, y, z, px, py, pz, reflected, absorbed = walk_sheet(
        sheet, sun.sheet_index[line], sun.sheet_absorption[line], sun.normal, first_turn, key, ray, x, y, px, py, pz
    )
    if sheet.sag != 0.0:
        dx = x - xc
        x, z = xc + dx * cos_piece - z * sin_piece, dx * sin_piece + z * cos_piece - lowered
        px, pz = px * cos_piece - pz * sin_piece, px * sin_piece + pz * cos_piece
    return fate, weight, x, y, z, px, py, pz, reflected, absorbed


@inlined
def in_row_frame(
    row: Row, x: float, y: float, z: float, px: float, py: float, pz: float
) -> tuple[float, float, float, float, float, float]:
    """Place and direction of the lens frame in the frame of the row."""
    axes = axes_of(row)
    u, v, w = in_axes(axes, x - row.shift_x, y - row.shift_y, z + row.height)
    pu, pv, pw = in_axes(axes, px, py, pz)
    return u, v, w, pu, pv, pw
