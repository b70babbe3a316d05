"""Accuracy per ray and per second: plain Monte Carlo, scrambled Sobol points, the tracer's lattice, and another one.

Each point set is traced by the same loop over an (N, 8) array of points, with the general path. The error at N points
is the spread of the intercepted fraction over independent replicates, so its own relative error is about
1 / sqrt(2 (replicates - 1)). The slope is fitted to all sizes; rays and time to a standard error are read off that fit,
those marked ~ beyond the largest size. The time includes that of making the points in numpy. Figure of merit:
1 / (relative error^2 x time), at the largest size.
"""

import math
import time
from collections.abc import Callable

import numpy as np
from lattice import generating_vector
from measuring import SEED, is_quick, print_heading, print_table
from measuring.scenes import all_scenes, inputs_of
from scipy.stats import qmc

from raytrace.arrays import Floats
from raytrace.kernels import points
from raytrace.kernels.jit import callable_twin
from raytrace.kernels.path import INTERCEPTED, STARTED, SUMS, Window, follow_ray
from raytrace.kernels.points import DIMENSIONS, cos_sin_turn, from_table
from raytrace.kernels.sheet import Sheet
from raytrace.kernels.sun import Sun, sun_direction, turned
from raytrace.kernels.tube import Row
from raytrace.points import LATTICE_VECTOR
from raytrace.trace import KernelInputs

PointSet = Callable[[int, np.random.Generator], Floats]


@callable_twin
def trace_points(
    sheet: Sheet, row: Row, sun: Sun, window: Window, u: np.ndarray, key: int,
    sums: np.ndarray, tubes: np.ndarray, profile: np.ndarray, flux: np.ndarray,
) -> None:
    """As `trace_one_by_one`, but the points u, (n, 8) float in [0, 1), come in."""
    lines = sun.sheet_index.shape[0]
    for ray in range(u.shape[0]):
        sin_t, cos_t = sun.sin_transversal, sun.cos_transversal
        sin_l, cos_l = sun.sin_longitudinal, sun.cos_longitudinal
        if sun.aiming_error > 0.0:
            sin_t, cos_t = turned(sin_t, cos_t, sun.aiming_error * from_table(sun.normal, u[ray, points.AIM_ACROSS]))
            sin_l, cos_l = turned(sin_l, cos_l, sun.aiming_error * from_table(sun.normal, u[ray, points.AIM_ALONG]))
        cos_turn, sin_turn = cos_sin_turn(u[ray, points.SUN_AZIMUTH])
        radius_sq = from_table(sun.radius_sq, u[ray, points.SUN_RADIUS])
        sx, sy, sz = sun_direction(sin_t, cos_t, sin_l, cos_l, radius_sq, cos_turn, sin_turn)
        follow_ray(
            sheet, row, sun, window, key, ray, min(int(u[ray, points.LINE] * lines), lines - 1),
            sheet.slope_error * from_table(sun.normal, u[ray, points.SLOPE]),
            (2.0 * u[ray, points.ACROSS] - 1.0) * sheet.half_width,
            (2.0 * u[ray, points.ALONG] - 1.0) * sheet.half_length, -sx, -sy, -sz, sums, tubes, profile, flux,
        )


def independent(count: int, rng: np.random.Generator) -> Floats:
    """Plain Monte Carlo."""
    return np.asarray(rng.random((count, DIMENSIONS)))


def sobol(count: int, rng: np.random.Generator) -> Floats:
    """Sobol points under random linear scrambling and a digital shift, as scipy does it (Matousek 1998)."""
    return np.asarray(qmc.Sobol(DIMENSIONS, scramble=True, seed=rng).random_base2(count.bit_length() - 1))


def lattice_of(vector: tuple[int, ...]) -> PointSet:
    """A rank-1 lattice with a random shift."""

    def point_set(count: int, rng: np.random.Generator) -> Floats:
        steps = np.arange(count)[:, None] * np.array(vector) % count
        return np.asarray((steps / count + rng.random(DIMENSIONS)) % 1.0)

    return point_set


def fraction(inputs: KernelInputs, u: Floats, key: int) -> float:
    """Intercepted fraction of one replicate."""
    row, window = inputs.row, inputs.window
    sums, tubes = np.zeros(SUMS), np.zeros((2, row.tubes))
    profile = np.zeros(window.fine_bins + 2 * window.outer_bins)
    trace_points(inputs.sheet, row, inputs.sun, window, u, key, sums, tubes, profile, np.zeros((0, 0)))
    return float(sums[INTERCEPTED] / sums[STARTED])


def errors_and_times(
    inputs: KernelInputs, point_set: PointSet, sizes: list[int], replicates: int
) -> tuple[float, Floats, Floats]:
    """Mean intercepted fraction; standard error of one replicate and median seconds, of each size."""
    rng = np.random.default_rng(SEED)
    errors, seconds, mean = [], [], 0.0
    for size in sizes:
        values, took = [], []
        for key in range(replicates):
            began = time.process_time()
            values.append(fraction(inputs, point_set(size, rng), key))
            took.append(time.process_time() - began)
        mean = float(np.mean(values))
        errors.append(float(np.std(values, ddof=1)))
        seconds.append(float(np.median(took)))
    return mean, np.array(errors), np.array(seconds)


def to_reach(target: float, sizes: list[int], errors: Floats, seconds_per_ray: float, fit: Floats) -> str:
    """Rays and milliseconds to a standard error."""
    rays = math.exp((math.log(target) - fit[1]) / fit[0])
    mark = "~" if rays > sizes[-1] and errors[-1] > target else ""
    return f"{mark}{rays:.2g} / {1e3 * rays * seconds_per_ray:.3g} ms"


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    powers, replicates = ([6, 8, 10], 8) if quick else ([8, 10, 12, 14, 16, 18], 32)
    sizes = [1 << power for power in powers]
    another = tuple(generating_vector(12 if quick else 20))
    point_sets: dict[str, PointSet] = {
        "Monte Carlo": independent,
        "scrambled Sobol": sobol,
        "lattice of the tracer": lattice_of(LATTICE_VECTOR),
        "lattice of lattice.py": lattice_of(another),
    }
    for name, scene in all_scenes().items():
        inputs = inputs_of(scene)
        fraction(inputs, independent(2, np.random.default_rng(SEED)), 0)
        print_heading("Accuracy per ray and second", threads="1", scene=name, runs=replicates)
        rows = []
        for kind, point_set in point_sets.items():
            mean, errors, seconds = errors_and_times(inputs, point_set, sizes, replicates)
            fit = np.polyfit(np.log(sizes), np.log(errors), 1)
            per_ray = float(seconds[-1]) / sizes[-1]
            merit = mean * mean / (errors[-1] ** 2 * seconds[-1])
            reach = [to_reach(target, sizes, errors, per_ray, fit) for target in (1e-3, 1e-4)]
            rows.append([kind, *(f"{error:.1e}" for error in errors), f"{fit[0]:.2f}", *reach, f"{merit:.2g}"])
        print_table(["points", *(f"2^{power}" for power in powers), "slope", "to 1e-3", "to 1e-4", "merit"], rows)


if __name__ == "__main__":
    main()
