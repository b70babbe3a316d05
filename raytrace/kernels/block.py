"""The rays of a replicate in blocks, stage by stage, as vector code; the general path finishes the few that stray.

A plain ray meets one facet and the flat face, no riser, and then at most one tube's absorber. For such rays every stage
is one loop without branches or calls over arrays of a block, which LLVM turns into vector instructions. Each stage
checks what it takes for granted; a ray that fails is left out of the sums and noted, and `path.finish_leftovers` traces
it from its start or from the sheet on. The two paths share their formulas and random numbers, so they book the same ray
alike but for rounding. They are two entries, so that a first run can compile them at the same time.
"""

import math
from typing import Literal

import numpy as np

from raytrace.kernels import path, points
from raytrace.kernels.jit import entry, inlined, kernel, look, put
from raytrace.kernels.path import DONE, FROM_SHEET, FROM_START, Leftovers, Window, profile_bin
from raytrace.kernels.points import cos_sin_turn, lattice_point, sin_cos_small
from raytrace.kernels.refract import attenuation, transmittance
from raytrace.kernels.sheet import Sheet
from raytrace.kernels.sun import Sun, sun_direction, turned_centre
from raytrace.kernels.tube import UPWARD, Row

BLOCK = 256
"""Rays of a block: its arrays stay in the processor's nearer caches."""

APART = 4
"""Sums of each tube kept apart, so that one addition need not wait for the one before."""

Flag = Literal[True] | None

BESIDE = 3
"""Beside DONE, FROM_START and FROM_SHEET, within a block: through an envelope, not onto its absorber."""

# Guard of divisors: far below any value that a plain ray has, so that a failing one gives numbers, not NaN.
TINY = 1e-30


@inlined
def look_up(table: np.ndarray, cells: float, u: float) -> float:
    """`from_table` with `look`; u in [0, 1]."""
    position = u * cells
    cell = np.int32(min(position, cells - 1.0))
    low, high = float(look(table, cell)), float(look(table, cell + 1))
    return low + (high - low) * (position - cell)


@kernel
def fill_directions(
    sun: Sun, base: int, count: int, vector: np.ndarray, shift: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray,
) -> None:
    """Directions of a block's rays before the lens."""
    z2, s2 = vector[points.SUN_RADIUS], shift[points.SUN_RADIUS]
    z3, s3 = vector[points.SUN_AZIMUTH], shift[points.SUN_AZIMUTH]
    cells = float(sun.radius_sq.shape[0] - 1)
    radius_sq = sun.radius_sq
    tan_t, tan_l = sun.tan_transversal, sun.tan_longitudinal
    if sun.aiming_error > 0.0:
        z6, s6 = vector[points.AIM_ACROSS], shift[points.AIM_ACROSS]
        z7, s7 = vector[points.AIM_ALONG], shift[points.AIM_ALONG]
        normal, normal_cells, error = sun.normal, float(sun.normal.shape[0] - 1), sun.aiming_error
        for k in range(count):
            cx, cy, cz = turned_centre(
                tan_t, tan_l,
                error * look_up(normal, normal_cells, lattice_point(base + k, z6, s6)),
                error * look_up(normal, normal_cells, lattice_point(base + k, z7, s7)),
            )
            c, s = cos_sin_turn(lattice_point(base + k, z3, s3))
            sx, sy, sz = sun_direction(cx, cy, cz, look_up(radius_sq, cells, lattice_point(base + k, z2, s2)), c, s)
            put(px, k, -sx)
            put(py, k, -sy)
            put(pz, k, -sz)
    else:
        for k in range(count):
            c, s = cos_sin_turn(lattice_point(base + k, z3, s3))
            r = look_up(radius_sq, cells, lattice_point(base + k, z2, s2))
            sx, sy, sz = sun_direction(tan_t, tan_l, 1.0, r, c, s)
            put(px, k, -sx)
            put(py, k, -sy)
            put(pz, k, -sz)


