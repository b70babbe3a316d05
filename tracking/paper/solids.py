"""Solids of the whole machine at a setting, in the world: east, north, up, z = 0 on the ground [m]."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from raytrace.mesh import (
    WOOD,
    Solid,
    arm_solids,
    box,
    glb_bytes,
    lens_solid,
    lines_ply,
    mesh_bytes,
    tube_solids,
    viewer_html,
)
from raytrace.paths import RayPath
from raytrace.scene import RowPose
from tracking.mount import Mount, lens_axes
from tracking.scenefile import SceneFile

PLATE = 0.03  # [m], thickness of the base's plate: a drawing's choice
GROUND_GAP = 0.1  # [m], between the ground and the lowest place that the lens may swing to: a drawing's choice
POST = 0.06  # [m], side of the post's square section: a drawing's choice
COARSE_GROOVES = 40
"""Grooves in each half of the lens's stand-in for the viewer and the joined files."""

TILT_DRAWN = 30.0
"""Tilt at which the machine stands where nobody says another, if its range allows [deg]: a drawing's choice."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Machine:
    """All bodies at one setting [deg], in the world, and ray lines with them."""

    solids: tuple[Solid, ...]
    true_lens: Solid
    rays: tuple[RayPath, ...]
    tilt: float
    swivel: float
    title: str

    def numbers(self) -> Mapping[str, Any]:
        """Volumes [m3] and masses [kg]; no mass where a scene does not tell the material."""
        bodies = [self.true_lens, *(solid for solid in self.solids if solid.name != "lens")]
        return {
            "tilt_deg": self.tilt,
            "swivel_deg": self.swivel,
            "solids": [
                {"name": s.name, "volume_m3": s.volume, "mass_kg": s.mass, "density_kg_m3": s.density} for s in bodies
            ],
        }

    def files(self) -> dict[str, bytes | str]:
        """GLB with the rays, STL, PLY, the lens with its true grooves, the rays as lines, and a viewer page."""
        return {
            "machine.glb": glb_bytes(self.solids, self.rays),
            "machine.stl": mesh_bytes(self.solids, "stl"),
            "machine.ply": mesh_bytes(self.solids, "ply"),
            "lens.stl": mesh_bytes([self.true_lens], "stl"),
            "lens.ply": mesh_bytes([self.true_lens], "ply"),
            "rays.ply": lines_ply(self.rays),
            "viewer.html": viewer_html(self.solids, self.rays, title=self.title),
        }


def drawn_setting(mount: Mount) -> tuple[float, float]:
    """A tilt and a swivel [deg] at which the machine can be drawn: within its ranges."""
    low, high = mount.tilt_limits
    limits = mount.swivel_limits
    south = 0.0 if mount.kind == "polar" else 180.0
    swivel = south if limits is None else min(max(south, limits[0]), limits[1])
    return (0.0 if mount.kind == "polar" and low <= 0.0 <= high else min(max(TILT_DRAWN, low), high)), swivel


def machine(
    scene_file: SceneFile, *, tilt: float, swivel: float, row: RowPose, rays: Sequence[RayPath] = ()
) -> Machine:
    """The machine at a setting [deg]: lens, tubes, arms, and a base of a plate and a post, which are stand-ins.

    `row` and `rays` are those of the setting, in the lens frame.
    """
    scene, mount = scene_file.scene, scene_file.mount
    found = lens_axes(mount, tilt, swivel)
    axes = np.column_stack([np.asarray(axis, dtype=float).reshape(3) for axis in found])
    reach = math.hypot(scene.lens_height, 0.5 * max(scene.lens.width, scene.lens.length)) + GROUND_GAP
    # The lens swings about the row's centre, which keeps its place above the ground.
    centre = np.array([0.0, 0.0, reach])
    origin = centre + scene.lens_height * axes[:, 2]
    arms = arm_solids(scene, axis_along_grooves=mount.grooves == "level")
    moving = [lens_solid(scene.lens, grooves_a_half=COARSE_GROOVES), *tube_solids(scene, row), *arms]
    side = 0.5 * max(scene.lens.width, scene.lens.length)
    base = [
        box("base plate", (-side, -side, 0.0), (side, side, PLATE), WOOD),
        box(
            "base post",
            (-0.5 * POST, -0.5 * POST, PLATE),
            (0.5 * POST, 0.5 * POST, reach - scene.tubes.outer_diameter),
            WOOD,
        ),
    ]
    turned = math.radians(swivel if mount.kind != "polar" else 0.0)
    turn = np.array([
        [math.cos(turned), math.sin(turned), 0.0],
        [-math.sin(turned), math.cos(turned), 0.0],
        [0.0, 0.0, 1.0],
    ])  # fmt: skip
    return Machine(
        solids=(
            *(solid.placed(axes, origin) for solid in moving),
            *(solid.placed(turn, np.zeros(3)) for solid in base),
        ),
        true_lens=lens_solid(scene.lens).placed(axes, origin),
        rays=tuple(replace(ray, points=ray.points @ axes.T + origin) for ray in rays),
        tilt=tilt,
        swivel=swivel,
        title=f"Lens, tubes and stand, {scene_file.site.name}".removesuffix(", "),
    )
