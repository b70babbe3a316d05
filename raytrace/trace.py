"""Scene, sun angles, seed and number of rays in; power on each tube, focal line and ledger out.

Rays come in replicates: each is a randomly shifted lattice of its own (see `raytrace.points`), traced by one compiled
call on one thread into its own sums. Sums are added in the order of the replicates, so any number of threads gives the
same bits; the spread between replicates gives the standard errors.
"""

import contextlib
import itertools
import math
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

import numpy as np

from raytrace.arrays import Floats, Ints
from raytrace.compiling import default_threads, general_path_beside
from raytrace.lens import grooves_of
from raytrace.optics.spectrum import line_optics
from raytrace.optics.sunshape import radial_quantiles
from raytrace.points import (
    TABLE_CELLS,
    Replicates,
    lattice_vector,
    normal_quantiles,
    replicates_for,
    shifts_and_key,
)
from raytrace.profile import ProfileWindow, profile_window, summarise_profile
from raytrace.result import LEDGER_ENTRIES, Estimate, Ledger, TraceResult, TubeResult
from raytrace.scene import RowPose, Scene, Tubes

SPECTRAL_LINES = 2048
"""Lines of equal power that stand for the spectrum."""

SUN_TABLE_CELLS = 8192
"""Cells of the sun's radial table: the share of the aureole is exact to half a cell, 6e-5."""

PATCH_LENGTH = 0.010  # [m], of the flux patches on an absorber
PATCH_ANGLE = 5.0  # [deg]

MOST_RAYS_TO_TARGET = 1 << 28
"""Cap of a run that goes on until its target error is reached."""

CHUNK = 1 << 16
"""Rays between one call of the general path and the next: what it takes over needs up to 68 bytes a ray."""

FLUX_MEMORY = 128 * 2**20
"""Bytes that the flux maps of the replicates in flight may take."""

Progress = Callable[[float], None]
"""Called now and then with the share done, in [0, 1]."""


class KernelInputs(NamedTuple):
    """Everything that a replicate reads, as plain arrays."""

    sheet: Any
    row: Any
    sun: Any
    window: Any


@dataclass(frozen=True, kw_only=True, slots=True)
class Sums:
    """What replicates have summed: one row each, and the flux maps of the even and of the odd ones."""

    totals: Floats  # (replicates, 12), see kernels/path.py
    tubes: Floats  # (replicates, 2, tubes): intercepted, absorbed
    profile: Floats  # (replicates, bins)
    flux: Floats  # (2, tubes, patches)


@dataclass(frozen=True, kw_only=True, slots=True)
class PreparedScene:
    """A scene turned into kernel inputs once, for traces at many sun angles and poses of the row."""

    scene: Scene
    sheet: Any = field(repr=False)
    lines: tuple[Floats, Floats, Floats, Floats] = field(repr=False)
    radius_sq: Floats = field(repr=False)
    normal: Floats = field(repr=False)
    absorptance: Floats = field(repr=False)

    def inputs(
        self, tan_transversal: float, tan_longitudinal: float, row: RowPose, window: ProfileWindow
    ) -> KernelInputs:
        """Kernel inputs for one direction of the sun and one pose of the row."""
        from raytrace.kernels.path import Window
        from raytrace.kernels.sun import Sun
        from raytrace.kernels.tube import Row

        scene, tubes = self.scene, self.scene.tubes
        along, around = flux_patches(tubes)
        cosines = [1.0 / math.hypot(1.0, tangent) for tangent in (tan_transversal, tan_longitudinal)]
        glass = tubes.envelope
        return KernelInputs(
            sheet=self.sheet,
            row=Row(
                tubes=tubes.count,
                spacing=float(tubes.spacing),
                half_length=0.5 * tubes.length,
                absorber_radius=0.5 * tubes.absorber_diameter,
                enveloped=glass is not None,
                inner_radius=0.5 * (tubes.absorber_diameter if glass is None else glass.inner_diameter),
                outer_radius=0.5 * tubes.outer_diameter,
                absorptance=self.absorptance,
                axes=np.array([row.row, row.tube, row.normal]),
                height=float(scene.lens_height - row.offset[2]),
                patches_along=along,
                patches_around=around,
                shift_x=float(row.offset[0]),
                shift_y=float(row.offset[1]),
            ),
            sun=Sun(
                sin_transversal=float(tan_transversal) * cosines[0],
                cos_transversal=cosines[0],
                sin_longitudinal=float(tan_longitudinal) * cosines[1],
                cos_longitudinal=cosines[1],
                aiming_error=scene.aiming_error * 1e-3,
                radius_sq=self.radius_sq,
                normal=self.normal,
                sheet_index=self.lines[0],
                sheet_absorption=self.lines[1],
                glass_index=self.lines[2],
                glass_absorption=self.lines[3],
            ),
            window=Window(
                centre=window.centre,
                fine_width=window.fine_width,
                fine_bins=window.fine_bins,
                outer_bins=window.outer_bins,
                outer_ratio_log=window.outer_ratio_log,
            ),
        )