@kernel
def fill_starts(
    sheet: Sheet, sun: Sun, base: int, count: int, vector: np.ndarray, shift: np.ndarray,
    x: np.ndarray, y: np.ndarray, index: np.ndarray, absorption: np.ndarray, turn: np.ndarray, line: np.ndarray,
) -> None:
    """Where a block's rays start, their line of the spectrum, and by how much the first facet is turned."""
    z0, s0 = vector[points.ACROSS], shift[points.ACROSS]
    z1, s1 = vector[points.ALONG], shift[points.ALONG]
    z4, s4 = vector[points.LINE], shift[points.LINE]
    z5, s5 = vector[points.SLOPE], shift[points.SLOPE]
    lines = float(sun.sheet_index.shape[0])
    sheet_index, sheet_absorption = sun.sheet_index, sun.sheet_absorption
    normal, cells = sun.normal, float(sun.normal.shape[0] - 1)
    half_width, half_length, error = sheet.half_width, sheet.half_length, sheet.slope_error
    for k in range(count):
        put(x, k, (2.0 * lattice_point(base + k, z0, s0) - 1.0) * half_width)
        put(y, k, (2.0 * lattice_point(base + k, z1, s1) - 1.0) * half_length)
        at = np.int32(min(lattice_point(base + k, z4, s4) * lines, lines - 1.0))
        put(line, k, at)
        put(index, k, look(sheet_index, at))
        put(absorption, k, look(sheet_absorption, at))
        put(turn, k, error * look_up(normal, cells, lattice_point(base + k, z5, s5)))


@kernel
def through_grooves_below(
    sheet: Sheet, count: int, shine: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    index: np.ndarray, absorption: np.ndarray, turn: np.ndarray,
    out_x: np.ndarray, out_y: np.ndarray, out_z: np.ndarray, out_px: np.ndarray, out_pz: np.ndarray,
    weight: np.ndarray, todo: np.ndarray,
) -> tuple[float, float, float, float]:
    """Flat face, then one facet of the grooves toward the tubes. `shine` is p_z of the lens frame, before any sag.

    Fills position, direction (p_y stays), weight and what is left to do. Returns the sums started, reflected, absorbed
    and left of the rays that went this plain way.
    """
    t, pitch, tan_q, half_length = sheet.thickness, sheet.pitch, sheet.tan_draft, sheet.half_length
    half_width = sheet.half_width
    factor, last = sheet.transmittance_factor, float(sheet.depth.shape[0] - 1)
    tan_facet, depth, sin_facet, cos_facet = sheet.tan_facet, sheet.depth, sheet.sin_facet, sheet.cos_facet
    started, reflected, absorbed, left = 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        start = look(x, k)
        side = math.copysign(1.0, start)
        qx, kappa, down = look(px, k) * side, look(py, k), -look(pz, k)
        n = look(index, k)
        power = max(-look(shine, k), 0.0)
        after = math.sqrt(n * n - 1.0 + down * down)
        share_1 = transmittance(1.0, n, abs(down) + TINY, after)
        slope = qx / after
        bottom = start * side + slope * t
        cell = np.int32(min(max(bottom / pitch, 0.0), last))
        local = bottom - cell * pitch
        tan_a, d = look(tan_facet, cell), look(depth, cell)
        sin_a, cos_a = look(sin_facet, cell), look(cos_facet, cell)
        valley = pitch - d * tan_q
        steep = 1.0 + slope * tan_a
        zeta = local * tan_a / max(steep, TINY)
        hit = local - slope * zeta
        over = local - slope * d
        plain = (down > 0.0) & (steep > 0.0) & (hit >= 0.0) & (hit <= valley) & (over >= 0.0) & (over <= valley)
        s = (t - zeta) / after
        y_hit = look(y, k) + kappa * s
        plain &= (start * side < half_width) & (abs(look(y, k)) <= half_length) & (abs(y_hit) <= half_length)
        kept = attenuation(look(absorption, k), s * n)
        # The facet's normal, pointing into the sheet, and the same turned by the slope error.
        sine, cosine = sin_cos_small(look(turn, k))
        nx, nz = -cosine * sin_a - sine * cos_a, cosine * cos_a - sine * sin_a
        normal = after * nz - qx * nx
        out_sq = 1.0 - n * n + normal * normal
        plain &= (normal > 0.0) & (out_sq > 0.0)
        out = math.sqrt(max(out_sq, 0.0))
        rx, rz = qx + (normal - out) * nx, (normal - out) * nz - after
        share_2 = transmittance(n, 1.0, abs(normal) + TINY, out)
        plain &= (rz * cos_a - rx * sin_a < 0.0) & (rz < 0.0)
        plain &= hit * -rz + rx * zeta <= pitch * -rz
        good = power if plain else 0.0
        first = good * share_1
        inside = first * factor
        arrived = inside * kept if plain else 0.0
        gone = arrived * share_2
        started += good
        reflected += good * (1.0 - share_1) + arrived * (1.0 - share_2)
        absorbed += first * (1.0 - factor) + (inside * (1.0 - kept) if plain else 0.0)
        left += gone
        put(weight, k, gone)
        put(todo, k, FROM_START if ((power > 0.0) & (not plain)) else DONE)
        put(out_x, k, side * (cell * pitch + hit) if plain else 0.0)
        put(out_y, k, y_hit if plain else 0.0)
        put(out_z, k, zeta if plain else 0.0)
        put(out_px, k, side * rx)
        put(out_pz, k, rz if plain else -1.0)
    return started, reflected, absorbed, left


