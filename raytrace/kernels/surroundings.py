"""Where light lands around the tubes: rays by the general path, then on to the nearest face around the row."""

import math

import numpy as np

from raytrace.kernels.jit import entry, inlined
from raytrace.kernels.ray import UNDER, in_row_frame, lattice_ray, through_sheet
from raytrace.kernels.sheet import DOWN, Sheet
from raytrace.kernels.sun import Sun
from raytrace.kernels.tube import MISSED, Row, walk_past_row

# Columns of `faces` (n, 14): a corner, unit vectors along the two sides from it, their lengths, the number of patches
# along each of them, and the number of the face's first patch. The lens frame, [m].
CORNER, SIDE_A, SIDE_B, LENGTH_A, LENGTH_B, PATCHES_A, PATCHES_B, FIRST_PATCH = 0, 3, 6, 9, 10, 11, 12, 13
FACE_NUMBERS = 14

# Sums of a replicate: light started, missed, missed without landing on a face, and what tubes and their glass take of
# light that has landed on a face before it came to them.
STARTED, MISSED_ROW, AWAY, BEFORE_ROW, SUMS = 0, 1, 2, 3, 4

GRAZING = 1e-12
"""Sine of the angle to a face below which a ray runs along it and does not land."""


@inlined
def nearest_face(
    faces: np.ndarray, x: float, y: float, z: float, px: float, py: float, pz: float
) -> tuple[int, float, float, float]:
    """The face that a ray meets first, the places along its two sides [m], and the distance; -1 where it meets none."""
    best, at_a, at_b, nearest = -1, 0.0, 0.0, math.inf
    for k in range(faces.shape[0]):
        f = faces[k]
        nx = f[SIDE_A + 1] * f[SIDE_B + 2] - f[SIDE_A + 2] * f[SIDE_B + 1]
        ny = f[SIDE_A + 2] * f[SIDE_B] - f[SIDE_A] * f[SIDE_B + 2]
        nz = f[SIDE_A] * f[SIDE_B + 1] - f[SIDE_A + 1] * f[SIDE_B]
        against = px * nx + py * ny + pz * nz
        if abs(against) < GRAZING:
            continue
        dx, dy, dz = f[CORNER] - x, f[CORNER + 1] - y, f[CORNER + 2] - z
        s = (dx * nx + dy * ny + dz * nz) / against
        if s <= 0.0 or s >= nearest:
            continue
        dx, dy, dz = s * px - dx, s * py - dy, s * pz - dz
        a = dx * f[SIDE_A] + dy * f[SIDE_A + 1] + dz * f[SIDE_A + 2]
        b = dx * f[SIDE_B] + dy * f[SIDE_B + 1] + dz * f[SIDE_B + 2]
        if 0.0 <= a <= f[LENGTH_A] and 0.0 <= b <= f[LENGTH_B]:
            best, at_a, at_b, nearest = k, a, b, s
    return best, at_a, at_b, nearest


@inlined
def clear_path(radius: float, w: float, pw: float) -> float:
    """Path [m] until a ray comes within `radius` of the plane of the tubes' axes; infinity where it never does."""
    if abs(w) <= radius:
        return 0.0
    return (abs(w) - radius) / abs(pw) if w * pw < 0.0 else math.inf


@inlined
def patch_on(face: np.ndarray, a: float, b: float) -> int:
    """Number of the patch at places a and b along the sides of a face [m]."""
    across = min(int(a / face[LENGTH_A] * face[PATCHES_A]), int(face[PATCHES_A]) - 1)
    along = min(int(b / face[LENGTH_B] * face[PATCHES_B]), int(face[PATCHES_B]) - 1)
    return int(face[FIRST_PATCH]) + across * int(face[PATCHES_B]) + along


@entry
def trace_surroundings(
    sheet: Sheet, row: Row, sun: Sun, faces: np.ndarray, missing: int, rays: int, vector: np.ndarray, shift: np.ndarray,
    key: int, sums: np.ndarray, tubes: np.ndarray, landed: np.ndarray, flux: np.ndarray,
) -> None:
    """Add a replicate's rays to `sums` (SUMS,), `tubes` (t,), and light on faces `landed` (n,) and patches `flux` (m,).

    Tube number `missing` is taken out of the row (-1: none). Faces cast no shadow on tubes: a ray that meets a face
    before it comes to the row lands there, and goes on to the tubes as though the face were not there.
    """
    a = row.axes
    for ray in range(rays):
        line, first_turn, x, y, px, py, pz = lattice_ray(sheet, sun, vector, shift, ray)
        if pz >= 0.0:
            continue
        shine = -pz
        sums[STARTED] += shine
        fate, weight, x, y, z, px, py, pz, _, _ = through_sheet(
            sheet, sun, line, first_turn, key, ray, x, y, px, py, pz
        )
        weight *= shine
        if fate == UNDER:
            sums[MISSED_ROW] += weight
            sums[AWAY] += weight
        if fate != DOWN:
            continue
        u, v, w, pu, pv, pw = in_row_frame(row, x, y, z, px, py, pz)
        face, at_a, at_b, path = nearest_face(faces, x, y, z, px, py, pz)
        before = face >= 0 and path < clear_path(row.outer_radius, w, pw)
        if before:
            landed[face] += weight
            flux[patch_on(faces[face], at_a, at_b)] += weight
            sums[BEFORE_ROW] += weight
        qu, qv, qw = pu, pv, pw
        met = MISSED
        # A missing tube parts the row in two: the part that the ray comes to first, then the other one.
        for turn in range(2):
            low = (turn == 0) == (pu >= 0.0)
            first = 0 if low else missing + 1
            count = (missing if missing >= 0 else row.tubes) if low else (row.tubes - first if missing >= 0 else 0)
            if count == 0 or met != MISSED:
                continue
            middle = (first + 0.5 * (count - 1) - 0.5 * (row.tubes - 1)) * row.spacing
            part = Row(
                count, row.spacing, row.half_length, row.absorber_radius, row.enveloped, row.inner_radius,
                row.outer_radius, row.absorptance, row.axes, row.height, row.patches_along, row.patches_around,
                row.shift_x, row.shift_y,
            )
            met, weight, _, _, _, u, v, w, qu, qv, qw = walk_past_row(
                part, sun.glass_index[line], sun.glass_absorption[line], weight, u - middle, v, w, qu, qv, qw
            )
            u += middle
            if met >= 0:
                tubes[first + met] += weight
        if met != MISSED:
            continue
        sums[MISSED_ROW] += weight
        if before:
            sums[BEFORE_ROW] -= weight
            continue
        if qu != pu or qv != pv or qw != pw:
            # Bent by glass: from there on.
            x = a[0, 0] * u + a[1, 0] * v + a[2, 0] * w + row.shift_x
            y = a[0, 1] * u + a[1, 1] * v + a[2, 1] * w + row.shift_y
            z = a[0, 2] * u + a[1, 2] * v + a[2, 2] * w - row.height
            px = a[0, 0] * qu + a[1, 0] * qv + a[2, 0] * qw
            py = a[0, 1] * qu + a[1, 1] * qv + a[2, 1] * qw
            pz = a[0, 2] * qu + a[1, 2] * qv + a[2, 2] * qw
            face, at_a, at_b, path = nearest_face(faces, x, y, z, px, py, pz)
        if face < 0:
            sums[AWAY] += weight
        else:
            landed[face] += weight
            flux[patch_on(faces[face], at_a, at_b)] += weight
