"""Rays per second of the full optical model, beside a straightforward compiled loop in the same run.

The loop is `raytrace.kernels.path.trace_one_by_one`: the same physics and random numbers, ray by ray, no blocks.
Whole traces are timed, with flux map, focal line and standard errors. The ratio is that of processor time on one
thread, which other jobs on the machine disturb less than the clock.
"""

import numpy as np
from measuring import SEED, is_quick, median_times, print_heading, print_table
from measuring.scenes import all_scenes, inputs_of

from raytrace.kernels.path import SUMS, trace_one_by_one
from raytrace.points import lattice_vector, replicates_for, shifts_and_key
from raytrace.scene import Scene
from raytrace.trace import KernelInputs, prepare, trace_prepared

MILLION = 1e6


def loop_over_rays(inputs: KernelInputs, rays: int) -> None:
    """The straightforward loop over as many replicates as a trace has."""
    plan = replicates_for(rays)
    row, window = inputs.row, inputs.window
    vector = lattice_vector(plan.rays_each)
    sums, tubes = np.zeros(SUMS), np.zeros((2, row.tubes))
    profile = np.zeros(window.fine_bins + 2 * window.outer_bins)
    flux = np.zeros((row.tubes, row.patches_along * row.patches_around))
    for replicate in range(plan.count):
        shift, key = shifts_and_key(SEED, replicate)
        trace_one_by_one(
            inputs.sheet, row, inputs.sun, window, plan.rays_each, vector, shift, key, sums, tubes, profile, flux
        )


def measured(name: str, scene: Scene, rays: int, runs: int) -> list[str]:
    """One row of the table."""
    prepared, inputs = prepare(scene), inputs_of(scene)
    trace_prepared(prepared, rays=1, threads=1)  # compiles, or loads what was compiled
    loop_over_rays(inputs, 1)
    few = rays // 4
    one = median_times(lambda: trace_prepared(prepared, rays=rays, seed=SEED, threads=1), runs)
    two = median_times(lambda: trace_prepared(prepared, rays=rays, seed=SEED, threads=2), runs)
    loop = median_times(lambda: loop_over_rays(inputs, few), runs)
    return [
        name,
        f"{rays / one.wall / MILLION:.1f}",
        f"{rays / two.wall / MILLION:.1f}",
        f"{rays / one.work / MILLION:.1f}",
        f"{few / loop.work / MILLION:.2f}",
        f"{rays / one.work * loop.work / few:.1f}",
    ]


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    rays, runs = (1 << 18, 3) if quick else (1 << 23, 7)
    print_heading("Throughput, millions of rays per second", threads="1 and 2", scene="each row", runs=runs)
    rows = [measured(name, scene, rays, runs) for name, scene in all_scenes().items()]
    print_table(
        ["scene", "1 thread", "2 threads", "per processor second", "plain loop, per processor second", "ratio"], rows
    )
    print("\nwanted: 40 on 2 threads for bare tubes, 20 for the others, ratio at least 4")


if __name__ == "__main__":
    main()