@kernel
def through_grooves_above(
    sheet: Sheet, count: int, shine: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    index: np.ndarray, absorption: np.ndarray, turn: np.ndarray,
    out_x: np.ndarray, out_y: np.ndarray, out_z: np.ndarray, out_px: np.ndarray, out_pz: np.ndarray,
    weight: np.ndarray, todo: np.ndarray,
) -> tuple[float, float, float, float]:
    """One facet of the grooves toward the sun, then the flat face; else as `through_grooves_below`."""
    t, pitch, tan_q, half_length = sheet.thickness, sheet.pitch, sheet.tan_draft, sheet.half_length
    half_width, deepest = sheet.half_width, sheet.deepest
    factor, last = sheet.transmittance_factor, float(sheet.depth.shape[0] - 1)
    tan_facet, depth, sin_facet, cos_facet = sheet.tan_facet, sheet.depth, sheet.sin_facet, sheet.cos_facet
    started, reflected, absorbed, left = 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        start = look(x, k)
        side = math.copysign(1.0, start)
        qx, kappa, down = look(px, k) * side, look(py, k), -look(pz, k)
        n = look(index, k)
        power = max(-look(shine, k), 0.0)
        slope = qx / max(down, TINY)
        cell = np.int32(min(start * side / pitch, last))
        local = start * side - cell * pitch
        tan_a, d = look(tan_facet, cell), look(depth, cell)
        sin_a, cos_a = look(sin_facet, cell), look(cos_facet, cell)
        steep = 1.0 - slope * tan_a
        zeta = local * tan_a / max(steep, TINY)
        hit = local + slope * zeta
        plain = (down > 0.0) & (steep > 0.0) & (hit >= 0.0) & (hit <= pitch - d * tan_q)
        y_hit = look(y, k) + kappa / max(down, TINY) * zeta
        plain &= (start * side < half_width) & (abs(look(y, k)) <= half_length) & (abs(y_hit) <= half_length)
        # The facet's normal against the ray, turned by the slope error.
        sine, cosine = sin_cos_small(look(turn, k))
        nx, nz = cosine * sin_a + sine * cos_a, sine * sin_a - cosine * cos_a
        normal = -(qx * nx + down * nz)
        plain &= normal > 0.0
        after = math.sqrt(n * n - 1.0 + normal * normal)
        share_1 = transmittance(1.0, n, abs(normal) + TINY, after)
        rx, rz = qx + (normal - after) * nx, down + (normal - after) * nz
        plain &= (rx * sin_a - rz * cos_a < 0.0) & (rz > 0.0)
        fall = max(rz, TINY)
        lean = rx / fall
        # Inwards it must be below this groove's valley, the neighbour's is no deeper, before it leaves this groove;
        # outwards below all grooves before the next valley.
        reach = hit + lean * ((d if rx < 0.0 else deepest) - zeta)
        plain &= (reach >= 0.0) & (reach <= 2.0 * pitch - deepest * tan_q)
        s = (t - zeta) / fall
        x_out = cell * pitch + hit + rx * s
        y_out = y_hit + kappa * s
        plain &= (abs(x_out) <= half_width) & (abs(y_out) <= half_length)
        kept = attenuation(look(absorption, k), s * n)
        out_sq = 1.0 - n * n + rz * rz
        plain &= out_sq > 0.0
        out = math.sqrt(max(out_sq, 0.0))
        share_2 = transmittance(n, 1.0, fall, out)
        good = power if plain else 0.0
        first = good * share_1
        inside = first * factor
        arrived = inside * kept if plain else 0.0
        gone = arrived * share_2
        started += good
        reflected += good * (1.0 - share_1) + arrived * (1.0 - share_2)
        absorbed += first * (1.0 - factor) + (inside * (1.0 - kept) if plain else 0.0)
        left += gone
        put(weight, k, gone)
        put(todo, k, FROM_START if ((power > 0.0) & (not plain)) else DONE)
        put(out_x, k, side * x_out if plain else 0.0)
        put(out_y, k, y_out if plain else 0.0)
        put(out_z, k, 0.0)
        put(out_px, k, side * rx)
        put(out_pz, k, -out if plain else -1.0)
    return started, reflected, absorbed, left


