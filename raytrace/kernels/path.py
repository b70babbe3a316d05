"""A whole ray, from its random numbers to its entry in the sums of a replicate."""

import math
from typing import NamedTuple

import numpy as np

from raytrace.kernels import points
from raytrace.kernels.jit import entry, inlined, kernel
from raytrace.kernels.points import cos_sin_turn, from_table, lattice_point
from raytrace.kernels.sheet import DOWN, EDGE, UP, Sheet, walk_sheet
from raytrace.kernels.sun import sun_direction, turned_centre
from raytrace.kernels.tube import IN_ENVELOPE, MISSED, Row, walk_row

# Sums of a replicate, one row of `sums`: the nine entries of the ledger in their order, then three more.
REFLECTED_LENS, ABSORBED_LENS, UPWARD_LENS, EDGE_LENS, TRAPPED_LENS = 0, 1, 2, 3, 4
MISSED_ROW, ENVELOPE, REFLECTED_ABSORBER, ABSORBED = 5, 6, 7, 8
STARTED, LEFT_DOWN, INTERCEPTED = 9, 10, 11
SUMS = 12


class Sun(NamedTuple):
    """Direction of the sun's centre, sampling tables, and the lines that stand for the spectrum."""

    tan_transversal: float
    tan_longitudinal: float
    aiming_error: float
    radius_sq: np.ndarray  # squared radius [rad2] over evenly spaced u
    normal: np.ndarray  # quantiles of the standard normal distribution over evenly spaced u
    sheet_index: np.ndarray
    sheet_absorption: np.ndarray
    glass_index: np.ndarray
    glass_absorption: np.ndarray


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
    a = row.axes
    cz = z + row.height
    tube, arrived, lost, factor, patch = walk_row(
        row, glass_index, glass_absorption, weight,
        a[0, 0] * x + a[0, 1] * y + a[0, 2] * cz,
        a[1, 0] * x + a[1, 1] * y + a[1, 2] * cz,
        a[2, 0] * x + a[2, 1] * y + a[2, 2] * cz,
        a[0, 0] * px + a[0, 1] * py + a[0, 2] * pz,
        a[1, 0] * px + a[1, 1] * py + a[1, 2] * pz,
        a[2, 0] * px + a[2, 1] * py + a[2, 2] * pz,
    )
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

    # With sag, the walk happens in the frame of the groove through whose piece of the face the ray starts.
    lowered, cos_piece, sin_piece, xc = 0.0, 1.0, 0.0, 0.0
    if sheet.sag != 0.0:
        groove = min(int(abs(x) / sheet.pitch), sheet.depth.shape[0] - 1)
        xc = math.copysign((groove + 0.5) * sheet.pitch, x)
        lowered, cos_piece = sheet.lowered[groove], sheet.cos_piece[groove]
        sin_piece = math.copysign(1.0, x) * sheet.sin_piece[groove]
        dx, dz = x - xc, sheet.thickness + lowered
        along_piece, above = dx * cos_piece + dz * sin_piece, dz * cos_piece - dx * sin_piece
        px, pz = px * cos_piece + pz * sin_piece, pz * cos_piece - px * sin_piece
        if pz >= 0.0:
            sums[MISSED_ROW] += shine  # grazing light that passes under its own tilted piece of the sheet
            sums[LEFT_DOWN] += shine
            return
        s = (sheet.thickness - above) / pz
        x, y = xc + along_piece + s * px, y + s * py

    fate, weight, x, y, z, px, py, pz, reflected, absorbed = walk_sheet(
        sheet, sun.sheet_index[line], sun.sheet_absorption[line], sun.normal, first_turn, key, ray, x, y, px, py, pz
    )
    sums[REFLECTED_LENS] += shine * reflected
    sums[ABSORBED_LENS] += shine * absorbed
    weight *= shine
    if fate == DOWN:
        if sheet.sag != 0.0:
            dx = x - xc
            x, z = xc + dx * cos_piece - z * sin_piece, dx * sin_piece + z * cos_piece - lowered
            px, pz = px * cos_piece - pz * sin_piece, px * sin_piece + pz * cos_piece
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
    else:
        sums[TRAPPED_LENS] += weight


@entry
def trace_one_by_one(
    sheet: Sheet, row: Row, sun: Sun, window: Window, rays: int, vector: np.ndarray, shift: np.ndarray, key: int,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray,
) -> None:
    """Trace all rays of a replicate by the general path, one after the other.

    The straightforward loop that `block.trace_replicate` is held against, in results and in speed.
    """
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
        cos_turn, sin_turn = cos_sin_turn(
            lattice_point(ray, vector[points.SUN_AZIMUTH], shift[points.SUN_AZIMUTH]))
        radius_u = lattice_point(ray, vector[points.SUN_RADIUS], shift[points.SUN_RADIUS])
        sx, sy, sz = sun_direction(cx, cy, cz, from_table(sun.radius_sq, radius_u), cos_turn, sin_turn)
        line_u = lattice_point(ray, vector[points.LINE], shift[points.LINE])
        slope_u = lattice_point(ray, vector[points.SLOPE], shift[points.SLOPE])
        across = lattice_point(ray, vector[points.ACROSS], shift[points.ACROSS])
        along = lattice_point(ray, vector[points.ALONG], shift[points.ALONG])
        follow_ray(
            sheet, row, sun, window, key, ray, min(int(line_u * lines), lines - 1),
            sheet.slope_error * from_table(sun.normal, slope_u),
            (2.0 * across - 1.0) * sheet.half_width, (2.0 * along - 1.0) * sheet.half_length, -sx, -sy, -sz,
            sums, tubes, profile, flux,
        )
