"""Stages of a block that take its rays from the sheet to the row of tubes, as vector code; frames as in `tube`."""

import math

import numpy as np

from raytrace.kernels.gather import between, places_of
from raytrace.kernels.jit import Flag, inlined, kernel, look, put
from raytrace.kernels.path import DONE, FROM_SHEET, Window
from raytrace.kernels.refract import TINY, attenuation, transmittance
from raytrace.kernels.tube import UPWARD, Row, axes_of, in_axes

LEAST_FALL = 1e-6
"""Part of a direction at right angles to the row below which a ray is left to the general path."""

BESIDE = 3
"""Beside DONE, FROM_START and FROM_SHEET, within a block: through an envelope, not onto its absorber."""


@kernel
def fill_profile_bins(
    window: Window, height: float, count: int,
    px: np.ndarray, pz: np.ndarray, x: np.ndarray, z: np.ndarray, crossing: np.ndarray, bins: np.ndarray,
) -> None:
    """Where a block's rays cross the plane of the tubes, and in which bin; -1 beyond the fine bins."""
    centre, per_width, fine_bins = window.centre, 1.0 / window.fine_width, float(window.fine_bins)
    half, outer = 0.5 * fine_bins, float(window.outer_bins)
    for k in range(count):
        at = look(x, k) - (look(z, k) + height) / look(pz, k) * look(px, k)
        place = (at - centre) * per_width + half
        fine = (place > 0.0) & (place < fine_bins)
        put(crossing, k, at)
        put(bins, k, np.int32(place + outer if fine else -1.0))


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


@inlined
def meet_tube(
    row: Row, enveloped: Flag, n: float, absorption: float, power: float,
    u: float, v: float, w: float, pu: float, pv: float, pw: float,
) -> tuple[float, float, float, int, float, float, float, float]:
    """What one tube does to a ray that meets no other before it; u from the tube's own axis.

    Returns the power that arrives on the absorber, misses, and is lost in the envelope, what is left to do, and the
    cosine on the absorber and (u, v, w) where it arrives. Without an envelope `n` and `absorption` are not read.
    """
    half_length, radius, inner, outer = row.half_length, row.absorber_radius, row.inner_radius, row.outer_radius
    radius_sq, inner_sq, outer_sq = radius * radius, inner * inner, outer * outer
    across = max(pu * pu + pw * pw, TINY)
    # Up or down: a row that is level while the lens leans over may be lit from below.
    steep = abs(pw) > LEAST_FALL
    per_fall = 1.0 / (pw if steep else -1.0)
    moment = u * pw - w * pu
    moment_sq = moment * moment
    # Past the tube: beside it, or beyond its ends all through the row.
    v_top, v_bottom = v + (outer - w) * per_fall * pv, v - (outer + w) * per_fall * pv
    beyond = (min(v_top, v_bottom) > half_length) | (max(v_top, v_bottom) < -half_length)
    passes = (moment_sq >= across * outer_sq) | beyond
    hits = (moment_sq < across * radius_sq) & (not beyond)
    to_absorber = math.sqrt(max(across * radius_sq - moment_sq, 0.0))
    to_outer = to_absorber if enveloped is None else math.sqrt(max(across * outer_sq - moment_sq, 0.0))
    s = (-(u * pu + w * pw) - to_outer) / across
    v_outer = v + s * pv
    v_hit = v_outer
    hu, hw = u + s * pu, w + s * pw
    share = 1.0
    if enveloped is not None:
        across_glass = max(n * n - pv * pv, TINY)
        in_outer = math.sqrt(max(across_glass * outer_sq - min(moment_sq, across * outer_sq), 0.0))
        in_inner = math.sqrt(max(across_glass * inner_sq - min(moment_sq, across * inner_sq), 0.0))
        to_inner = math.sqrt(max(across * inner_sq - moment_sq, 0.0))
        share = transmittance(1.0, n, (to_outer + TINY) / outer, in_outer / outer)
        share *= transmittance(n, 1.0, in_inner / inner, (to_inner + TINY) / inner)
        s_glass = (in_outer - in_inner) / across_glass
        share *= attenuation(absorption, s_glass * n)
        s_vacuum = (to_inner - to_absorber) / across
        v_hit = v_outer + (s_glass + s_vacuum) * pv
        # In the (u, w) plane: through the glass with its bent direction, then on with the vacuum's.
        bend_1 = (to_outer - in_outer) / outer_sq
        gu, gw = pu + bend_1 * hu, pw + bend_1 * hw
        hu, hw = hu + s_glass * gu, hw + s_glass * gw
        bend_2 = (in_inner - to_inner) / inner_sq
        gu, gw = gu + bend_2 * hu, gw + bend_2 * hw
        hu, hw = hu + s_vacuum * gu, hw + s_vacuum * gw
    ahead = steep & (s > 0.0) & (abs(v_outer) <= half_length)
    reaches = hits & ahead & (abs(v_hit) <= half_length)
    misses = steep & passes
    left_to_do = DONE if reaches | misses | (power == 0.0) else FROM_SHEET
    if enveloped is not None:
        left_to_do = BESIDE if ahead & (not passes) & (not hits) & (power != 0.0) else left_to_do
    arrived = power * share if reaches else 0.0
    lost = power * (1.0 - share) if reaches else 0.0
    return arrived, power if misses else 0.0, lost, left_to_do, min(to_absorber / radius, 1.0), hu, v_hit, hw