@kernel
def into_pieces(
    sheet: Sheet, count: int, px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    out_px: np.ndarray, out_pz: np.ndarray, out_x: np.ndarray, out_y: np.ndarray, groove: np.ndarray,
) -> None:
    """From the lens frame into the frames of the grooves of a sagging sheet, on its turned face plane."""
    t, pitch, last = sheet.thickness, sheet.pitch, float(sheet.depth.shape[0] - 1)
    lowered, cos_piece, sin_piece = sheet.lowered, sheet.cos_piece, sheet.sin_piece
    for k in range(count):
        start = look(x, k)
        side = math.copysign(1.0, start)
        cell = np.int32(min(start * side / pitch, last))
        centre = side * (cell + 0.5) * pitch
        c, s = look(cos_piece, cell), side * look(sin_piece, cell)
        dx, dz = start - centre, t + look(lowered, cell)
        qx, qz = look(px, k) * c + look(pz, k) * s, look(pz, k) * c - look(px, k) * s
        on = (t - (dz * c - dx * s)) / min(qz, -TINY)
        put(groove, k, cell)
        put(out_px, k, qx)
        put(out_pz, k, qz)
        put(out_x, k, centre + dx * c + dz * s + on * qx)
        put(out_y, k, look(y, k) + on * look(py, k))


@kernel
def out_of_pieces(
    sheet: Sheet, count: int, start: np.ndarray, groove: np.ndarray,
    px: np.ndarray, pz: np.ndarray, x: np.ndarray, z: np.ndarray,
    out_px: np.ndarray, out_pz: np.ndarray, out_x: np.ndarray, out_z: np.ndarray, weight: np.ndarray,
) -> None:
    """Back from the frames of the grooves into the lens frame; `start` is where the rays started across the grooves."""
    pitch = sheet.pitch
    lowered, cos_piece, sin_piece = sheet.lowered, sheet.cos_piece, sheet.sin_piece
    for k in range(count):
        side = math.copysign(1.0, look(start, k))
        cell = look(groove, k)
        centre = side * (cell + 0.5) * pitch
        c, s = look(cos_piece, cell), side * look(sin_piece, cell)
        dx, height = look(x, k) - centre, look(z, k)
        qz = look(px, k) * s + look(pz, k) * c
        put(out_px, k, look(px, k) * c - look(pz, k) * s)
        put(out_pz, k, qz if look(weight, k) > 0.0 else -1.0)
        put(out_x, k, centre + dx * c - height * s)
        put(out_z, k, dx * s + height * c - look(lowered, cell))


@kernel
def fill_profile_bins(
    window: Window, height: float, count: int,
    px: np.ndarray, pz: np.ndarray, x: np.ndarray, z: np.ndarray, crossing: np.ndarray, bins: np.ndarray,
) -> None:
    """Where a block's rays cross the plane of the tubes, and in which fine bin; -1 beyond the fine bins."""
    centre, per_width, fine_bins = window.centre, 1.0 / window.fine_width, float(window.fine_bins)
    half = 0.5 * fine_bins
    for k in range(count):
        at = look(x, k) - (look(z, k) + height) / look(pz, k) * look(px, k)
        place = (at - centre) * per_width + half
        fine = (place > 0.0) & (place < fine_bins)
        put(crossing, k, at)
        put(bins, k, np.int32(place if fine else -1.0))


# Arctangent of x in [0, 1] to 2e-8: Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, eq. 4.4.49. It
# serves the choice of a flux patch only, 0.087 rad wide.
A2, A4, A6, A8 = -0.3333314528, 0.1999355085, -0.1420889944, 0.1065626393
A10, A12, A14, A16 = -0.0752896400, 0.0429096138, -0.0161657367, 0.0028662257


@inlined
def turn_of(u: float, w: float) -> float:
    """(atan2(w, u) + pi) / (2 pi), in [0, 1], without a call or a branch."""
    a, b = abs(u), abs(w)
    q = min(a, b) / (max(a, b) + TINY)
    r = q * q
    angle = q * (1.0 + r * (A2 + r * (A4 + r * (A6 + r * (A8 + r * (A10 + r * (A12 + r * (A14 + r * A16))))))))
    angle = 0.5 * math.pi - angle if b > a else angle
    angle = math.pi - angle if u < 0.0 else angle
    angle = -angle if w < 0.0 else angle
    return angle * (0.5 / math.pi) + 0.5


