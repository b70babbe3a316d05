"""The compiled tracer against lens and tubes as solids of triangles: trimesh's ray engine, plain numpy refraction.

Coarse lenses of our own invention. Intercepted fractions must agree within 4 combined standard errors, each below
3e-4. What triangles cost beside that: cylinders of 720 flat sides are at most 0.0003 mm too small, and rays that meet
a surface within 0.3 um of an edge may slip by it (they are counted: some 2e-5 of the power).
"""

import math
from dataclasses import dataclass, replace

import numba
import numpy as np
import pytest
import trimesh
from reference.mesh_tracer import SECTIONS, lens_solid, mesh_trace, tube_solids
from trimesh.ray import ray_pyembree

from raytrace.optics.materials import constant_material
from raytrace.scene import Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import trace

pytestmark = pytest.mark.skipif(
    bool(numba.config.DISABLE_JIT), reason="too many rays for uncompiled kernels, which run for coverage"
)

TO_TUBES = Lens(
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
)
TO_SUN = replace(TO_TUBES, grooves_toward="sun", cut_for="sun", groove_pitch=0.005, draft_angle=8.0)
ROW = Tubes(count=3, length=1.6, absorber_diameter=0.03, spacing=0.05)
SUN = SunOptics(sunshape="uniform", wavelength=587.6)
MOST_ERROR = 3e-4


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A scene and the light on it; angles in [deg]."""

    scene: Scene
    transversal: float
    longitudinal: float
    row: RowPose | None = None
    along: int = 64  # rays along the grooves, for each of 512 across them


CASES = {
    "along the grooves": Case(
        scene=Scene(lens=TO_TUBES, tubes=ROW, sun=SUN, lens_height=0.7), transversal=1.5, longitudinal=12.0
    ),
    "grooves toward the sun, row askew": Case(
        scene=Scene(
            lens=TO_SUN, tubes=replace(ROW, angle_to_grooves=70.0, count=12, spacing=0.06), sun=SUN, lens_height=0.75
        ),
        transversal=-6.0,
        longitudinal=3.0,
        along=128,
    ),
    "the wrong way round, a point sun, a row that slopes": Case(
        scene=Scene(
            lens=replace(TO_TUBES, cut_for="sun"), tubes=ROW, sun=replace(SUN, sunshape="point"), lens_height=0.72
        ),
        transversal=2.0,
        longitudinal=-8.0,
        row=RowPose(row=(1.0, 0.0, 0.0), tube=(0.0, math.cos(0.3), math.sin(0.3))),
    ),
    "light far aside, with much stray light": Case(
        scene=Scene(
            lens=replace(TO_SUN, transmittance_factor=0.9), tubes=replace(ROW, count=15), sun=SUN, lens_height=0.5
        ),
        transversal=40.0,
        longitudinal=10.0,
    ),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_solids_of_triangles_agree(case: Case) -> None:
    angles = {"transversal_angle": case.transversal, "longitudinal_angle": case.longitudinal}
    mesh = mesh_trace(case.scene, **angles, along=case.along, seed=3, row=case.row)
    result = trace(case.scene, **angles, rays=1_000_000, seed=3, row=case.row)
    value, error = mesh.fractions["intercepted"]
    assert value > 0.1
    assert 0.0 < error < MOST_ERROR
    assert 0.0 < result.intercepted_fraction.standard_error < MOST_ERROR
    both_errors = math.hypot(error, result.intercepted_fraction.standard_error)
    assert result.intercepted_fraction.value == pytest.approx(value, abs=4.0 * both_errors)
    # The rest of the ledger: twice the mesh's error stands for both, as the ledger carries none of its own. A rare
    # fate has a standard error that is itself unsure: 1e-5 is the weight of ten rays.
    for name in ("reflected_lens", "absorbed_lens", "upward_lens", "edge_lens", "trapped_lens", "missed"):
        share, its_error = mesh.fractions[name]
        assert getattr(result.ledger, name) == pytest.approx(share, abs=8.0 * its_error + 1e-5), name
    assert mesh.doubtful < 5e-5  # a sixth of the least standard error that is asked for
    assert sum(share for share, _ in mesh.fractions.values()) + mesh.doubtful == pytest.approx(1.0, abs=1e-12)


def test_embree_is_the_engine_in_use() -> None:
    # trimesh takes a slower engine of its own without a word where the binding is missing.
    assert trimesh.ray.has_embree
    assert type(lens_solid(TO_TUBES).ray) is ray_pyembree.RayMeshIntersector


@pytest.mark.parametrize("lens", [TO_TUBES, TO_SUN])
def test_lens_solid_is_closed_and_holds_what_the_outline_says(lens: Lens) -> None:
    solid = lens_solid(lens)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    # A groove takes half its pitch times its depth from the section of the sheet; depth = p tan a / (1 + tan a tan q).
    grooves = round(lens.width / lens.groove_pitch)
    centre = (np.arange(grooves) + 0.5) * lens.groove_pitch - 0.5 * lens.width
    delta = np.arctan(np.abs(centre) / lens.focal_length)
    index = 1.49
    if lens.cut_for == "tubes":
        slope = np.sin(delta) / (index - np.cos(delta))
    else:
        slope = np.sin(delta) / (np.sqrt(index**2 - np.sin(delta) ** 2) - 1.0)
    depth = lens.groove_pitch * slope / (1.0 + slope * math.tan(math.radians(lens.draft_angle)))
    section = lens.width * lens.thickness - 0.5 * lens.groove_pitch * depth.sum()
    assert solid.volume == pytest.approx(section * lens.length, rel=1e-12)
    assert solid.bounds == pytest.approx(np.array([[-0.3, -0.35, 0.0], [0.3, 0.35, lens.thickness]]), abs=1e-15)


def test_tube_solids_are_closed_and_hold_what_prisms_hold() -> None:
    solids = tube_solids(ROW)
    assert solids.is_watertight
    section = 0.5 * SECTIONS * math.sin(2.0 * math.pi / SECTIONS) * (0.5 * ROW.absorber_diameter) ** 2
    assert solids.volume == pytest.approx(ROW.count * ROW.length * section, rel=1e-9)
    half_row = 0.5 * (ROW.count - 1) * ROW.spacing + 0.5 * ROW.absorber_diameter
    assert solids.bounds[1] == pytest.approx(
        np.array([half_row, 0.5 * ROW.absorber_diameter, 0.5 * ROW.length]), abs=1e-9
    )