@kernel
def meet_row(
    row: Row, enveloped: Flag, count: int,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray,
    glass_index: np.ndarray, glass_absorption: np.ndarray, weight: np.ndarray,
    tube: np.ndarray, arrived: np.ndarray, cosine: np.ndarray, stray: np.ndarray,
    hit_u: np.ndarray, hit_v: np.ndarray, hit_w: np.ndarray,
) -> tuple[float, float]:
    """The first tube that a plain ray can meet, and what arrives there: zero where it does not.

    Bare tubes have None for `enveloped` and read no glass. Returns the sums missed and lost in envelopes of the rays
    that are done here.
    """
    axes = axes_of(row)
    height, shift_x, shift_y, outer = row.height, row.shift_x, row.shift_y, row.outer_radius
    spacing, middle, last = row.spacing, 0.5 * (row.tubes - 1), float(row.tubes - 1)
    per_spacing = 1.0 / spacing if spacing > 0.0 else 0.0
    missed, lost = 0.0, 0.0
    for k in range(count):
        u, v, w = in_axes(axes, look(x, k) - shift_x, look(y, k) - shift_y, look(z, k) + height)
        pu, pv, pw = in_axes(axes, look(px, k), look(py, k), look(pz, k))
        # Measured along the row in spacings: where the ray crosses the plane of the axes, and to either side the reach
        # of the tubes that its line meets. The first of them, in the ray's own sense, is the one that it meets first.
        per_fall = 1.0 / (pw if abs(pw) > LEAST_FALL else -1.0)
        where = (u - w * pu * per_fall) * per_spacing + middle
        reach = outer * math.sqrt(max(pu * pu + pw * pw, TINY)) * abs(per_fall) * per_spacing
        sense = 1.0 if pu > 0.0 else -1.0
        first = sense * np.ceil(sense * where - reach)
        nearest = min(max(first, 0.0), last)
        n = 1.0 if enveloped is None else look(glass_index, k)
        absorption = 0.0 if enveloped is None else look(glass_absorption, k)
        here, past, clouded, left_to_do, cosine_here, hu, hv, hw = meet_tube(
            row, enveloped, n, absorption, look(weight, k), u - (nearest - middle) * spacing, v, w, pu, pv, pw)
        missed += past
        lost += clouded
        put(tube, k, np.int32(nearest))
        put(arrived, k, here)
        put(cosine, k, cosine_here)
        put(stray, k, left_to_do)
        put(hit_u, k, hu)
        put(hit_v, k, hv)
        put(hit_w, k, hw)
    return missed, lost


