"""One ray through the row of tubes: the general, exact path.

Row frame: u along the row, v along the tubes, w at right angles to both; origin in the centre of the row. Tubes are
finite cylinders |v| <= half_length around v, at w = 0 and evenly spaced u. As everything is a cylinder along v, p_v
stays and the geometry is that of circles in the (u, w) plane. About the axis of a tube u p_w - w p_u stays too, so a
concentric envelope does not change by what distance a ray passes the axis.
"""

import math
from typing import NamedTuple

import numpy as np

from raytrace.kernels.jit import inlined, kernel
from raytrace.kernels.points import from_table
from raytrace.kernels.refract import attenuation, normal_after_sq, transmittance
from raytrace.kernels.sheet import MAX_SURFACES


class Row(NamedTuple):
    """The row as plain numbers [m] and arrays."""

    tubes: int
    spacing: float
    half_length: float
    absorber_radius: float
    enveloped: bool
    inner_radius: float
    outer_radius: float
    absorptance: np.ndarray  # over the cosine of the angle of incidence, evenly spaced over [0, 1]
    axes: np.ndarray  # (3, 3): rows u, v, w in the lens frame
    height: float  # of the lens above the row's centre, which is at (shift_x, shift_y, -height)
    patches_along: int
    patches_around: int
    shift_x: float
    shift_y: float


# Where a ray ended at the row, beside the number of a tube (0 and up).
MISSED, IN_ENVELOPE = -1, -2

_OUTSIDE, _GLASS, _VACUUM, _HOLLOW = 0, 1, 2, 3

UPWARD = 1e-12
"""Vertical part of a direction beyond which it points up: a level ray stays level through rounding."""


Axes = tuple[float, float, float, float, float, float, float, float, float]
"""The row's axes as plain numbers: a loop over rays keeps them in registers, as it cannot an array's."""


@inlined
def axes_of(row: Row) -> Axes:
    """Components of u, v and w in the lens frame, one after the other."""
    a = row.axes
    return a[0, 0], a[0, 1], a[0, 2], a[1, 0], a[1, 1], a[1, 2], a[2, 0], a[2, 1], a[2, 2]


