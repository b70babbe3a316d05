"""The response table of a scene file, kept in the user's cache folder."""

from pathlib import Path
from typing import TypedDict

import platformdirs

from raytrace.response import ResponseTable, RowAt, load, load_or_build
from raytrace.trace import Progress
from tracking.mount import row_pose
from tracking.scenefile import SceneFile


class _Layout(TypedDict):
    row_at: RowAt
    tilts: tuple[float, float] | None


def cache_folder() -> Path:
    """Where tables are kept: the platform's folder for a user's caches."""
    return platformdirs.user_cache_path("focalrow") / "tables"


def varies_with_tilt(scene_file: SceneFile) -> bool:
    """Whether the row keeps its slope while the lens tilts, so that the table has the tilt as its third axis."""
    mount = scene_file.mount
    return mount.row_turns_with == "base" and mount.tilt_limits[0] != mount.tilt_limits[1]


def response_table(scene_file: SceneFile, *, progress: Progress | None = None) -> ResponseTable:
    """The scene's response table, from the cache or built now; over the tilt too where the row stays with the base."""
    return load_or_build(scene_file.scene, folder=cache_folder(), progress=progress, **_layout(scene_file))


def kept_response_table(scene_file: SceneFile) -> ResponseTable | None:
    """The scene's response table from the cache; None where it is not there."""
    return load(scene_file.scene, folder=cache_folder(), **_layout(scene_file))


def _layout(scene_file: SceneFile) -> _Layout:
    mount, angle = scene_file.mount, scene_file.scene.tubes.angle_to_grooves
    return _Layout(
        row_at=lambda tilt: row_pose(mount, tilt, angle),
        tilts=mount.tilt_limits if varies_with_tilt(scene_file) else None,
    )