@kernel
def meet_row(
    row: Row, enveloped: Flag, count: int,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray,
    glass_index: np.ndarray, glass_absorption: np.ndarray, weight: np.ndarray,
    tube: np.ndarray, patch: np.ndarray, arrived: np.ndarray, cosine: np.ndarray, stray: np.ndarray,
) -> tuple[float, float]:
    """The one tube that a plain ray can meet, and what arrives there: zero where it does not.

    Bare tubes have None for `enveloped` and read no glass. Returns the sums missed and lost in envelopes of the rays
    that are done here.
    """
    a = row.axes
    a00, a01, a02, a10, a11, a12 = a[0, 0], a[0, 1], a[0, 2], a[1, 0], a[1, 1], a[1, 2]
    a20, a21, a22 = a[2, 0], a[2, 1], a[2, 2]
    height, shift_x, shift_y, half_length = row.height, row.shift_x, row.shift_y, row.half_length
    radius, inner, outer = row.absorber_radius, row.inner_radius, row.outer_radius
    radius_sq, inner_sq, outer_sq = radius * radius, inner * inner, outer * outer
    spacing, middle, last = row.spacing, 0.5 * (row.tubes - 1), float(row.tubes - 1)
    per_spacing = 1.0 / spacing if spacing > 0.0 else 0.0
    around, along = float(row.patches_around), float(row.patches_along)
    missed, lost = 0.0, 0.0
    for k in range(count):
        lx, ly, lz = look(x, k) - shift_x, look(y, k) - shift_y, look(z, k) + height
        dx, dy, dz = look(px, k), look(py, k), look(pz, k)
        u, v, w = a00 * lx + a01 * ly + a02 * lz, a10 * lx + a11 * ly + a12 * lz, a20 * lx + a21 * ly + a22 * lz
        pu, pv, pw = a00 * dx + a01 * dy + a02 * dz, a10 * dx + a11 * dy + a12 * dz, a20 * dx + a21 * dy + a22 * dz
        power = look(weight, k)
        across = max(pu * pu + pw * pw, TINY)
        # Up or down: a row that is level while the lens leans over may be lit from below.
        steep = abs(pw) > 1e-6
        per_fall = 1.0 / (pw if steep else -1.0)
        # Measured along the row in spacings: where the ray crosses the plane of the axes, and to either side the reach
        # of the tubes that its line meets. The first of them, in the ray's own sense, is the one that it meets first.
        where = (u - w * pu * per_fall) * per_spacing + middle
        reach = outer * math.sqrt(across) * abs(per_fall) * per_spacing
        sense = 1.0 if pu > 0.0 else -1.0
        first = sense * math.ceil(sense * where - reach)
        nearest = min(max(first, 0.0), last)
        cu = u - (nearest - middle) * spacing
        moment = cu * pw - w * pu
        moment_sq = moment * moment
        # Past all tubes: beside the one that it comes nearest to, or beyond their ends all through the row.
        v_top, v_bottom = v + (outer - w) * per_fall * pv, v - (outer + w) * per_fall * pv
        beyond = (min(v_top, v_bottom) > half_length) | (max(v_top, v_bottom) < -half_length)
        passes = (moment_sq >= across * outer_sq) | beyond
        hits = (moment_sq < across * radius_sq) & (not beyond)
        to_outer = math.sqrt(max(across * outer_sq - moment_sq, 0.0))
        to_absorber = math.sqrt(max(across * radius_sq - moment_sq, 0.0))
        s = (-(cu * pu + w * pw) - to_outer) / across
        v_outer = v + s * pv
        v_hit = v_outer
        hu, hw = cu + s * pu, w + s * pw
        share = 1.0
        if enveloped is not None:
            n = look(glass_index, k)
            across_glass = max(n * n - pv * pv, TINY)
            in_outer = math.sqrt(max(across_glass * outer_sq - min(moment_sq, across * outer_sq), 0.0))
            in_inner = math.sqrt(max(across_glass * inner_sq - min(moment_sq, across * inner_sq), 0.0))
            to_inner = math.sqrt(max(across * inner_sq - moment_sq, 0.0))
            share = transmittance(1.0, n, (to_outer + TINY) / outer, in_outer / outer)
            share *= transmittance(n, 1.0, in_inner / inner, (to_inner + TINY) / inner)
            s_glass = (in_outer - in_inner) / across_glass
            share *= attenuation(look(glass_absorption, k), s_glass * n)
            s_vacuum = (to_inner - to_absorber) / across
            v_hit = v_outer + (s_glass + s_vacuum) * pv
            # In the (u, w) plane: through the glass with its bent direction, then on with the vacuum's.
            bend_1 = (to_outer - in_outer) / outer_sq
            gu, gw = pu + bend_1 * hu, pw + bend_1 * hw
            hu, hw = hu + s_glass * gu, hw + s_glass * gw
            bend_2 = (in_inner - to_inner) / inner_sq
            gu, gw = gu + bend_2 * hu, gw + bend_2 * hw
            hu, hw = hu + s_vacuum * gu, hw + s_vacuum * gw
        inside_ends = (abs(v_outer) <= half_length) & (abs(v_hit) <= half_length)
        reaches = steep & hits & inside_ends & (s > 0.0)
        misses = steep & passes
        plain = reaches | misses
        here = power * share if reaches else 0.0
        missed += power if misses else 0.0
        lost += power * (1.0 - share) if reaches else 0.0
        place = min(max((v_hit / half_length + 1.0) * 0.5 * along, 0.0), along - 1.0)
        turn = min(turn_of(hu, hw) * around, around - 1.0)
        put(tube, k, np.int32(nearest))
        put(patch, k, np.int32(place) * np.int32(around) + np.int32(turn) if reaches else np.int32(0))
        put(arrived, k, here)
        put(cosine, k, min(to_absorber / radius, 1.0))
        beside = (enveloped is not None) & steep & (not passes) & (not hits)
        beside &= (abs(v_outer) <= half_length) & (s > 0.0)
        put(stray, k, DONE if plain | (power == 0.0) else (BESIDE if beside else FROM_SHEET))
    return missed, lost


