"""The response table of a scene file, kept in the user's cache folder."""

from pathlib import Path

import platformdirs

from raytrace.response import ResponseTable, load_or_build
from raytrace.trace import Progress
from tracking.mount import row_pose
from tracking.scenefile import SceneFile


def cache_folder() -> Path:
    """Where tables are kept: the platform's folder for a user's caches."""
    return platformdirs.user_cache_path("focalrow") / "tables"


def response_table(scene_file: SceneFile, *, progress: Progress | None = None) -> ResponseTable:
    """The scene's response table, from the cache or built now; over the tilt too where the row stays with the base."""
    mount, angle = scene_file.mount, scene_file.scene.tubes.angle_to_grooves
    moves = mount.row_turns_with == "base" and mount.tilt_limits[0] != mount.tilt_limits[1]
    return load_or_build(
        scene_file.scene,
        row_at=lambda tilt: row_pose(mount, tilt, angle),
        tilts=mount.tilt_limits if moves else None,
        folder=cache_folder(),
        progress=progress,
    )
