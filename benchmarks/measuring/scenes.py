"""The scenes that are measured: those that the repository ships, and a lens of our own invention above bare tubes."""

from measuring import SCENES
from raytrace.profile import profile_window
from raytrace.scene import Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import KernelInputs, prepare
from tracking.scenefile import read_scene

BARE = Scene(
    lens=Lens(width=0.6, length=0.9, focal_length=0.8, grooves_toward="tubes", cut_for="tubes"),
    tubes=Tubes(count=3, spacing=0.06, length=1.5, absorber_diameter=0.047),
    sun=SunOptics(),
    lens_height=0.8,
)
"""Grooves toward the tubes, bare tubes, the full optical model: dispersion, risers, Fresnel, slope error, sunshape."""


def all_scenes() -> dict[str, Scene]:
    """Scenes by name."""
    return {"bare tubes": BARE} | {path.stem: read_scene(path).scene for path in SCENES}


def inputs_of(scene: Scene) -> KernelInputs:
    """What the kernels read, with the sun on the lens normal and the row as laid out at tilt 0."""
    row = RowPose.level(scene.tubes.angle_to_grooves)
    return prepare(scene).inputs(0.0, 0.0, row, profile_window(scene, 0.0))