@kernel
def fill_spots(
    row: Row, count: int, tube: np.ndarray, hit_u: np.ndarray, hit_v: np.ndarray, hit_w: np.ndarray, spot: np.ndarray
) -> None:
    """Numbers, over all tubes, of the flux patches where a block's rays arrive."""
    around, along = float(row.patches_around), float(row.patches_along)
    half_length, patches = row.half_length, around * along
    for k in range(count):
        place = min(max((look(hit_v, k) / half_length + 1.0) * 0.5 * along, 0.0), along - 1.0)
        turn = min(turn_of(look(hit_u, k), look(hit_w, k)) * around, around - 1.0)
        put(spot, k, np.int32(look(tube, k) * patches + np.floor(place) * around + np.floor(turn)))


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
    across_vacuum = to_inner > 0.0
    good = (to_outer > 0.0) & (in_outer > 0.0)
    s = (-(u * pu + w * pw) - to_outer) / across
    u, w, v = u + s * pu, w + s * pw, v + s * pv
    outer_share = transmittance(1.0, n, to_outer + TINY, in_outer + TINY)
    inner_share = transmittance(1.0, n, to_inner, in_inner + TINY) if across_vacuum else 1.0
    bend_outer = (to_outer - in_outer) / outer_sq
    bend_in = 0.0 if wall else (in_inner - (to_inner if across_vacuum else -in_inner)) / inner_sq
    bend_out = (in_inner - to_inner) / inner_sq if across_vacuum else 0.0
    first = (2.0 * in_outer if wall else in_outer - in_inner) / across_glass
    second = 0.0 if wall else first
    vacuum = 2.0 * to_inner / across
    pu, pw = pu + bend_outer * u, pw + bend_outer * w
    u, w = u + first * pu, w + first * pw
    pu, pw = pu + bend_in * u, pw + bend_in * w
    u, w = u + vacuum * pu, w + vacuum * pw
    pu, pw = pu + bend_out * u, pw + bend_out * w
    u, w = u + second * pu, w + second * pw
    pu, pw = pu + bend_outer * u, pw + bend_outer * w
    v += (first + second + vacuum) * pv
    # The way out is the way in reversed: each face is passed twice at the same angle.
    share = outer_share * inner_share
    share *= share * attenuation(absorption, (first + second) * n)
    return (share if good else -1.0), u, v, w, pu, pw


ENVELOPES = 3
"""Envelopes that a ray may cross beside their absorbers before it is left to the general path."""

# Rows of the room in which rays cross envelopes. What changes on the way, and in the same order what it is at the next
# tube; what stays; what becomes of the ray there.
CHANGES, STAYS, NEXT, ENDS = 0, 8, 11, 19
COLUMNS = 26


@kernel
def cross_beside(row: Row, enveloped: Flag, count: int, room: np.ndarray) -> None:
    """Take rays through the envelope that they are at, and on to the tube beside it, if there is one.

    Rows of `room`, from CHANGES and again from NEXT on: place from the tube's own axis (u, v, w), direction (p_u, p_w),
    power, power lost so far, number of the tube. From STAYS on: p_v, index and absorption of the glass. From ENDS on:
    what is left to do, the power that arrives at the next tube, that misses, its cosine, (u, v, w) where it arrives.
    """
    u0, v0, w0, pu0, pw0, power0, lost0, number0 = (
        room[0], room[1], room[2], room[3], room[4], room[5], room[6], room[7])
    along, index, glass = room[STAYS], room[STAYS + 1], room[STAYS + 2]
    u1, v1, w1, pu1, pw1, power1, lost1, number1 = (
        room[NEXT], room[NEXT + 1], room[NEXT + 2], room[NEXT + 3], room[NEXT + 4], room[NEXT + 5], room[NEXT + 6],
        room[NEXT + 7])
    kind, arrived, missed, cosine, hit_u, hit_v, hit_w = (
        room[ENDS], room[ENDS + 1], room[ENDS + 2], room[ENDS + 3], room[ENDS + 4], room[ENDS + 5], room[ENDS + 6])
    a02, a12, a22 = row.axes[0, 2], row.axes[1, 2], row.axes[2, 2]
    half_length, spacing, last = row.half_length, row.spacing, row.tubes - 1.0
    inner_sq, outer_sq = row.inner_radius * row.inner_radius, row.outer_radius * row.outer_radius
    for j in range(count):
        n, absorption, pv, power = look(index, j), look(glass, j), look(along, j), look(power0, j)
        left, u, v, w, pu, pw = slip_through(
            n, absorption, look(u0, j), look(v0, j), look(w0, j), look(pu0, j), pv, look(pw0, j), inner_sq, outer_sq)
        good = (left >= 0.0) & (abs(v) <= half_length) & (a02 * pu + a12 * pv + a22 * pw <= UPWARD)
        going_on = power * left if good else 0.0
        # The tube beside it, on the side to which the ray goes, is the only one that it can meet next.
        sense = 1.0 if pu > 0.0 else -1.0
        following = look(number0, j) + sense
        none = (following < 0.0) | (following > last)
        met, passed, dimmed, left_to_do, cosine_met, on_u, on_v, on_w = meet_tube(
            row, enveloped, n, absorption, going_on, u - sense * spacing, v, w, pu, pv, pw)
        put(u1, j, u - sense * spacing)
        put(v1, j, v)
        put(w1, j, w)
        put(pu1, j, pu)
        put(pw1, j, pw)
        put(power1, j, going_on)
        put(number1, j, min(max(following, 0.0), last))
        put(lost1, j, look(lost0, j) + power - going_on + (0.0 if none else dimmed))
        put(kind, j, (DONE if none else left_to_do) if good else FROM_SHEET)
        put(arrived, j, 0.0 if none else met)
        put(missed, j, going_on if none else passed)
        put(cosine, j, cosine_met)
        put(hit_u, j, on_u)
        put(hit_v, j, on_v)
        put(hit_w, j, on_w)


