"""Maps of flux: around and along each absorber, and across the grooves at several heights below the lens."""

import math
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from raytrace.compiling import default_threads
from raytrace.kernels import path
from raytrace.points import replicates_for
from raytrace.profile import COARSE_WIDTH, ProfileWindow, profile_widths, profile_window
from raytrace.scene import RowPose, Scene
from raytrace.trace import KernelInputs, Sums, check_sun_angles, flux_patches, prepare, run_replicates


@dataclass(frozen=True, kw_only=True, slots=True)
class FluxMaps:
    """Flux over DNI on every absorber, (tubes, patches along, patches around).

    `along` (patches along + 1,) are the edges from the middle of a tube [m]; `around` (patches around + 1,) are the
    edges in [deg]: 0 is the side of the lens, 90 the side towards the next tube of the row.
    """

    ratio: Floats
    along: Floats
    around: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class Profiles:
    """Flux over DNI across the grooves at n heights, mean along the lens's length.

    `ratio` is (n, bins), `edges` (bins + 1,) [m], `heights` (n,) [m] from the lens down; w50, w90, w95 and the
    centroid are (n,) [m].
    """

    heights: Floats
    edges: Floats
    ratio: Floats
    w50: Floats
    w90: Floats
    w95: Floats
    centroid: Floats


def _traced(inputs: KernelInputs, rays: int, seed: int, *, with_flux: bool) -> Sums:
    return run_replicates(
        inputs, plan=replicates_for(rays), seed=seed, threads=default_threads(), with_flux=with_flux
    )


def flux_maps(
    scene: Scene,
    *,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    rays: int = 1_000_000,
    seed: int = 0,
    row: RowPose | None = None,
) -> FluxMaps:
    """Flux on the absorbers; arguments and errors as for `trace`, whose rays with the same seed these are."""
    check_sun_angles(transversal_angle, longitudinal_angle)
    tan_t, tan_l = (math.tan(math.radians(angle)) for angle in (transversal_angle, longitudinal_angle))
    pose = row or RowPose.level(scene.tubes.angle_to_grooves)
    inputs = prepare(scene).inputs(tan_t, tan_l, pose, profile_window(scene, tan_t))
    sums = _traced(inputs, rays, seed, with_flux=True)
    tubes, lens = scene.tubes, scene.lens
    along, around = flux_patches(tubes)
    area = tubes.length / along * math.pi * tubes.absorber_diameter / around
    cosine = 1.0 / math.sqrt(1.0 + tan_t * tan_t + tan_l * tan_l)
    started = float(sums.totals[:, path.STARTED].sum())
    scale = lens.width * lens.length * cosine / area / started
    ratio = sums.flux.sum(axis=0).reshape(tubes.count, along, around) * scale
    # The kernel counts the angle from -u over -w, +u, +w; w points from the tubes to the lens if the row is level.
    # Turned so that the first patch begins at +w (the lens's side) and goes on over +u.
    quarter = around // 4
    from_lens = np.roll(ratio[:, :, ::-1], -quarter, axis=2)
    return FluxMaps(
        ratio=np.asarray(from_lens, dtype=np.float64),
        along=np.linspace(-0.5 * tubes.length, 0.5 * tubes.length, along + 1),
        around=np.linspace(0.0, 360.0, around + 1),
    )


def profiles(
    scene: Scene,
    heights: ArrayLike,
    *,
    transversal_angle: float = 0.0,
    longitudinal_angle: float = 0.0,
    rays: int = 200_000,
    seed: int = 0,
) -> Profiles:
    """Light on planes below the lens with the tubes taken away, in bins of 0.5 mm.

    Parameters
    ----------
    heights : (n,) float
        Distances of the planes from the lens, along its normal, greater than half a tube. [m]
    rays
        Rays for each height.

    Raises
    ------
    ValueError
        If an angle is out of range, a height leaves no room for the tubes, or the lens cannot be built.
    """
    check_sun_angles(transversal_angle, longitudinal_angle)
    tan_t, tan_l = (math.tan(math.radians(angle)) for angle in (transversal_angle, longitudinal_angle))
    cosine = 1.0 / math.sqrt(1.0 + tan_t * tan_t + tan_l * tan_l)
    planes = np.atleast_1d(np.asarray(heights, dtype=np.float64))
    first = prepare(scene)
    windows = [profile_window(replace(scene, lens_height=float(h)), tan_t) for h in planes]
    per_bin = round(COARSE_WIDTH / windows[0].fine_width)
    ratios, widths = [], []
    for height, window in zip(planes, windows, strict=True):
        lowered = replace(first, scene=replace(scene, lens_height=float(height)))
        inputs = lowered.inputs(tan_t, tan_l, RowPose.level(scene.tubes.angle_to_grooves), window)
        sums = _traced(inputs, rays, seed, with_flux=False)
        profile = sums.profile.sum(axis=0)
        started = float(sums.totals[:, path.STARTED].sum())
        fine = profile[window.outer_bins : window.outer_bins + window.fine_bins].reshape(-1, per_bin).sum(axis=1)
        ratios.append(fine / started * scene.lens.width * cosine / COARSE_WIDTH)
        widths.append(profile_widths(profile, window))
    edges, shifted = _on_common_bins(windows, ratios)
    w50, w90, w95, _, centroid = np.array(widths).T
    return Profiles(
        heights=planes, edges=edges, ratio=shifted, w50=w50, w90=w90, w95=w95, centroid=centroid
    )  # fmt: skip


def _on_common_bins(windows: list[ProfileWindow], ratios: list[Floats]) -> tuple[Floats, Floats]:
    """Bins that hold all the windows, whose centres are whole bins apart, and the profiles in them."""
    cells = np.array([round(window.centre / COARSE_WIDTH) for window in windows])
    half = len(ratios[0]) // 2
    low, high = int(cells.min()) - half, int(cells.max()) + half
    out = np.zeros((len(ratios), high - low))
    for k, ratio in enumerate(ratios):
        start = int(cells[k]) - half - low
        out[k, start : start + len(ratio)] = ratio
    return np.asarray(np.arange(low, high + 1) * COARSE_WIDTH, dtype=np.float64), out
