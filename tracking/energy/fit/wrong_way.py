"""What it costs to mount the sheet the wrong way round: the same sheet traced with its grooves on the other side."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from raytrace.compiling import default_threads
from raytrace.points import replicates_for
from raytrace.profile import profile_window
from raytrace.result import Estimate
from raytrace.scene import GroovesSide, Scene
from raytrace.trace import mean_ratio, prepare, run_replicates
from tracking.mount import Mount, row_pose

SCAN_RAYS, LAST_RAYS = 1 << 13, 1 << 17
"""Rays of a height in the search, and of the figures that are told."""

SCAN_FROM, SCAN_TO, SCAN_STEP = 0.3, 1.6, 0.025
"""Heights that are tried, over the focal length: a sheet on its wrong side has no sharp focus near it."""

OTHER: dict[GroovesSide, GroovesSide] = {"tubes": "sun", "sun": "tubes"}

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class Mounted:
    """A sheet with its grooves on one side: fraction of the aperture power absorbed at the scene's lens height, and at
    the height [m] that is best for it so.
    """

    grooves_toward: GroovesSide
    absorbed: Estimate
    best_height: float
    absorbed_at_best: Estimate


@dataclass(frozen=True, kw_only=True, slots=True)
class WrongWay:
    """The sheet the right way round and the wrong way round, sun on the lens normal; same random numbers for all."""

    height: float
    right: Mounted
    wrong: Mounted

    @property
    def loss(self) -> float:
        """Share of the light absorbed the right way round that is lost, at the scene's lens height."""
        return _loss(self.right.absorbed.value, self.wrong.absorbed.value)

    @property
    def least_loss(self) -> float:
        """The same with each at the height that is best for it: what no height brings back."""
        return _loss(self.right.absorbed_at_best.value, self.wrong.absorbed_at_best.value)


def _loss(right: float, wrong: float) -> float:
    return 1.0 - wrong / right if right > 0.0 else 0.0


def wrong_way(
    scene: Scene,
    mount: Mount,
    *,
    last_rays: int = LAST_RAYS,
    seed: int = 0,
    threads: int | None = None,
    progress: Progress | None = None,
) -> WrongWay:
    """What it costs to mount the scene's sheet with its grooves on the side that it was not cut for.

    Parameters
    ----------
    scene
        The sheet, whichever way round the scene has it, and the tubes.
    mount
        Tells how the row lies; the lens is taken at tilt 0.
    last_rays, seed, threads
        Of the traces; the result does not depend on the threads.
    progress
        Called now and then with the share done.

    Raises
    ------
    ValueError
        If the lens cannot be built.
    """
    from raytrace.kernels import path

    workers = threads or default_threads()
    row = row_pose(mount, 0.0, scene.tubes.angle_to_grooves)
    focal = scene.lens.focal_length
    least = max(0.02, 0.5 * scene.tubes.outer_diameter + max(0.0, scene.lens.sag) + CLEARANCE)
    heights = [h for h in (focal * np.arange(SCAN_FROM, SCAN_TO, SCAN_STEP)).tolist() if least <= h <= 10.0]
    heights.append(scene.lens_height)
    done = 0

    def mounted(side: GroovesSide) -> Mounted:
        nonlocal done
        prepared = prepare(replace(scene, lens=replace(scene.lens, grooves_toward=side)))

        def absorbed(height: float, rays: int) -> Estimate:
            at = replace(prepared, scene=replace(prepared.scene, lens_height=height))
            inputs = at.inputs(0.0, 0.0, row, profile_window(at.scene, 0.0))
            sums = run_replicates(inputs, plan=replicates_for(rays), seed=seed, threads=workers, with_flux=False)
            return mean_ratio(sums.totals[:, path.ABSORBED], sums.totals[:, path.STARTED])

        found = []
        for height in heights:
            found.append(absorbed(height, SCAN_RAYS).value)
            done += 1
            if progress is not None:
                progress(done / (2 * len(heights)))
        best = heights[int(np.argmax(found))]
        return Mounted(
            grooves_toward=side,
            absorbed=absorbed(scene.lens_height, last_rays),
            best_height=best,
            absorbed_at_best=absorbed(best, last_rays),
        )

    right = mounted(scene.lens.cut_for)
    return WrongWay(height=scene.lens_height, right=right, wrong=mounted(OTHER[scene.lens.cut_for]))


CLEARANCE = 5e-3
"""Least distance between tubes and sheet [m]. Common practice, no source."""