@kernel
def slip_beside(
    row: Row, enveloped: Flag, count: int,
    px: np.ndarray, py: np.ndarray, pz: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray,
    glass_index: np.ndarray, glass_absorption: np.ndarray, weight: np.ndarray, tube: np.ndarray,
    arrived: np.ndarray, cosine: np.ndarray, stray: np.ndarray,
    hit_u: np.ndarray, hit_v: np.ndarray, hit_w: np.ndarray, place: np.ndarray, room: np.ndarray,
) -> tuple[float, float]:
    """Rays that cross an envelope beside its absorber, which many do where tubes are close to each other.

    They go past all other tubes, or on to the next one. `place` and `room`, (COLUMNS, block), are room to work in.
    Returns the sums missed and lost in envelopes.
    """
    axes = axes_of(row)
    height, shift_x, shift_y = row.height, row.shift_x, row.shift_y
    spacing, middle = row.spacing, 0.5 * (row.tubes - 1)
    found = places_of(stray, BESIDE, count, place)
    u, v, w, pu, pw, power, lost_here, number = (
        room[0], room[1], room[2], room[3], room[4], room[5], room[6], room[7])
    pv, index, glass = room[STAYS], room[STAYS + 1], room[STAYS + 2]
    for j in range(found):
        k = look(place, j)
        here = float(look(tube, k))
        at_u, at_v, at_w = in_axes(axes, look(x, k) - shift_x, look(y, k) - shift_y, look(z, k) + height)
        to_u, to_v, to_w = in_axes(axes, look(px, k), look(py, k), look(pz, k))
        put(u, j, at_u - (here - middle) * spacing)
        put(v, j, at_v)
        put(w, j, at_w)
        put(pu, j, to_u)
        put(pv, j, to_v)
        put(pw, j, to_w)
        put(power, j, look(weight, k))
        put(number, j, here)
        put(index, j, look(glass_index, k))
        put(glass, j, look(glass_absorption, k))
        put(lost_here, j, 0.0)
    missed, lost = 0.0, 0.0
    for _ in range(ENVELOPES):
        cross_beside(row, enveloped, found, room)
        again = int(np.int64(0))  # typed: for a literal `cross_beside` would be compiled a second time
        for j in range(found):
            k, kind = place[j], np.int32(room[ENDS, j])
            stray[k] = kind
            if kind == DONE:
                lost += room[NEXT + 6, j]
                tube[k] = np.int32(room[NEXT + 7, j])
                arrived[k] = room[ENDS + 1, j]
                missed += room[ENDS + 2, j]
                cosine[k] = room[ENDS + 3, j]
                hit_u[k], hit_v[k], hit_w[k] = room[ENDS + 4, j], room[ENDS + 5, j], room[ENDS + 6, j]
            elif kind == BESIDE:
                place[again] = k
                for column in range(STAYS):
                    room[CHANGES + column, again] = room[NEXT + column, j]
                for column in range(STAYS, NEXT):
                    room[column, again] = room[column, j]
                again += 1
        found = again
    for j in range(found):
        stray[place[j]] = FROM_SHEET
    return missed, lost


@kernel
def absorb(
    absorptance: np.ndarray, count: int, arrived: np.ndarray, cosine: np.ndarray, taken: np.ndarray
) -> tuple[float, float]:
    """What the absorber takes up of what arrives; returns the sums absorbed and reflected."""
    cells = float(absorptance.shape[0] - 1)
    absorbed, reflected = 0.0, 0.0
    for k in range(count):
        here = look(arrived, k)
        position = look(cosine, k) * cells
        cell = np.int32(min(position, cells - 1.0))
        factor = between(absorptance, cell, position - cell)
        absorbed += here * factor
        reflected += here * (1.0 - factor)
        put(taken, k, here * factor)
    return absorbed, reflected