@inlined
def slip_through(
    n: float, absorption: float, u: float, v: float, w: float, pu: float, pv: float, pw: float,
    inner_sq: float, outer_sq: float,
) -> tuple[float, float, float, float, float, float]:
    """Share of a ray left after an envelope that it crosses beside the absorber; (u, w) from the tube's own axis.

    For a ray of which is known that it meets the outside of this glass first, and not the absorber. It goes through the
    wall of glass alone, or from wall to wall through the vacuum; both ways are one sequence of steps without a branch,
    with steps of no length for the former. Returns the share, or -1 under total reflection and where a ray just
    touches a face, then (u, v, w) and the direction (p_u, p_w) on leaving. p_v and the moment about the axis stay.
    """
    across, across_glass = pu * pu + pw * pw, n * n - pv * pv
    moment = u * pw - w * pu
    moment_sq = moment * moment
    to_outer = math.sqrt(max(across * outer_sq - moment_sq, 0.0))
    in_outer = math.sqrt(max(across_glass * outer_sq - moment_sq, 0.0))
    in_inner = math.sqrt(max(across_glass * inner_sq - moment_sq, 0.0))
    to_inner = math.sqrt(max(across * inner_sq - moment_sq, 0.0))
    wall = in_inner == 0.0
    good = (to_outer > 0.0) & (in_outer > 0.0) & (wall | (to_inner > 0.0))
    s = (-(u * pu + w * pw) - to_outer) / across
    u, w, v = u + s * pu, w + s * pw, v + s * pv
    outer_share = transmittance(1.0, n, to_outer + TINY, in_outer + TINY)
    inner_share = 1.0 if wall else transmittance(1.0, n, to_inner + TINY, in_inner + TINY)
    bend_outer = (to_outer - in_outer) / outer_sq
    bend_inner = 0.0 if wall else (in_inner - to_inner) / inner_sq
    first = (2.0 * in_outer if wall else in_outer - in_inner) / across_glass
    second = 0.0 if wall else first
    vacuum = 0.0 if wall else 2.0 * to_inner / across
    pu, pw = pu + bend_outer * u, pw + bend_outer * w
    u, w = u + first * pu, w + first * pw
    pu, pw = pu + bend_inner * u, pw + bend_inner * w
    u, w = u + vacuum * pu, w + vacuum * pw
    pu, pw = pu + bend_inner * u, pw + bend_inner * w
    u, w = u + second * pu, w + second * pw
    pu, pw = pu + bend_outer * u, pw + bend_outer * w
    v += (first + second + vacuum) * pv
    # The way out is the way in reversed: each face is passed twice at the same angle.
    share = outer_share * inner_share
    share *= share * attenuation(absorption, (first + second) * n)
    return (share if good else -1.0), u, v, w, pu, pw


