"""Where the light lands around the tubes: maps of flux on flat faces, for one direction of the sun.

Light that has passed through the lens is followed to the first face that it meets, unless a tube takes it before. Faces
cast no shadow: behind a face the light goes on to the tubes as though it were not there, so that both see all that they
may see. Direct sun beside the lens, light thrown upward by the lens, and reflections from tubes and faces are not in
these maps.
"""

import contextlib
import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from queue import SimpleQueue

import numpy as np

from raytrace.arrays import Floats, Ints
from raytrace.compiling import default_threads
from raytrace.points import lattice_vector, replicates_for, shifts_and_key
from raytrace.profile import profile_window
from raytrace.result import Estimate
from raytrace.scene import GroovesSide, RowPose, Scene
from raytrace.trace import KernelInputs, PreparedScene, check_sun_angles, mean_ratio

FACE_PATCH = 0.010
"""Side of the flux patches on a face [m]; they are fitted to whole numbers along its sides, never larger."""

MOST_PATCHES = 4_000_000
"""Patches of all faces together: some hundred megabytes of maps."""

ROW = 256
"""Patches that are looked at together for light."""

Vector = tuple[float, float, float]


def turned_over(scene: Scene) -> Scene:
    """The scene with its sheet turned over, so that its other face looks at the sun."""
    other: GroovesSide = "sun" if scene.lens.grooves_toward == "tubes" else "tubes"
    return replace(scene, lens=replace(scene.lens, grooves_toward=other))


def single_tube(scene: Scene) -> Scene:
    """The scene with one tube, which is to be taken as missing: the light of the lens alone."""
    return replace(scene, tubes=replace(scene.tubes, count=1, spacing=0.0))


def lit_from_behind(scene: Scene) -> Scene:
    """The scene as light sees it that comes to the tubes' side of the lens: mirrored at the sheet, with a single tube.

    The tubes stand in the light before it comes to the lens; their shadow is left out, and the one tube is to be taken
    as missing.
    """
    turned = turned_over(scene)
    return single_tube(replace(turned, lens=replace(turned.lens, sag=-turned.lens.sag)))


@dataclass(frozen=True, kw_only=True, slots=True)
class Face:
    """A flat rectangle that light may land on, from either side; the lens frame, lengths in [m].

    Parameters
    ----------
    corner : (3,) float
        Where both sides begin.
    side_a, side_b : (3,) float
        Unit vectors along the two sides, at right angles.
    length_a, length_b : float
        Their lengths.
    """

    corner: Vector
    side_a: Vector
    side_b: Vector
    length_a: float
    length_b: float

    @property
    def patches(self) -> tuple[int, int]:
        """Number of patches along side a and side b."""
        return tuple(max(1, math.ceil(each / FACE_PATCH - 1e-9)) for each in (self.length_a, self.length_b))  # type: ignore[return-value]

    @property
    def patch_area(self) -> float:
        """Area of one patch [m2]."""
        across, along = self.patches
        return self.length_a / across * self.length_b / along

    def point(self, a: float, b: float) -> Floats:
        """The point (3,) at places a and b along the sides [m]."""
        return np.asarray(self.corner) + a * np.asarray(self.side_a) + b * np.asarray(self.side_b)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FaceLight:
    """Light on one face.

    `fraction` is the share of the aperture power that lands on it. `flux` and `flux_error` (patches a, patches b) are
    flux over DNI and its standard error. `peak` is the highest flux over DNI, chosen by one half of the rays and read
    from the other, both ways, so that noise does not raise it; `peak_place` its place along the sides [m]. `centre` is
    the middle of the light, each patch weighted by its squared flux: the middle of a focal line, whose brightest patch
    may be anywhere along it; the middle of the face where no light lands.
    """

    fraction: Estimate
    flux: Floats
    flux_error: Floats
    peak: Estimate
    peak_place: tuple[float, float]
    centre: tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrayLight:
    """Where the light goes around the tubes, as shares of the aperture power.

    `missed` is the ledger's entry of that name, `away` the part of it that meets no face, and `tubes` what reaches the
    absorber of each tube. `before` is what tubes and their glass take of light that has met a face on its way to
    them: the faces' fractions add up to missed - away + before.
    """

    rays: int
    missed: Estimate
    away: Estimate
    before: Estimate
    tubes: tuple[Estimate, ...]
    faces: tuple[FaceLight, ...]


