"""Stages of a block that take its rays through the grooved sheet, as vector code; frames as in `sheet`."""

import math

import numpy as np

from raytrace.kernels.gather import places_of
from raytrace.kernels.jit import inlined, kernel, look, put
from raytrace.kernels.path import DONE, FROM_START
from raytrace.kernels.points import sin_cos_small
from raytrace.kernels.refract import TINY, attenuation, transmittance
from raytrace.kernels.sheet import Sheet


@inlined
def fates(power: float, share_1: float, factor: float, kept: float, share_2: float) -> tuple[float, float, float]:
    """What of a ray's power two surfaces reflect, the sheet takes up, and leaves it.

    The surfaces let `share_1` and `share_2` of the light on them pass, dirt and haze behind the first one `factor`, and
    the way between them keeps `kept`.
    """
    first = power * share_1
    inside = first * factor
    arrived = inside * kept
    gone = arrived * share_2
    reflected = power * (1.0 - share_1) + arrived * (1.0 - share_2)
    return reflected, first * (1.0 - factor) + inside * (1.0 - kept), gone


@kernel
def enter_flat_face(
    sheet: Sheet, count: int, px: np.ndarray, pz: np.ndarray, x: np.ndarray, index: np.ndarray,
    groove: np.ndarray, local: np.ndarray, leaning: np.ndarray, falling: np.ndarray, per_fall: np.ndarray,
    level: np.ndarray, path: np.ndarray, share: np.ndarray,
) -> None:
    """Through the flat face toward the grooves below it.

    Fills, for the straight piece of the way that leads to the grooves, which of them and where in it the piece would
    cross the plane of the tips, its momentum outwards and downwards and one over the latter, the level at which it
    begins and the path up to there, and the share that has entered.
    """
    t, pitch, last = sheet.thickness, sheet.pitch, float(sheet.depth.shape[0] - 1)
    for k in range(count):
        start, n, down = look(x, k), look(index, k), look(pz, k)
        side = math.copysign(1.0, start)
        qx, after = look(px, k) * side, math.sqrt(n * n - 1.0 + down * down)
        per_after = 1.0 / after
        bottom = start * side + qx * per_after * t
        cell = np.int32(min(max(bottom / pitch, 0.0), last))
        put(groove, k, cell)
        put(local, k, bottom - float(cell) * pitch)
        put(leaning, k, qx)
        put(falling, k, after)
        put(per_fall, k, per_after)
        put(level, k, t)
        put(path, k, 0.0)
        put(share, k, transmittance(1.0, n, abs(down) + TINY, after))


@kernel
def turn_at_risers(
    sheet: Sheet, count: int, index: np.ndarray,
    groove: np.ndarray, local: np.ndarray, leaning: np.ndarray, falling: np.ndarray, per_fall: np.ndarray,
    level: np.ndarray, path: np.ndarray, meets: np.ndarray, place: np.ndarray, room: np.ndarray,
) -> None:
    """Replace the straight pieces of rays that the riser of their groove turns back by total reflection, from within
    its tooth, by those that lead on to the tooth's facet, which is that of the next groove.

    `meets`, `place` and `room`, (columns, block), are room to work in.
    """
    t, pitch, tan_q, deepest = sheet.thickness, sheet.pitch, sheet.tan_draft, sheet.deepest
    depth, last = sheet.depth, sheet.depth.shape[0] - 1
    riser_norm = 1.0 / math.sqrt(1.0 + tan_q * tan_q)
    for k in range(count):
        slope = look(leaning, k) * look(per_fall, k)
        at = look(groove, k)
        reaches = pitch - look(local, k) < look(depth, at) * (tan_q - slope)
        put(meets, k, 1 if reaches else 0)
    found = places_of(meets, 1, count, place)
    lean_on, fall_on, per_on, height_there, path_there = room[0], room[1], room[2], room[3], room[4]
    for j in range(found):
        k = look(place, j)
        n, qx, after, per_after, at = (
            look(index, k), look(leaning, k), look(falling, k), look(per_fall, k), look(local, k))
        slope = qx * per_after
        height = (pitch - at) / max(tan_q - slope, TINY)
        against = (after * tan_q - qx) * riser_norm
        turns = (look(groove, k) < last) & (against > 0.0) & (1.0 - n * n + against * against <= 0.0)
        # It must come from the tooth of this riser, not through those farther out.
        turns &= at - slope * deepest <= 2.0 * pitch - deepest * tan_q
        kick = 2.0 * against * riser_norm
        lean, fall = qx + kick, after - kick * tan_q
        turns &= fall > 0.0
        put(lean_on, j, lean)
        put(fall_on, j, fall)
        put(per_on, j, 1.0 / max(fall, TINY))
        put(height_there, j, height)
        put(path_there, j, (t - height) * per_after if turns else 0.0)
    for j in range(found):
        if path_there[j] > 0.0:
            k = place[j]
            groove[k] += 1
            leaning[k], falling[k], per_fall[k] = lean_on[j], fall_on[j], per_on[j]
            level[k], path[k] = height_there[j], path_there[j]
            local[k] = height_there[j] * (lean_on[j] * per_on[j] - tan_q)


