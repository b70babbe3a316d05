"""Generating vectors of the lattice: standard errors on all scenes at slanted suns, beside those of the tracer's own.

The components of one published rule, in its own order and in orders drawn at random, one or another left out. Each
figure is the geometric mean, over the scenes, of the rms error over six suns, divided by that of the tracer's vector.
Each error is the spread of some replicates and so is known to a sixth; the best of many drawn ones looks better here
than it is, so it must be looked at again at other suns: that is what the second half of the table is for.
"""

import functools
import math
from collections.abc import Callable

import numpy as np
from measuring import SCENES, SEED, is_quick, print_heading, print_table
from measuring.scenes import BARE

import raytrace.trace
from raytrace.arrays import Floats
from raytrace.kernels.path import INTERCEPTED, STARTED
from raytrace.points import LATTICE_VECTOR, Replicates
from raytrace.profile import profile_window
from raytrace.scene import RowPose, Scene
from raytrace.trace import KernelInputs, prepare, run_replicates
from tracking.mount import row_pose
from tracking.scenefile import SceneFile, read_scene

PUBLISHED = (1, 182667, 469891, 498753, 110745, 446247, 250185, 118627, 245333, 283199, 408519, 391023, 246327, 126539)
"""The first components of the rule named in `raytrace.points`; values from memory, to be confirmed."""

DRAWN = 12
SUNS = (
    ((0.0, 0.0, 0.0), (0.8, 12.0, 20.0), (0.4, 30.0, 40.0), (1.5, 20.0, 60.0), (2.2, 5.0, 10.0), (-1.0, 40.0, 30.0)),
    ((0.1, 3.0, 5.0), (-0.6, 16.0, 30.0), (1.1, 26.0, 50.0), (-1.9, 9.0, 70.0), (0.3, 37.0, 15.0), (1.7, 33.0, 25.0)),
)
"""Transversal angle, longitudinal angle and tilt [deg]: to choose by, and to look again."""


def pose_of(file: SceneFile, tilt: float) -> RowPose:
    """The row's pose in the lens frame at a tilt [deg]."""
    return row_pose(file.mount, tilt, file.scene.tubes.angle_to_grooves)


def cases(suns: tuple[tuple[float, float, float], ...]) -> list[list[KernelInputs]]:
    """What the kernels read, for each scene and sun."""
    level = RowPose.level(BARE.tubes.angle_to_grooves)
    scenes: list[tuple[Scene, Callable[[float], RowPose]]] = [(BARE, lambda _tilt: level)]
    scenes += [(file.scene, functools.partial(pose_of, file)) for file in map(read_scene, SCENES)]
    out = []
    for scene, row_at in scenes:
        prepared, row = prepare(scene), []
        for transversal, longitudinal, tilt in suns:
            tangents = math.tan(math.radians(transversal)), math.tan(math.radians(longitudinal))
            row.append(prepared.inputs(*tangents, row_at(tilt), profile_window(scene, tangents[0])))
        out.append(row)
    return out


def errors(vector: tuple[int, ...], scenes: list[list[KernelInputs]], power: int, replicates: int) -> Floats:
    """Rms standard error of one replicate of 2^power rays for each scene, (scenes,) float."""
    plan = Replicates(count=replicates, rays_each=1 << power, groups=replicates)
    scaled = (np.array(vector, dtype=np.int64) * ((1 << 32) >> power) + (1 << 31)) % (1 << 32) - (1 << 31)
    kept, raytrace.trace.lattice_vector = raytrace.trace.lattice_vector, lambda _rays: scaled
    try:
        out = []
        for suns in scenes:
            spread = []
            for inputs in suns:
                totals = run_replicates(inputs, plan=plan, seed=SEED, threads=2, with_flux=False).totals
                spread.append(float((totals[:, INTERCEPTED] / totals[:, STARTED]).var(ddof=1)))
            out.append(math.sqrt(float(np.mean(spread))))
        return np.array(out)
    finally:
        raytrace.trace.lattice_vector = kept


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    powers, replicates, drawn = ((8, 10), 4, 2) if quick else ((12, 14, 15, 16), 24, DRAWN)
    rng = np.random.default_rng(SEED)
    vectors = {"the tracer's": LATTICE_VECTOR, "the rule's own order": PUBLISHED[: len(LATTICE_VECTOR)]}
    for number in range(drawn):
        others = rng.choice(PUBLISHED[1:], len(LATTICE_VECTOR) - 1, replace=False)
        vectors[f"drawn, number {number + 1}"] = (1, *map(int, others))
    halves = [cases(suns) for suns in SUNS]
    own = [[errors(LATTICE_VECTOR, half, power, replicates) for power in powers] for half in halves]
    rows = []
    for name, vector in vectors.items():
        found = [
            [float(np.exp(np.log(errors(vector, half, power, replicates) / base).mean())) for power, base in pairs]
            for half, pairs in (
                (half, list(zip(powers, bases, strict=True))) for half, bases in zip(halves, own, strict=True)
            )
        ]
        means = [float(np.exp(np.log(ratios).mean())) for ratios in found]
        rows.append([name, *(f"{r:.2f}" for ratios in found for r in ratios), *(f"{m:.2f}" for m in means)])
    rows[2:] = sorted(rows[2:], key=lambda row: float(row[-2]))
    print_heading("Errors over those of the tracer's vector", threads="2", scene="all", runs=replicates)
    sizes = [f"2^{power}{mark}" for mark in ("", ", again") for power in powers]
    print_table(["vector", *sizes, "mean", "mean, again"], rows)


if __name__ == "__main__":
    main()
