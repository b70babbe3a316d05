"""What tests of `focalrow fit` by brute force share: random hours, direct traces at them, and when a rival is better.

The hours are drawn evenly from all daylight hours, not by the fit's own way; every candidate is traced at the same
hours with the same random numbers, and the traces share nothing with those of the fit but the tracer.
"""

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.compiling import default_threads
from raytrace.kernels import path
from raytrace.points import Replicates
from raytrace.profile import profile_window
from raytrace.scene import Scene
from raytrace.trace import prepare, run_replicates
from tracking.energy.fit.hours import Hours, Sunlight
from tracking.mount import Mount, row_pose

HOURS, HEIGHTS, RAYS = 200, 12, 1 << 14
MORE_HOURS, FEWER_RAYS = 600, 1 << 11
"""For a lens that stands still: the sun is on its row for a few of the hours only."""


def random_hours(hours: Hours, seed: int, count: int = HOURS) -> Hours:
    """Random daylight hours: evenly drawn, without DNI or aim playing a part."""
    return hours.only(random_numbers(len(hours), seed, count))


def random_numbers(of: int, seed: int, count: int = HOURS) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """So many different numbers below another one, or all of them, in order (count,)."""
    return np.sort(np.random.default_rng(seed).choice(of, min(of, count), replace=False))


def brute_force(scene: Scene, mount: Mount, light: Sunlight, rays: int = RAYS, aside: float = 0.0) -> Floats:
    """Energy absorbed in each hour (n,) [J], by a trace of its own, numbered by the hour.

    The tubes lie `aside` [m] of their place, across the grooves in the plane of their row.
    """
    prepared = prepare(scene)
    plan = Replicates(count=1, rays_each=rays, groups=1)

    def one(k: int) -> float:
        if light.energy[k] <= 0.0:
            return 0.0
        tan_t, tan_l = (math.tan(math.radians(float(angle[k]))) for angle in (light.transversal, light.longitudinal))
        row = row_pose(mount, float(light.tilt[k]), scene.tubes.angle_to_grooves)
        if aside:
            x, y, z = aside * (-np.array(row.tube) if scene.tubes.angle_to_grooves == 90.0 else np.array(row.row))
            row = replace(row, offset=(float(x), float(y), float(z)))
        inputs = prepared.inputs(tan_t, tan_l, row, profile_window(scene, tan_t))
        sums = run_replicates(inputs, plan=plan, first=k, seed=1_000_003, threads=1, with_flux=False)
        return float(light.energy[k] * sums.totals[0, path.ABSORBED] / sums.totals[0, path.STARTED])

    with ThreadPoolExecutor(max_workers=default_threads()) as pool:
        return np.array(list(pool.map(one, range(len(light.energy)))))


def mean_and_error(values: Floats) -> tuple[float, float]:
    """Mean of values (n,) and its standard error."""
    return float(values.mean()), float(values.std(ddof=1)) / math.sqrt(len(values))


def assert_nothing_better(best: Floats, others: Sequence[Floats], allowed: Sequence[float]) -> None:
    """No candidate beats the best one by more than is allowed (a share) and three errors of the brute force.

    One in 370 of such differences lies beyond three errors by chance; they are far from independent here.
    """
    whole = float(best.mean())
    assert whole > 0.0
    for other, share in zip(others, allowed, strict=True):
        gain, error = mean_and_error(other - best)
        assert gain <= share * whole + 3.0 * error
