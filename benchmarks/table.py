"""The response table: time to build it, and its error against direct traces at random angles of its domain.

The directions checked here are not those that the table itself was checked with. Half of them lie where more than 5 %
of the aperture power reaches the row.
"""

import math
import time

import numpy as np
from measuring import SCENES, SEED, is_quick, print_heading, print_table

from raytrace.response import ResponseTable, build_response
from raytrace.response.build import LIT
from raytrace.trace import prepare, trace_prepared
from tracking.mount import row_pose
from tracking.response import varies_with_tilt
from tracking.scenefile import SceneFile, read_scene

CANDIDATES = 8192


def differences(scene_file: SceneFile, table: ResponseTable, checks: int, rays: int) -> np.ndarray:
    """Intercepted fraction of the table less that of direct traces, (checks,) float."""
    rng = np.random.default_rng([SEED, 1009])
    axes = (table.transversal, table.longitudinal, table.tilt)
    low, high = (np.array([axis[end] for axis in axes]) for end in (0, -1))
    places = low + (high - low) * rng.random((CANDIDATES, 3))
    lit = table.at(*places.T).intercepted.sum(axis=1) > LIT
    chosen = np.concatenate([places[lit][: checks // 2], places[~lit][: checks - checks // 2]])
    said = table.at(*chosen.T).intercepted.sum(axis=1)
    prepared = prepare(scene_file.scene)
    angle = scene_file.scene.tubes.angle_to_grooves
    traced = [
        trace_prepared(
            prepared, transversal_angle=t, longitudinal_angle=g, rays=rays, seed=SEED + 1,
            row=row_pose(scene_file.mount, tilt, angle),
        ).intercepted_fraction.value
        for t, g, tilt in chosen.tolist()
    ]  # fmt: skip
    return np.asarray(said - np.array(traced))


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    checks, rays = (8, 1 << 14) if quick else (200, 1 << 19)
    scenes = SCENES[:1] if quick else SCENES
    print_heading(f"Response table, {checks} checks", threads="all", scene="each row", runs=1)
    rows = []
    for path in scenes:
        scene_file = read_scene(path)
        angle, mount = scene_file.scene.tubes.angle_to_grooves, scene_file.mount
        trace_prepared(prepare(scene_file.scene), rays=1)
        clock, worked = time.perf_counter(), time.process_time()
        table = build_response(
            scene_file.scene,
            row_at=lambda tilt, mount=mount, angle=angle: row_pose(mount, tilt, angle),  # type: ignore[misc]
            tilts=mount.tilt_limits if varies_with_tilt(scene_file) else None,
            seed=SEED,
        )
        clock, worked = time.perf_counter() - clock, time.process_time() - worked
        off = np.abs(differences(scene_file, table, checks, rays))
        nodes = (len(table.transversal), len(table.longitudinal), len(table.tilt))
        rows.append(
            [
                path.stem,
                " x ".join(map(str, nodes)),
                f"{clock:.1f}",
                f"{worked:.1f}",
                f"{off.max():.1e}",
                f"{np.median(off):.1e}",
                f"{math.sqrt(float((off**2).mean())):.1e}",
                f"{table.error.worst:.1e} / {table.error.typical:.1e}",
            ]
        )
    print_table(
        ["scene", "nodes", "clock, s", "processor, s", "worst", "median", "rms", "its own worst / median"], rows
    )
    print("\nwanted: 3 s (15 s with the tilt as third axis), worst 3e-3, median 5e-4")


if __name__ == "__main__":
    main()