def stray_light(
    prepared: PreparedScene,
    faces: Sequence[Face],
    *,
    transversal_angle: float,
    longitudinal_angle: float,
    rays: int = 200_000,
    seed: int = 0,
    row: RowPose | None = None,
    missing_tube: int | None = None,
    threads: int | None = None,
) -> StrayLight:
    """Follow the light that misses the tubes to the faces around them.

    Parameters
    ----------
    prepared
        The scene, from `raytrace.trace.prepare`.
    faces
        What stands around, in the lens frame.
    transversal_angle, longitudinal_angle
        The sun's angles across and along the grooves, each in (-90, 90). [deg]
    rays, seed
        As in `raytrace.trace.trace`; the same seed starts the same rays.
    row
        Pose of the row in the lens frame; the row as laid out at tilt 0 where none is given.
    missing_tube
        Number of a tube, from 0 along the row, that is broken or taken out.
    threads
        As many as there are processors where none is given. The result does not depend on it.

    Raises
    ------
    ValueError
        If an angle, a count or a tube's number is out of range, or the faces have too many patches.
    """
    check_sun_angles(transversal_angle, longitudinal_angle)
    count = prepared.scene.tubes.count
    if missing_tube is not None and not 0 <= missing_tube < count:
        raise ValueError(f"missing_tube must lie between 0 and {count - 1}, got {missing_tube}.")
    tan_t, tan_l = (math.tan(math.radians(angle)) for angle in (transversal_angle, longitudinal_angle))
    pose = row or RowPose.level(prepared.scene.tubes.angle_to_grooves)
    inputs = prepared.inputs(tan_t, tan_l, pose, profile_window(prepared.scene, tan_t))
    sums = _run(inputs, faces, -1 if missing_tube is None else missing_tube, rays, seed, threads or default_threads())
    cosine = 1.0 / math.sqrt(1.0 + tan_t * tan_t + tan_l * tan_l)
    collected = prepared.scene.lens.width * prepared.scene.lens.length * cosine  # [m2]: aperture power over DNI
    started = sums.totals[:, 0]
    return StrayLight(
        rays=sums.rays,
        missed=mean_ratio(sums.totals[:, 1], started),
        away=mean_ratio(sums.totals[:, 2], started),
        before=mean_ratio(sums.totals[:, 3], started),
        tubes=tuple(mean_ratio(sums.tubes[:, k], started) for k in range(count)),
        faces=tuple(_face_light(face, k, sums, collected) for k, face in enumerate(faces)),
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Sums:
    rays: int
    totals: Floats  # (replicates, 4): started, missed, away, before
    tubes: Floats  # (replicates, tubes)
    landed: Floats  # (replicates, faces)
    halves: Floats  # (2, patches): even and odd replicates
    squares: Floats  # (patches,): sum over the replicates of the square of each one's light
    first: tuple[int, ...]


def _run(inputs: KernelInputs, faces: Sequence[Face], missing: int, rays: int, seed: int, threads: int) -> _Sums:
    from raytrace.kernels import surroundings

    plan = replicates_for(rays)
    vector = lattice_vector(plan.rays_each)
    numbers = np.zeros((len(faces), surroundings.FACE_NUMBERS))
    first: list[int] = []
    patches = 0
    for k, face in enumerate(faces):
        across, along = face.patches
        numbers[k] = (
            *face.corner, *face.side_a, *face.side_b, face.length_a, face.length_b, across, along, patches,
        )  # fmt: skip
        first.append(patches)
        patches += across * along
    if patches > MOST_PATCHES:
        raise ValueError(f"The faces have {patches} patches of 10 mm by 10 mm, at most {MOST_PATCHES} are allowed.")
    totals = np.zeros((plan.groups, surroundings.SUMS))
    tubes = np.zeros((plan.groups, inputs.row.tubes))
    landed = np.zeros((plan.groups, len(faces)))
    rows = -(-patches // ROW)
    halves, squares = np.zeros((2, rows, ROW)), np.zeros((rows, ROW))

    workers = min(threads, plan.groups)
    # One map for each thread, swept clean after each group: to ask for fresh memory takes longer than to trace.
    maps: SimpleQueue[Floats] = SimpleQueue()
    for _ in range(workers):
        maps.put(np.zeros((rows, ROW)))

    def run(group: int) -> tuple[Ints, Floats]:
        flux = maps.get()
        for number in range(group, plan.count, plan.groups):
            shift, key = shifts_and_key(seed, number)
            surroundings.trace_surroundings(
                inputs.sheet, inputs.row, inputs.sun, numbers, missing, plan.rays_each, vector, shift, key,
                totals[group], tubes[group], landed[group], flux.reshape(-1),
            )  # fmt: skip
        lit = np.flatnonzero(flux.max(axis=1))  # of some thousand rows a few: most patches stay dark
        light = flux[lit]
        flux[lit] = 0.0
        maps.put(flux)
        return lit, light

    with ThreadPoolExecutor(max_workers=workers) if workers > 1 else contextlib.nullcontext() as pool:
        for start in range(0, plan.groups, workers):
            batch = range(start, min(start + workers, plan.groups))
            found = map(run, batch) if pool is None else pool.map(run, batch)
            for group, (lit, flux) in zip(batch, found, strict=True):
                halves[group % 2, lit] += flux
                squares[lit] += flux * flux
    return _Sums(
        rays=plan.rays, totals=totals, tubes=tubes, landed=landed, halves=halves.reshape(2, -1),
        squares=squares.reshape(-1), first=tuple(first),
    )  # fmt: skip


def _lit(light: Floats) -> Ints:
    """Numbers of the patches (n,) that are not dark: far faster than looking at each one."""
    whole = len(light) // ROW * ROW
    rows = np.flatnonzero(light[:whole].reshape(-1, ROW).max(axis=1))
    near = (rows[:, np.newaxis] * ROW + np.arange(ROW)).reshape(-1)
    near = np.concatenate([near, np.arange(whole, len(light))])
    return np.asarray(near[light[near] != 0.0])


def _face_light(face: Face, k: int, sums: _Sums, collected: float) -> FaceLight:
    across, along = face.patches
    part = slice(sums.first[k], sums.first[k] + across * along)
    started = sums.totals[:, 0]
    replicates = len(started)
    scale = collected / (float(started.sum()) * face.patch_area)
    # Most patches stay dark: sums run over the lit ones alone.
    lit = _lit(sums.squares[part])
    even, odd = sums.halves[0, part][lit], sums.halves[1, part][lit]
    light = even + odd
    # Spread of the replicates' sums; each started all but the same light, so their ratio adds nothing to it.
    spread = np.maximum(sums.squares[part][lit] - light * light / replicates, 0.0) * replicates / (replicates - 1)
    flux, error = np.zeros(across * along), np.zeros(across * along)
    flux[lit], error[lit] = light * scale, np.sqrt(spread) * scale
    centre = (0.5 * face.length_a, 0.5 * face.length_b)
    at, peak = 0, 0.0
    if lit.size:
        peak = scale * float(odd[int(even.argmax())] + even[int(odd.argmax())])
        at = int(lit[int(light.argmax())])
        weight = light * light
        places = (
            (lit // along + 0.5) * face.length_a / across, (lit % along + 0.5) * face.length_b / along,
        )  # fmt: skip
        centre = (float(weight @ places[0] / weight.sum()), float(weight @ places[1] / weight.sum()))
    return FaceLight(
        fraction=mean_ratio(sums.landed[:, k], started),
        flux=flux.reshape(across, along),
        flux_error=error.reshape(across, along),
        peak=Estimate(value=peak, standard_error=float(error[at])),
        peak_place=(
            (at // along + 0.5) * face.length_a / across,
            (at % along + 0.5) * face.length_b / along,
        ),
        centre=centre,
    )