def flux_patches(tubes: Tubes) -> tuple[int, int]:
    """Number of flux patches along and around one absorber: of 10 mm, the next whole number of them, by 5 deg."""
    return max(1, math.ceil(tubes.length / PATCH_LENGTH - 1e-9)), round(360.0 / PATCH_ANGLE)


def absorptance_table(tubes: Tubes) -> Floats:
    """Absorptance over evenly spaced cosines of the angle of incidence in [0, 1], (cells + 1,) float."""
    factor = np.ones(TABLE_CELLS + 1)
    if tubes.absorptance_angles:
        angle = np.degrees(np.arccos(np.linspace(0.0, 1.0, TABLE_CELLS + 1)))
        nodes = np.array(tubes.absorptance_angles, dtype=float)
        factor = np.interp(angle, nodes[:, 0], nodes[:, 1])
    return np.asarray(tubes.absorptance * factor, dtype=np.float64)


def prepare(scene: Scene) -> PreparedScene:
    """Grooves, spectral lines and sampling tables of a scene.

    Raises
    ------
    ValueError
        If the lens is too fast for its facet law or a groove too deep, or a circumsolar ratio out of reach.
    """
    from raytrace.kernels.sheet import Sheet

    lens, sun = scene.lens, scene.sun
    grooves = grooves_of(lens)
    piece = np.arctan(8.0 * lens.sag * grooves.centre / lens.width**2)  # slope of the parabola at each groove
    sheet = Sheet(
        half_width=0.5 * lens.width,
        half_length=0.5 * lens.length,
        thickness=float(lens.thickness),
        pitch=grooves.pitch,
        flipped=lens.grooves_toward == "sun",
        tan_draft=math.tan(math.radians(lens.draft_angle)),
        slope_error=lens.slope_error * 1e-3,
        sag=float(lens.sag),
        lowered=lens.sag * (1.0 - (grooves.centre / (0.5 * lens.width)) ** 2),
        cos_piece=np.cos(piece),
        sin_piece=np.sin(piece),
        transmittance_factor=float(lens.transmittance_factor),
        deepest=float(grooves.depth.max()),
        depth=grooves.depth,
        depth_inwards=np.append(grooves.depth[:1], grooves.depth[:-1]),
        tan_facet=np.tan(grooves.facet_angle),
        sin_facet=np.sin(grooves.facet_angle),
        cos_facet=np.cos(grooves.facet_angle),
    )
    count = SPECTRAL_LINES if sun.wavelength is None else 1
    sheet_index, sheet_absorption = line_optics(lens.material, sun.wavelength, count)
    glass = scene.tubes.envelope
    if glass is None:
        glass_index, glass_absorption = np.ones(count), np.zeros(count)
    else:
        glass_index, glass_absorption = line_optics(glass.material, sun.wavelength, count)
    lines = tuple(np.array(a, dtype=np.float64) for a in (sheet_index, sheet_absorption, glass_index, glass_absorption))
    return PreparedScene(
        scene=scene,
        sheet=sheet,
        lines=lines,  # type: ignore[arg-type]
        radius_sq=np.array(radial_quantiles(sun.sunshape, sun.circumsolar_ratio, SUN_TABLE_CELLS), dtype=np.float64),
        normal=np.array(normal_quantiles()),
        absorptance=absorptance_table(scene.tubes),
    )


