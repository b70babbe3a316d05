"""The tracer beside the way a general user would go: the same lens and tubes as a mesh, in the same run.

The mesh is traced by trimesh's embree engine (asserted) with refraction in numpy: tests/reference/mesh_tracer.py, one
process. A coarse lens (grooves of 6 mm) of our own invention, bare tubes, one wavelength, a uniform sun.
"""

import math
import statistics
import sys

from measuring import ROOT, SEED, is_quick, median_times, print_heading, print_table

sys.path.insert(0, str(ROOT / "tests"))

from reference.mesh_tracer import mesh_trace

from raytrace.optics.materials import constant_material
from raytrace.scene import Lens, Scene, SunOptics, Tubes
from raytrace.trace import prepare, trace_prepared

COARSE = Scene(
    lens=Lens(
        width=0.6,
        length=0.7,
        focal_length=0.8,
        grooves_toward="tubes",
        cut_for="tubes",
        groove_pitch=0.006,
        thickness=0.008,
        slope_error=0.0,
        draft_angle=4.0,
        material=constant_material(1.49, 5.0),
    ),
    tubes=Tubes(count=3, length=1.6, absorber_diameter=0.03, spacing=0.05),
    sun=SunOptics(sunshape="uniform", wavelength=587.6),
    lens_height=0.7,
)
TRANSVERSAL, LONGITUDINAL = 1.5, 12.0  # [deg]
MILLION = 1e6


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    rays, runs, along = (1 << 20, 1, 8) if quick else (1 << 24, 5, 64)
    print_heading("The same lens as a mesh", threads="1 and 2; the mesh 1", scene="coarse, bare tubes", runs=runs)
    angles = {"transversal_angle": TRANSVERSAL, "longitudinal_angle": LONGITUDINAL}
    prepared = prepare(COARSE)
    trace_prepared(prepared, **angles, rays=1)
    meshes = [mesh_trace(COARSE, **angles, along=along, seed=SEED + run) for run in range(runs)]
    one = median_times(lambda: trace_prepared(prepared, **angles, rays=rays, seed=SEED, threads=1), runs)
    two = median_times(lambda: trace_prepared(prepared, **angles, rays=rays, seed=SEED, threads=2), runs)
    mesh_rate = statistics.median(mesh.rays_per_second for mesh in meshes)
    ours = trace_prepared(prepared, **angles, rays=rays, seed=SEED).intercepted_fraction
    value, error = meshes[0].fractions["intercepted"]
    rows = [["mesh, embree, numpy", f"{mesh_rate / MILLION:.2f}", "1", f"{value:.5f}", f"{error:.5f}"]]
    for name, rate in (("focalrow, 1 thread", rays / one.wall), ("focalrow, 2 threads", rays / two.wall)):
        share = [f"{ours.value:.6f}", f"{ours.standard_error:.6f}"]
        rows.append([name, f"{rate / MILLION:.1f}", f"{rate / mesh_rate:.0f}", *share])
    print_table(["way", "million rays per second", "ratio", "intercepted fraction", "standard error"], rows)
    both = math.hypot(error, ours.standard_error)
    print(f"\ndifference of the answers: {(ours.value - value) / both:+.2f} combined standard errors")
    print("wanted: a ratio of at least 50")


if __name__ == "__main__":
    main()
