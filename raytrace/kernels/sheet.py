"""One ray through the grooved sheet, surface by surface: the general, exact path.

Profile frame: zeta counts from the plane of the groove tips into the sheet, so zeta = z for grooves toward the tubes
and zeta = thickness - z for grooves toward the sun; the flat face is zeta = thickness. The half at x < 0 is folded
over, so x >= 0 everywhere and a ray that crosses x = 0 is mirrored. In groove g, X = x - g pitch:
facet from (0, 0) to (pitch - depth tan q, depth), riser on to (pitch, 0); the sheet lies above this line.
Translation along y keeps p_y, so all geometry is in the plane across the grooves, with momentum p = n * direction.
"""

import math
from typing import NamedTuple

import numpy as np

from raytrace.kernels.jit import inlined
from raytrace.kernels.points import from_table, hashed_uniform, sin_cos_small
from raytrace.kernels.refract import attenuation, normal_after_sq, transmittance


class Sheet(NamedTuple):
    """The sheet as plain numbers [m, rad] and arrays over the grooves of one half, from the middle out."""

    half_width: float
    half_length: float
    thickness: float
    pitch: float
    flipped: bool
    tan_draft: float
    slope_error: float
    sag: float
    lowered: np.ndarray  # with sag: by how much each groove's piece of the sheet is lowered, and how it is turned
    cos_piece: np.ndarray
    sin_piece: np.ndarray
    transmittance_factor: float
    deepest: float
    depth: np.ndarray
    depth_inwards: np.ndarray  # of each groove's neighbour towards the middle, which is no deeper
    tan_facet: np.ndarray
    sin_facet: np.ndarray
    cos_facet: np.ndarray


MAX_SURFACES = 16

# Fates of a ray at the sheet.
DOWN, UP, EDGE, TRAPPED = 0, 1, 2, 3

# What a ray left last, so that rounding cannot make it meet the same plane again.
_NOTHING, _FLAT, _FACET, _RISER = 0, 1, 2, 3
# What it meets next.
_CELL_LOW, _CELL_HIGH, _ZONE_TOP, _END = 4, 5, 6, 7


@inlined
def next_in_groove(
    inside: bool, last: int, x: float, zeta: float, px: float, pz: float,
    pitch: float, depth: float, tan_facet: float, tan_draft: float,
) -> tuple[float, int]:
    """Path to the next facet or riser of this groove, in units of |p|, and which of the two; inf where none is met."""
    best, what = math.inf, _NOTHING
    sign = 1.0 if inside else -1.0
    if last != _FACET:
        gap = sign * (zeta - x * tan_facet)
        rate = sign * (pz - px * tan_facet)
        if rate < 0.0 and gap >= 0.0:
            s = -gap / rate
            hit = x + s * px
            if 0.0 <= hit <= pitch - depth * tan_draft:
                best, what = s, _FACET
    if last != _RISER:
        gap = sign * (x - pitch + zeta * tan_draft)
        rate = sign * (px + pz * tan_draft)
        if rate < 0.0 and gap >= 0.0:
            s = -gap / rate
            hit = zeta + s * pz
            if s < best and 0.0 <= hit <= depth:
                best, what = s, _RISER
    return best, what


@inlined
def bend(
    n_from: float, n_to: float, px: float, pz: float, nx: float, nz: float
) -> tuple[float, float, float]:
    """Momentum after a surface whose unit normal (nx, nz) points against the ray, and the share that goes on.

    Under total internal reflection the ray is turned back and the share is 1. A share of -1 means that the normal
    does not face the ray.
    """
    normal = -(px * nx + pz * nz)
    if normal <= 0.0:
        return px, pz, -1.0
    after_sq = normal_after_sq(n_from, n_to, normal)
    if after_sq <= 0.0:
        return px + 2.0 * normal * nx, pz + 2.0 * normal * nz, 1.0
    after = math.sqrt(after_sq)
    return px + (normal - after) * nx, pz + (normal - after) * nz, transmittance(n_from, n_to, normal, after)