@kernel
def slip_beside(
    row: Row, count: int,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray,
    glass_index: np.ndarray, glass_absorption: np.ndarray, weight: np.ndarray, tube: np.ndarray, stray: np.ndarray,
    place: np.ndarray, share: np.ndarray,
) -> tuple[float, float]:
    """Rays that cross an envelope beside its absorber, where that takes them past all tubes: with tubes close to each
    other many do. Others are left to the general path. Returns the sums missed and lost in envelopes.
    """
    a = row.axes
    a00, a01, a02, a10, a11, a12 = a[0, 0], a[0, 1], a[0, 2], a[1, 0], a[1, 1], a[1, 2]
    a20, a21, a22 = a[2, 0], a[2, 1], a[2, 2]
    height, shift_x, shift_y = row.height, row.shift_x, row.shift_y
    half_length, spacing = row.half_length, row.spacing
    inner_sq, outer_sq = row.inner_radius * row.inner_radius, row.outer_radius * row.outer_radius
    middle, last = 0.5 * (row.tubes - 1), row.tubes - 1.0
    found = 0
    for k in range(count):
        place[found] = k
        found += 1 if stray[k] == BESIDE else 0
    for j in range(found):
        k = look(place, j)
        lx, ly, lz = look(x, k) - shift_x, look(y, k) - shift_y, look(z, k) + height
        dx, dy, dz = look(px, k), look(py, k), look(pz, k)
        number = float(look(tube, k))
        u, v, w = a00 * lx + a01 * ly + a02 * lz, a10 * lx + a11 * ly + a12 * lz, a20 * lx + a21 * ly + a22 * lz
        pu, pv, pw = a00 * dx + a01 * dy + a02 * dz, a10 * dx + a11 * dy + a12 * dz, a20 * dx + a21 * dy + a22 * dz
        left, u, v, w, pu, pw = slip_through(
            look(glass_index, k), look(glass_absorption, k), u - (number - middle) * spacing, v, w, pu, pv, pw,
            inner_sq, outer_sq)
        moment, reach = u * pw - w * pu, (pu * pu + pw * pw) * outer_sq
        before, after = moment + spacing * pw, moment - spacing * pw
        clear = ((number < 1.0) | (before * before >= reach)) & ((number >= last) | (after * after >= reach))
        clear &= (abs(v) <= half_length) & (a02 * pu + a12 * pv + a22 * pw <= UPWARD)
        put(share, j, left if clear else -1.0)
    missed, lost = 0.0, 0.0
    for j in range(found):
        k = place[j]
        if share[j] >= 0.0:
            missed += weight[k] * share[j]
            lost += weight[k] * (1.0 - share[j])
            stray[k] = DONE
        else:
            stray[k] = FROM_SHEET
    return missed, lost


@kernel
def fill_gathered(table: np.ndarray, line: np.ndarray, count: int, out: np.ndarray) -> None:
    """out[k] = table[line[k]]."""
    for k in range(count):
        put(out, k, look(table, look(line, k)))


@kernel
def absorb(
    absorptance: np.ndarray, count: int, arrived: np.ndarray, cosine: np.ndarray, taken: np.ndarray
) -> tuple[float, float]:
    """What the absorber takes up of what arrives; returns the sums absorbed and reflected."""
    cells = float(absorptance.shape[0] - 1)
    absorbed, reflected = 0.0, 0.0
    for k in range(count):
        here = look(arrived, k)
        factor = look_up(absorptance, cells, look(cosine, k))
        absorbed += here * factor
        reflected += here * (1.0 - factor)
        put(taken, k, here * factor)
    return absorbed, reflected


@kernel
def book_plain(
    window: Window, count: int, weight: np.ndarray, crossing: np.ndarray, bins: np.ndarray,
    tube: np.ndarray, patch: np.ndarray, arrived: np.ndarray, taken: np.ndarray,
    tubes_apart: np.ndarray, profile: np.ndarray, flux: np.ndarray,
) -> None:
    """Add a block's plain rays to the profile, the tubes and the flux map."""
    for k in range(count):
        if bins[k] >= 0:
            profile[window.outer_bins + bins[k]] += weight[k]
        elif weight[k] > 0.0:
            profile[profile_bin(window, crossing[k])] += weight[k]
    for k in range(count):
        tubes_apart[k & (APART - 1), 0, tube[k]] += arrived[k]
        tubes_apart[k & (APART - 1), 1, tube[k]] += taken[k]
    if flux.shape[0] > 0:
        for k in range(count):
            flux[tube[k], patch[k]] += arrived[k]


@kernel
def note_leftovers(
    leftovers: Leftovers, noted: int, base: int, count: int, todo: np.ndarray, stray: np.ndarray,
    line: np.ndarray, turn: np.ndarray, weight: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    px1: np.ndarray, pz1: np.ndarray, x1: np.ndarray, y1: np.ndarray, z1: np.ndarray,
) -> int:
    """Note a block's rays that strayed, after the `noted` ones before; returns how many are noted then."""
    for k in range(count):
        again = todo[k] == FROM_START
        kind = todo[k] if again else stray[k]
        if kind == DONE:
            continue
        leftovers.kind[noted], leftovers.ray[noted], leftovers.line[noted] = kind, base + k, line[k]
        numbers = leftovers.numbers[noted]
        numbers[0] = turn[k] if again else weight[k]
        numbers[1], numbers[2] = (x[k], y[k]) if again else (x1[k], y1[k])
        numbers[3] = 0.0 if again else z1[k]
        numbers[4] = px[k] if again else px1[k]
        numbers[5] = py[k]
        numbers[6] = pz[k] if again else pz1[k]
        noted += 1
    return noted