@kernel
def through_facets_below(
    sheet: Sheet, count: int, shine: np.ndarray,
    py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    index: np.ndarray, absorption: np.ndarray, turn: np.ndarray,
    groove: np.ndarray, local: np.ndarray, leaning: np.ndarray, falling: np.ndarray, per_fall: np.ndarray,
    level: np.ndarray, path: np.ndarray, share: np.ndarray,
    out_x: np.ndarray, out_y: np.ndarray, out_z: np.ndarray, out_px: np.ndarray, out_pz: np.ndarray,
    weight: np.ndarray, todo: np.ndarray,
) -> tuple[float, float, float, float]:
    """Along the straight pieces of `enter_flat_face` through one facet of the grooves toward the tubes. `shine` is p_z
    of the lens frame, before any sag.

    Fills position, direction (p_y stays), weight and what is left to do. Returns the sums started, reflected, absorbed
    and left of the rays that went this plain way.
    """
    pitch, tan_q, half_length = sheet.pitch, sheet.tan_draft, sheet.half_length
    half_width, factor = sheet.half_width, sheet.transmittance_factor
    tan_facet, depth, sin_facet, cos_facet = sheet.tan_facet, sheet.depth, sheet.sin_facet, sheet.cos_facet
    started, reflected, absorbed, left = 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        start = look(x, k)
        side = math.copysign(1.0, start)
        n, power, share_1 = look(index, k), max(-look(shine, k), 0.0), look(share, k)
        cell, place, qx, after = look(groove, k), look(local, k), look(leaning, k), look(falling, k)
        tan_a, d = look(tan_facet, cell), look(depth, cell)
        sin_a, cos_a = look(sin_facet, cell), look(cos_facet, cell)
        slope = qx * look(per_fall, k)
        valley = pitch - d * tan_q
        steep = 1.0 + slope * tan_a
        zeta = place * tan_a / max(steep, TINY)
        hit = place - slope * zeta
        over = place - slope * d
        turned = look(path, k) > 0.0
        plain = (look(pz, k) < 0.0) & (steep > 0.0) & (hit >= 0.0) & (hit <= valley)
        plain &= turned | ((over >= 0.0) & (over <= valley))
        s = look(path, k) + (look(level, k) - zeta) * look(per_fall, k)
        y_hit = look(y, k) + look(py, k) * s
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
        turned_back, taken, gone = fates(good, share_1, factor, kept if plain else 1.0, share_2 if plain else 1.0)
        started += good
        reflected += turned_back
        absorbed += taken
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
def through_facets_above(
    sheet: Sheet, count: int, shine: np.ndarray,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray,
    index: np.ndarray, absorption: np.ndarray, turn: np.ndarray, groove: np.ndarray, within: np.ndarray,
    out_x: np.ndarray, out_y: np.ndarray, out_z: np.ndarray, out_px: np.ndarray, out_pz: np.ndarray,
    weight: np.ndarray, todo: np.ndarray,
) -> tuple[float, float, float, float]:
    """One facet of the grooves toward the sun, then the flat face, with or without total reflection by the next riser
    inwards between the two; else as `through_facets_below`. `groove` and `within` are room to work in.
    """
    t, pitch, tan_q, half_length = sheet.thickness, sheet.pitch, sheet.tan_draft, sheet.half_length
    half_width, deepest, depth_inwards = sheet.half_width, sheet.deepest, sheet.depth_inwards
    riser_norm = 1.0 / math.sqrt(1.0 + tan_q * tan_q)
    factor, last = sheet.transmittance_factor, float(sheet.depth.shape[0] - 1)
    tan_facet, depth, sin_facet, cos_facet = sheet.tan_facet, sheet.depth, sheet.sin_facet, sheet.cos_facet
    started, reflected, absorbed, left = 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        along = abs(look(x, k))
        cell = np.int32(min(along / pitch, last))
        put(groove, k, cell)
        put(within, k, along - float(cell) * pitch)
    for k in range(count):
        start = look(x, k)
        side = math.copysign(1.0, start)
        qx, kappa, down = look(px, k) * side, look(py, k), -look(pz, k)
        n = look(index, k)
        power = max(-look(shine, k), 0.0)
        slope = qx / max(down, TINY)
        cell, local = look(groove, k), look(within, k)
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
        # Inwards the ray may meet the riser of the next groove from within: that is so if at that groove's depth it
        # would be beyond it. There it is turned back by total reflection, else the general path must follow it.
        fall = max(rz, TINY)
        lean = rx / fall
        valley = look(depth_inwards, cell)
        to_riser = (rx < 0.0) & (zeta < valley) & (hit + lean * (valley - zeta) < -valley * tan_q)
        drop = (hit + zeta * tan_q) / max(-lean - tan_q, TINY)
        against = -(rx + rz * tan_q) * riser_norm
        plain &= (not to_riser) | ((cell > 0) & (against > 0.0) & (1.0 - n * n + against * against <= 0.0))
        s_riser = drop / fall if to_riser else 0.0
        begin, depth_there = hit + (lean * drop if to_riser else 0.0), zeta + (drop if to_riser else 0.0)
        kick = 2.0 * against * riser_norm if to_riser else 0.0
        rx, rz = rx + kick, rz + kick * tan_q
        fall = max(rz, TINY)
        lean = rx / fall
        plain &= (rx * sin_a - rz * cos_a < 0.0) & (rz > 0.0) & ((rx > 0.0) | (not to_riser))
        # Outwards it must be below all grooves before the next valley.
        plain &= begin + lean * (deepest - depth_there) <= 2.0 * pitch - deepest * tan_q
        s = (t - depth_there) / fall
        x_out = cell * pitch + begin + rx * s
        s += s_riser
        y_out = y_hit + kappa * s
        plain &= (abs(x_out) <= half_width) & (abs(y_out) <= half_length)
        kept = attenuation(look(absorption, k), s * n)
        out_sq = 1.0 - n * n + rz * rz
        plain &= out_sq > 0.0
        out = math.sqrt(max(out_sq, 0.0))
        share_2 = transmittance(n, 1.0, fall, out)
        good = power if plain else 0.0
        turned_back, taken, gone = fates(good, share_1, factor, kept if plain else 1.0, share_2 if plain else 1.0)
        started += good
        reflected += turned_back
        absorbed += taken
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
        put(groove, k, np.int32(min(abs(look(x, k)) / pitch, last)))
    for k in range(count):
        side = math.copysign(1.0, look(x, k))
        cell, start = look(groove, k), look(x, k)
        centre = side * (cell + 0.5) * pitch
        c, s = look(cos_piece, cell), side * look(sin_piece, cell)
        dx, dz = start - centre, t + look(lowered, cell)
        qx, qz = look(px, k) * c + look(pz, k) * s, look(pz, k) * c - look(px, k) * s
        on = (t - (dz * c - dx * s)) / min(qz, -TINY)
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