@inlined
def in_axes(a: Axes, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A vector of the lens frame in the frame of the row."""
    return a[0] * x + a[1] * y + a[2] * z, a[3] * x + a[4] * y + a[5] * z, a[6] * x + a[7] * y + a[8] * z


@kernel
def circle_roots(u: float, w: float, du: float, dw: float, radius: float) -> tuple[float, float]:
    """Paths, in units of |d|, at which a line in the (u, w) plane enters and leaves a circle; (inf, inf) on a miss.

    By the point of closest approach, which keeps its digits far from the circle: Haines et al., "Precision
    improvements for ray/sphere intersection", Ray Tracing Gems, 2019, ch. 7.
    """
    a = du * du + dw * dw
    if a == 0.0:
        return math.inf, math.inf
    middle = -(u * du + w * dw) / a
    pu, pw = u + middle * du, w + middle * dw
    half_chord_sq = (radius * radius - pu * pu - pw * pw) / a
    if half_chord_sq <= 0.0:
        return math.inf, math.inf
    half_chord = math.sqrt(half_chord_sq)
    return middle - half_chord, middle + half_chord


@inlined
def patch_of(row: Row, u: float, v: float, w: float) -> int:
    """Number of the patch of an absorber on which a ray lands; u from the tube's own axis."""
    turn = (math.atan2(w, u) + math.pi) * (0.5 / math.pi)
    around = min(int(turn * row.patches_around), row.patches_around - 1)
    place = (v / row.half_length + 1.0) * 0.5
    along = min(max(int(place * row.patches_along), 0), row.patches_along - 1)
    return along * row.patches_around + around


@inlined
def next_tube(row: Row, last: int, u: float, w: float, du: float, dw: float) -> int:
    """The tube whose endless cylinder the ray enters next, or -1. The cylinders are apart, so their order is fixed."""
    r = row.outer_radius
    middle = 0.5 * (row.tubes - 1)
    if du * du + dw * dw == 0.0:
        return -1
    # The stretch of u over which the ray is within r of the row's plane.
    if dw != 0.0:
        s1, s2 = (r - w) / dw, (-r - w) / dw
        if s1 > s2:
            s1, s2 = s2, s1
        if s2 < 0.0:
            return -1
        u1, u2 = u + max(s1, 0.0) * du, u + s2 * du
    else:
        if abs(w) >= r:
            return -1
        u1, u2 = u, math.inf if du > 0.0 else -math.inf
    low, high = min(u1, u2) - r, max(u1, u2) + r
    if row.tubes > 1:
        first = max(math.ceil(max(low, -1e9) / row.spacing + middle), 0.0)
        final = min(math.floor(min(high, 1e9) / row.spacing + middle), row.tubes - 1.0)
    else:
        first = 0.0
        final = 0.0 if low <= 0.0 <= high else -1.0
    if first > final:
        return -1
    steps = int(final) - int(first) + 1
    for k in range(steps):
        tube = int(first) + k if du >= 0.0 else int(final) - k
        if tube == last:
            continue
        near, far = circle_roots(u - (tube - middle) * row.spacing, w, du, dw, r)
        if near < math.inf and far > 0.0:
            return tube
    return -1


@kernel
def walk_past_row(
    row: Row, n: float, absorption: float, weight: float,
    u: float, v: float, w: float, pu: float, pv: float, pw: float,
) -> tuple[int, float, float, float, int, float, float, float, float, float, float]:
    """As `walk_row`; after its five numbers come the place and direction, in the row frame, of a ray that has missed.

    The place lies on the ray's last straight piece; the direction is bent by the glass that the ray has crossed. For a
    ray that has not missed the six numbers mean nothing.
    """
    h = row.half_length
    middle = 0.5 * (row.tubes - 1)
    lost = 0.0
    surfaces = 0
    last = int(np.int64(-1))  # typed: for a literal `next_tube` would be compiled a second time
    while True:
        tube = next_tube(row, last, u, w, pu, pw)
        if tube < 0:
            return MISSED, weight, lost, 0.0, 0, u, v, w, pu, pv, pw
        last = tube
        axis = (tube - middle) * row.spacing
        cu = u - axis
        near, far = circle_roots(cu, w, pu, pw, row.outer_radius)
        state = _OUTSIDE
        if near > 0.0 and abs(v + near * pv) <= h:
            cu, v, w = cu + near * pu, v + near * pv, w + near * pw
            if row.enveloped:
                surfaces += 1
                if surfaces > MAX_SURFACES:
                    return IN_ENVELOPE, weight, lost, 0.0, 0, u, v, w, pu, pv, pw
                # The outward normal is (cu, w) / radius; the ray comes against it.
                nu, nw = cu / row.outer_radius, w / row.outer_radius
                normal = -(pu * nu + pw * nw)
                after = math.sqrt(normal_after_sq(1.0, n, normal))
                share = transmittance(1.0, n, normal, after)
                lost += weight * (1.0 - share)
                weight *= share
                pu, pw = pu + (normal - after) * nu, pw + (normal - after) * nw
                state = _GLASS
            else:
                cosine = -(pu * cu + pw * w) / row.outer_radius
                factor = from_table(row.absorptance, min(max(cosine, 0.0), 1.0))
                return tube, weight, lost, factor, patch_of(row, cu, v, w), u, v, w, pu, pv, pw
        elif pv != 0.0:
            # Through the open end, if it comes that way.
            s = ((-h if pv > 0.0 else h) - v) / pv
            if s >= max(near, 0.0) and s < far:
                cu, v, w = cu + s * pu, v + s * pv, w + s * pw
                rho_sq = cu * cu + w * w
                if rho_sq < row.absorber_radius * row.absorber_radius:
                    state = _HOLLOW
                elif rho_sq < row.inner_radius * row.inner_radius:
                    state = _VACUUM
                else:
                    # On the cut end of the glass, which is no optical surface: booked as lost in the envelope.
                    return IN_ENVELOPE, weight, lost, 0.0, 0, u, v, w, pu, pv, pw
        if state == _OUTSIDE:
            # Past a tube that it meets only beyond its ends; moved on, so that no tube is tried twice.
            u, v, w = u + far * pu, v + far * pv, w + far * pw
            continue
        outward = False  # in the glass: on the way to its outer face
        while state != _OUTSIDE:
            if state == _HOLLOW:
                near, far = circle_roots(cu, w, pu, pw, row.absorber_radius)
                at = v + far * pv
                if far < math.inf and abs(at) <= h:
                    cu, w = cu + far * pu, w + far * pw
                    cosine = (pu * cu + pw * w) / row.absorber_radius
                    factor = from_table(row.absorptance, min(max(cosine, 0.0), 1.0))
                    return tube, weight, lost, factor, patch_of(row, cu, at, w), u, v, w, pu, pv, pw
                state = _OUTSIDE  # out through the other end
                u = cu + axis
                continue
            if state == _GLASS:
                near, far = circle_roots(cu, w, pu, pw, row.inner_radius)
                to_inner = (not outward) and near < math.inf and near > 0.0
                if to_inner:
                    s = near
                else:
                    near, far = circle_roots(cu, w, pu, pw, row.outer_radius)
                    s = far
                if s == math.inf or abs(v + s * pv) > h:
                    return IN_ENVELOPE, weight, lost, 0.0, 0, u, v, w, pu, pv, pw
                left = attenuation(absorption, s * n)
                lost += weight * (1.0 - left)
                weight *= left
                cu, v, w = cu + s * pu, v + s * pv, w + s * pw
                surfaces += 1
                if surfaces > MAX_SURFACES:
                    return IN_ENVELOPE, weight, lost, 0.0, 0, u, v, w, pu, pv, pw
                radius = row.inner_radius if to_inner else row.outer_radius
                # The normal against the ray: outward at the inner face, inward at the outer one.
                sign = 1.0 if to_inner else -1.0
                nu, nw = sign * cu / radius, sign * w / radius
                normal = -(pu * nu + pw * nw)
                after_sq = normal_after_sq(n, 1.0, normal)
                if after_sq <= 0.0:
                    pu, pw = pu + 2.0 * normal * nu, pw + 2.0 * normal * nw
                    outward = to_inner
                    continue
                after = math.sqrt(after_sq)
                share = transmittance(n, 1.0, normal, after)
                lost += weight * (1.0 - share)
                weight *= share
                pu, pw = pu + (normal - after) * nu, pw + (normal - after) * nw
                state = _VACUUM if to_inner else _OUTSIDE
                if not to_inner and row.axes[0, 2] * pu + row.axes[1, 2] * pv + row.axes[2, 2] * pw > UPWARD:
                    return MISSED, weight, lost, 0.0, 0, cu + axis, v, w, pu, pv, pw  # turned upward: it is gone
                u = cu + axis
                continue
            # In the vacuum, between absorber and glass.
            near, far = circle_roots(cu, w, pu, pw, row.absorber_radius)
            if near < math.inf and near > 0.0:
                at = v + near * pv
                if abs(at) <= h:
                    cu, w = cu + near * pu, w + near * pw
                    cosine = -(pu * cu + pw * w) / row.absorber_radius
                    factor = from_table(row.absorptance, min(max(cosine, 0.0), 1.0))
                    return tube, weight, lost, factor, patch_of(row, cu, at, w), u, v, w, pu, pv, pw
                state = _OUTSIDE  # out through the open end before the absorber is met
                u = cu + axis
                continue
            near, far = circle_roots(cu, w, pu, pw, row.inner_radius)
            s = far
            if s == math.inf or s <= 0.0 or abs(v + s * pv) > h:
                state = _OUTSIDE
                u = cu + axis
                continue
            cu, v, w = cu + s * pu, v + s * pv, w + s * pw
            surfaces += 1
            if surfaces > MAX_SURFACES:
                return IN_ENVELOPE, weight, lost, 0.0, 0, u, v, w, pu, pv, pw
            nu, nw = -cu / row.inner_radius, -w / row.inner_radius
            normal = -(pu * nu + pw * nw)
            after = math.sqrt(normal_after_sq(1.0, n, normal))
            share = transmittance(1.0, n, normal, after)
            lost += weight * (1.0 - share)
            weight *= share
            pu, pw = pu + (normal - after) * nu, pw + (normal - after) * nw
            state, outward = _GLASS, True


@inlined
def walk_row(
    row: Row, n: float, absorption: float, weight: float,
    u: float, v: float, w: float, pu: float, pv: float, pw: float,
) -> tuple[int, float, float, float, int]:
    """Follow one ray in the row frame until it meets an absorber, is lost in a glass, or has left the row.

    Returns the tube or MISSED or IN_ENVELOPE, the weight that arrives there, the weight lost in envelopes on the way,
    the absorptance met, and the patch.
    """
    tube, arrived, lost, factor, patch, _, _, _, _, _, _ = walk_past_row(
        row, n, absorption, weight, u, v, w, pu, pv, pw
    )
    return tube, arrived, lost, factor, patch