@entry
def trace_plain(
    sheet: Sheet, row: Row, sun: Sun, window: Window, first: int, rays: int, vector: np.ndarray, shift: np.ndarray,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray, leftovers: Leftovers,
    flipped: Flag, enveloped: Flag, sagging: Flag,
) -> int:
    """Trace `rays` rays of a replicate, from number `first` on; add those that go the plain way to the arrays given.

    The others are noted in `leftovers`, which must have room for `rays` of them; returns how many there are.

    `flipped` (grooves toward the sun), `enveloped` and `sagging` say True or None what `sheet` and `row` are: as None
    is a type of its own, only the stages that a scene needs are compiled for it.
    """
    px, py, pz = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    x, y, px1, pz1 = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    x1, y1, z1 = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    index, absorption, turn = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    weight, arrived, taken, crossing = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    glass_index, glass_absorption, cosine = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    line, todo, stray = np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32)
    bins, tube, patch = np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32), np.empty(BLOCK, np.int32)
    place, share = np.empty(BLOCK, np.int32), np.empty(BLOCK)
    tubes_apart = np.zeros((APART, 2, row.tubes))
    # Without sag the frames of the grooves are the lens frame, and its arrays serve for both.
    px0, pz0, x0, y0, xs, zs, pxs, pzs = px, pz, x, y, x1, z1, px1, pz1
    groove = np.empty(BLOCK, np.int32)
    if sagging is not None:
        px0, pz0, x0, y0 = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
        xs, zs, pxs, pzs = np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK), np.empty(BLOCK)
    noted = int(np.int64(0))  # typed: for a literal `note_leftovers` would be compiled a second time
    for base in range(first, first + rays, BLOCK):
        count = min(BLOCK, first + rays - base)
        fill_directions(sun, base, count, vector, shift, px, py, pz)
        fill_starts(sheet, sun, base, count, vector, shift, x, y, index, absorption, turn, line)
        if sagging is not None:
            into_pieces(sheet, count, px, py, pz, x, y, px0, pz0, x0, y0, groove)
        if flipped is not None:
            started, reflected, absorbed, left = through_grooves_above(
                sheet, count, pz, px0, py, pz0, x0, y0, index, absorption, turn, xs, y1, zs, pxs, pzs, weight, todo)
        else:
            started, reflected, absorbed, left = through_grooves_below(
                sheet, count, pz, px0, py, pz0, x0, y0, index, absorption, turn, xs, y1, zs, pxs, pzs, weight, todo)
        if sagging is not None:
            out_of_pieces(sheet, count, x, groove, pxs, pzs, xs, zs, px1, pz1, x1, z1, weight)
        sums[path.STARTED] += started
        sums[path.REFLECTED_LENS] += reflected
        sums[path.ABSORBED_LENS] += absorbed
        sums[path.LEFT_DOWN] += left
        fill_profile_bins(window, row.height, count, px1, pz1, x1, z1, crossing, bins)
        if enveloped is not None:
            fill_gathered(sun.glass_index, line, count, glass_index)
            fill_gathered(sun.glass_absorption, line, count, glass_absorption)
        missed, lost = meet_row(
            row, enveloped, count, px1, py, pz1, x1, y1, z1, glass_index, glass_absorption, weight,
            tube, patch, arrived, cosine, stray)
        if enveloped is not None:
            slipped, clouded = slip_beside(
                row, count, px1, py, pz1, x1, y1, z1, glass_index, glass_absorption, weight, tube, stray, place, share)
            missed += slipped
            lost += clouded
        taken_up, turned_back = absorb(row.absorptance, count, arrived, cosine, taken)
        sums[path.MISSED_ROW] += missed
        sums[path.ENVELOPE] += lost
        sums[path.INTERCEPTED] += taken_up + turned_back
        sums[path.ABSORBED] += taken_up
        sums[path.REFLECTED_ABSORBER] += turned_back
        book_plain(window, count, weight, crossing, bins, tube, patch, arrived, taken, tubes_apart, profile, flux)
        noted = note_leftovers(
            leftovers, noted, base, count, todo, stray, line, turn, weight,
            px, py, pz, x, y, px1, pz1, x1, y1, z1)
    for part in range(APART):
        for kind in range(2):
            for number in range(row.tubes):
                tubes[kind, number] += tubes_apart[part, kind, number]
    return noted