@inlined
def walk_sheet(
    sheet: Sheet, n: float, absorption: float, normal_table: np.ndarray, first_turn: float, key: int, ray: int,
    x: float, y: float, px: float, py: float, pz: float,
) -> tuple[int, float, float, float, float, float, float, float, float, float]:
    """Follow one ray from the sunward face plane until it leaves the sheet.

    (x, y) is where it crosses that plane and (px, py, pz) its unit direction, both in the lens frame. The first facet
    is turned by `first_turn` [rad], later ones by hashed numbers. Returns the fate,
    the weight left, position and direction in the lens frame, and the weights reflected and absorbed on the way.
    """
    t, pitch, grooves = sheet.thickness, sheet.pitch, sheet.depth.shape[0]
    weight, reflected, absorbed = 1.0, 0.0, 0.0
    side = 1.0
    if x < 0.0:
        side, x, px = -1.0, -x, -px
    pzeta = -pz if sheet.flipped else pz
    surfaces, draws = 0, int(np.int64(0))  # typed: for a literal `hashed_uniform` would be compiled a second time
    entered = False
    fate = -1
    last = _NOTHING
    path = 0.0
    groove = 0
    local = 0.0

    if x >= sheet.half_width or abs(y) > sheet.half_length:
        # Only a sagging sheet has such rays: they pass by its end.
        z = t
        return DOWN, weight, side * x, y, z, side * px, py, pz, reflected, absorbed
    if sheet.flipped:
        inside, zeta = False, 0.0
    else:
        inside, zeta = True, t
        surfaces = 1
        normal = -pzeta
        after = math.sqrt(normal_after_sq(1.0, n, normal))
        share = transmittance(1.0, n, normal, after)
        reflected += weight * (1.0 - share)
        weight *= share
        absorbed += weight * (1.0 - sheet.transmittance_factor)
        weight *= sheet.transmittance_factor
        entered = True
        pzeta = -after
        last = _FLAT
    groove = min(int(x / pitch), grooves - 1)
    local = x - groove * pitch

    while fate < 0:
        end = math.inf
        if py > 0.0:
            end = (sheet.half_length - y) / py
        elif py < 0.0:
            end = (-sheet.half_length - y) / py
        if inside and (zeta > sheet.deepest or (zeta == sheet.deepest and pzeta > 0.0)):
            # Above the grooves: straight to the flat face, to the grooves' zone, or out through an edge.
            x = groove * pitch + local
            if pzeta > 0.0:
                s, what = (t - zeta) / pzeta, _FLAT
            elif pzeta < 0.0:
                s, what = (sheet.deepest - zeta) / pzeta, _ZONE_TOP
            else:
                s, what = math.inf, _END
            if px > 0.0:
                end = min(end, (sheet.half_width - x) / px)
            elif px < 0.0:
                end = min(end, (-sheet.half_width - x) / px)
            if end <= s:
                s, what = end, _END
            if s == math.inf:
                fate = TRAPPED
                continue
            x += s * px
            if x < 0.0:
                side, x, px = -side, -x, -px
            groove = min(int(x / pitch), grooves - 1)
            local = x - groove * pitch
            zeta = sheet.deepest if what == _ZONE_TOP else zeta + s * pzeta
        else:
            s, what = next_in_groove(
                inside, last, local, zeta, px, pzeta, pitch,
                sheet.depth[groove], sheet.tan_facet[groove], sheet.tan_draft,
            )
            if inside:
                if pzeta > 0.0 and (sheet.deepest - zeta) / pzeta < s:
                    s, what = (sheet.deepest - zeta) / pzeta, _ZONE_TOP
                if px > 0.0 and (pitch - local) / px < s:
                    s, what = (pitch - local) / px, _CELL_HIGH
                elif px < 0.0 and -local / px < s:
                    s, what = -local / px, _CELL_LOW
            elif pzeta < 0.0 and zeta / -pzeta < s:
                s, what = zeta / -pzeta, _ZONE_TOP
            if end <= s:
                s, what = end, _END
            if s == math.inf:
                fate = TRAPPED
                continue
            local += s * px
            zeta = sheet.deepest if (inside and what == _ZONE_TOP) else zeta + s * pzeta
        y += s * py
        if inside:
            path += s * n

        if what == _ZONE_TOP:
            if not inside:
                fate = UP if sheet.flipped else DOWN
            continue
        if what in (_CELL_HIGH, _CELL_LOW):
            last = _NOTHING
            if zeta < 0.0:
                fate = TRAPPED  # rounding let the ray slip through a groove tip
            elif what == _CELL_HIGH:
                groove, local = groove + 1, 0.0
                if groove == grooves:
                    groove, local, fate = grooves - 1, pitch, EDGE
            elif groove == 0:
                side, px, local = -side, -px, 0.0
            else:
                groove, local = groove - 1, pitch
            if fate < 0:
                continue
        if inside and path > 0.0:
            left = attenuation(absorption, path)
            absorbed += weight * (1.0 - left)
            weight *= left
            path = 0.0
        if fate >= 0:
            continue
        if what == _END:
            if inside:
                fate = EDGE
            else:
                going_down = (pzeta > 0.0) if sheet.flipped else (pzeta < 0.0)
                fate = DOWN if going_down else UP
            continue

        surfaces += 1
        if surfaces > MAX_SURFACES:
            fate = TRAPPED
            continue
        n_from, n_to = (n, 1.0) if inside else (1.0, n)
        if what == _FLAT:
            qx, qz, share = bend(n_from, n_to, px, pzeta, 0.0, -1.0)
            turned_back = qz < 0.0
        else:
            if what == _FACET:
                nx, nz = -sheet.sin_facet[groove], sheet.cos_facet[groove]
            else:
                norm = 1.0 / math.sqrt(1.0 + sheet.tan_draft * sheet.tan_draft)
                nx, nz = norm, sheet.tan_draft * norm
            if not inside:
                nx, nz = -nx, -nz
            share = -1.0
            qx, qz = px, pzeta
            if what == _FACET and sheet.slope_error > 0.0:
                turn = first_turn
                if draws > 0:
                    turn = sheet.slope_error * from_table(normal_table, hashed_uniform(key, ray, draws))
                draws += 1
                d, c = sin_cos_small(turn)
                qx, qz, share = bend(n_from, n_to, px, pzeta, c * nx - d * nz, d * nx + c * nz)
                if share >= 0.0:
                    # A turned normal that puts the ray on the wrong side of the real facet is not turned.
                    total = normal_after_sq(n_from, n_to, -(px * (c * nx - d * nz) + pzeta * (d * nx + c * nz))) <= 0.0
                    outgoing = qx * nx + qz * nz
                    if (outgoing <= 0.0) if total else (outgoing >= 0.0):
                        share = -1.0
            if share < 0.0:
                qx, qz, share = bend(n_from, n_to, px, pzeta, nx, nz)
                if share < 0.0:
                    fate = TRAPPED  # grazing to the last digit
                    continue
            turned_back = qx * nx + qz * nz > 0.0
        px, pzeta = qx, qz
        last = what
        reflected += weight * (1.0 - share)
        weight *= share
        if not turned_back:
            if what == _FLAT:
                fate = DOWN if sheet.flipped else UP
                continue
            if not inside and not entered:
                entered = True
                absorbed += weight * (1.0 - sheet.transmittance_factor)
                weight *= sheet.transmittance_factor
            inside = not inside

    x = side * (groove * pitch + local)
    z = t - zeta if sheet.flipped else zeta
    return fate, weight, x, y, z, side * px, py, (-pzeta if sheet.flipped else pzeta), reflected, absorbed