def _trace_replicate(
    inputs: KernelInputs, rays: int, vector: Ints, seed: int, number: int, sums: tuple[Floats, Floats, Floats, Floats]
) -> None:
    """Add the rays of replicate `number` to its sums: totals, tubes, profile, flux."""
    from raytrace.kernels.block import trace_plain
    from raytrace.kernels.path import finish_leftovers, room_for_leftovers

    sheet, row = inputs.sheet, inputs.row
    flags: list[Literal[True] | None] = [
        True if flag else None for flag in (sheet.flipped, row.enveloped, sheet.sag != 0.0)
    ]
    shift, key = shifts_and_key(seed, number)
    left = room_for_leftovers(min(rays, CHUNK))
    for start in range(0, max(rays, 1), CHUNK):
        count = min(CHUNK, rays - start)
        noted = trace_plain(*inputs, start, count, vector, shift, *sums, left, *flags)
        if noted:
            finish_leftovers(*inputs, key, noted, left, *sums)


def run_replicates(
    inputs: KernelInputs,
    *,
    plan: Replicates,
    first: int = 0,
    seed: int,
    threads: int,
    with_flux: bool = True,
    progress: Progress | None = None,
) -> Sums:
    """Trace a plan of replicates, numbered from `first`; the bits do not depend on the number of threads."""
    from raytrace.kernels.path import SUMS

    vector = lattice_vector(plan.rays_each)
    row, window = inputs.row, inputs.window
    tubes_mapped = row.tubes if with_flux else 0
    patches = row.patches_along * row.patches_around if with_flux else 0
    totals = np.zeros((plan.groups, SUMS))
    tubes = np.zeros((plan.groups, 2, row.tubes))
    profile = np.zeros((plan.groups, window.fine_bins + 2 * window.outer_bins))
    flux = np.zeros((2, tubes_mapped, patches))
    with general_path_beside() as worth_while:
        if worth_while:  # no rays: to compile the block path meanwhile
            _trace_replicate(inputs, 0, vector, seed, first, (totals[0], tubes[0], profile[0], flux[0]))
    lock = threading.Lock()
    done = itertools.count(1)
    stop = threading.Event()

    def run(group: int) -> Floats:
        own_flux = np.zeros((tubes_mapped, patches))
        sums = totals[group], tubes[group], profile[group], own_flux
        for number in range(group, plan.count, plan.groups):
            if stop.is_set():
                break
            _trace_replicate(inputs, plan.rays_each, vector, seed, first + number, sums)
            if progress is not None:
                with lock:
                    progress(next(done) / plan.count)
        return own_flux

    in_flight = max(1, min(plan.groups, FLUX_MEMORY // max(1, flux.nbytes // 2)))
    workers = min(threads, in_flight)
    with ThreadPoolExecutor(max_workers=workers) if workers > 1 else contextlib.nullcontext() as pool:
        try:
            for start in range(0, plan.groups, in_flight):
                batch = range(start, min(start + in_flight, plan.groups))
                maps = map(run, batch) if pool is None else pool.map(run, batch)
                for group, own_flux in zip(batch, maps, strict=True):
                    flux[group % 2] += own_flux
        except BaseException:
            stop.set()  # else leaving the pool would wait for all that is still to trace
            raise
    return Sums(totals=totals, tubes=tubes, profile=profile, flux=flux)


def mean_ratio(numerator: Floats, denominator: Floats) -> Estimate:
    """Ratio of two sums over replicates and its standard error, by linearising the ratio (Cochran, Sampling Techniques,
    3rd ed. 1977, sec. 6.3); a denominator of zero gives zero.
    """
    total = float(denominator.sum())
    if total <= 0.0:
        return Estimate(value=0.0, standard_error=0.0)
    count = len(denominator)
    value = float(numerator.sum()) / total
    residual = numerator - value * denominator
    return Estimate(value=value, standard_error=math.sqrt(float(residual @ residual) * count / (count - 1)) / total)


def _peak_flux_ratios(scene: Scene, flux: Floats, started: float) -> list[float]:
    """Peak flux over DNI on each absorber.

    The patch is chosen by one half of the replicates and its flux taken from the other, both ways, and averaged: the
    highest of many noisy means would be too high.
    """
    lens, tubes = scene.lens, scene.tubes
    along, around = flux_patches(tubes)
    area = tubes.length / along * math.pi * tubes.absorber_diameter / around
    aperture = lens.width * lens.length
    ratios = []
    for first, second in zip(flux[0], flux[1], strict=True):
        from_halves = second[int(first.argmax())] + first[int(second.argmax())]
        # Each half holds about half of all rays, so the sum of one value from each stands for all of them.
        ratios.append(float(from_halves) / started * aperture / area if started > 0.0 else 0.0)
    return ratios


def _result(
    prepared: PreparedScene,
    sums: Sums,
    window: ProfileWindow,
    *,
    rays: int,
    seed: int,
    angles: tuple[float, float],
    cosine: float,
) -> TraceResult:
    from raytrace.kernels import path

    totals = sums.totals
    started = totals[:, path.STARTED]
    whole = float(started.sum())
    entries = {
        name: (float(totals[:, k].sum()) / whole if whole > 0.0 else 0.0) for k, name in enumerate(LEDGER_ENTRIES)
    }
    peaks = _peak_flux_ratios(prepared.scene, sums.flux, whole)
    return TraceResult(
        rays=rays,
        seed=seed,
        transversal_angle=angles[0],
        longitudinal_angle=angles[1],
        intercepted_fraction=mean_ratio(totals[:, path.INTERCEPTED], started),
        absorbed_fraction=mean_ratio(totals[:, path.ABSORBED], started),
        intercept_factor=mean_ratio(totals[:, path.INTERCEPTED], totals[:, path.LEFT_DOWN]),
        ledger=Ledger(**entries),
        tubes=tuple(
            TubeResult(
                intercepted_fraction=mean_ratio(sums.tubes[:, 0, k], started),
                absorbed_fraction=mean_ratio(sums.tubes[:, 1, k], started),
                peak_flux_ratio=peaks[k] * cosine,
            )
            for k in range(prepared.scene.tubes.count)
        ),
        focal_line=summarise_profile(sums.profile, window, prepared.scene.tubes.absorber_diameter),
    )


def check_sun_angles(transversal_angle: float, longitudinal_angle: float) -> None:
    """Refuse sun angles that do not lie before the lens.

    Raises
    ------
    ValueError
        If an angle is not a number strictly between -90 and 90 deg.
    """
    for name, angle in (("transversal_angle", transversal_angle), ("longitudinal_angle", longitudinal_angle)):
        if not -90.0 < angle < 90.0:
            raise ValueError(
                f"{name} must lie between -90 and 90 deg, got {angle!r} deg: the sun is not before the lens."
            )


def trace_prepared(
    prepared: PreparedScene,
    *,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    rays: int = 1_000_000,
    seed: int = 0,
    target_error: float | None = None,
    row: RowPose | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> TraceResult:
    """As `trace`, on a scene that was prepared before."""
    check_sun_angles(transversal_angle, longitudinal_angle)
    if target_error is not None and not 0.0 < target_error < math.inf:
        raise ValueError(f"target_error must be positive, got {target_error!r}.")
    if seed < 0:
        raise ValueError(f"seed must be a whole number from 0, got {seed}.")
    scene = prepared.scene
    tan_t, tan_l = (math.tan(math.radians(angle)) for angle in (transversal_angle, longitudinal_angle))
    cosine = 1.0 / math.sqrt(1.0 + tan_t * tan_t + tan_l * tan_l)
    window = profile_window(scene, tan_t)
    inputs = prepared.inputs(tan_t, tan_l, row or RowPose.level(scene.tubes.angle_to_grooves), window)
    workers = default_threads() if threads is None else threads
    if workers < 1:
        raise ValueError(f"threads must be at least 1, got {workers}.")

    def summary(sums: Sums, count: int) -> TraceResult:
        return _result(
            prepared, sums, window, rays=count, seed=seed, angles=(transversal_angle, longitudinal_angle), cosine=cosine
        )

    if target_error is None:
        plan = replicates_for(rays)
        sums = run_replicates(inputs, plan=plan, seed=seed, threads=workers, progress=progress)
        return summary(sums, plan.rays)
    return _trace_to_target(inputs, summary, target_error=target_error, seed=seed, threads=workers, progress=progress)


FIRST_RAYS_TO_TARGET = 1 << 15
"""Rays of the first try of a run to a target error."""

RAYS_PER_ERROR = 1.4
"""Exponent of rays over error by which the next try is sized: between plain Monte Carlo's 2 and a lattice's 1."""

LARGEST_STEP = 64
"""The first tries know their own error badly; none may ask for more than this many times their rays."""


def _trace_to_target(
    inputs: KernelInputs,
    summary: Callable[..., TraceResult],
    *,
    target_error: float,
    seed: int,
    threads: int,
    progress: Progress | None,
) -> TraceResult:
    """Try with ever more rays until the standard error is small enough."""
    rays, first = FIRST_RAYS_TO_TARGET, 0
    while True:
        plan = replicates_for(rays)
        sums = run_replicates(inputs, plan=plan, first=first, seed=seed, threads=threads)
        # Each try has replicates of its own, so that going on after a bad one does not carry its luck along.
        first += plan.count
        result = summary(sums, plan.rays)
        error = result.intercepted_fraction.standard_error
        if error <= target_error or plan.rays >= MOST_RAYS_TO_TARGET:
            return replace(result, target_reached=error <= target_error)
        if progress is not None:
            progress(min(1.0, (target_error / error) ** RAYS_PER_ERROR))
        step = min(float(LARGEST_STEP), 1.2 * (error / target_error) ** RAYS_PER_ERROR)
        rays = min(MOST_RAYS_TO_TARGET, math.ceil(plan.rays * max(2.0, step)))


def trace(
    scene: Scene,
    *,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    rays: int = 1_000_000,
    seed: int = 0,
    target_error: float | None = None,
    row: RowPose | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> TraceResult:
    """Trace sunlight through the lens to the tubes.

    Parameters
    ----------
    scene
        Lens, tubes, sun optics, lens height.
    transversal_angle, longitudinal_angle
        The sun's angles across and along the grooves, each in (-90, 90). [deg]
    rays
        Rays to start; rounded up to full replicates, the result says how many ran.
    seed
        One whole number from 0.
    target_error
        Instead of `rays`: go on until the standard error of the intercepted fraction is this small, up to a cap of
        2^28 rays; `target_reached` in the result says whether it was.
    row
        Pose of the row in the lens frame; the row as laid out at tilt 0 where none is given.
    threads
        As many as there are processors where none is given. The result does not depend on it.
    progress
        Called now and then with the share done.

    Returns
    -------
    TraceResult
        Fractions of the aperture power, each with its standard error.

    Raises
    ------
    ValueError
        If an angle, a count or an error is out of range, or the lens cannot be built.
    """
    return trace_prepared(
        prepare(scene),
        transversal_angle=transversal_angle,
        longitudinal_angle=longitudinal_angle,
        rays=rays,
        seed=seed,
        target_error=target_error,
        row=row,
        threads=threads,
        progress=progress,
    )
