"""Settings of the mount, pose of lens and row, angles of the sun in the lens frame. Knows no dates."""

from tracking.mount.aim import MIN_ELEVATION, ZENITH_CONE, aim, aim_path
from tracking.mount.marks import marked_swivels, marked_tilts
from tracking.mount.pose import (
    DEFAULT_DECLINATION_RANGE,
    DEFAULT_TILT_RANGE,
    Grooves,
    LensAngles,
    LensAxes,
    Marks,
    Mount,
    MountKind,
    RowTurnsWith,
    Setting,
    lens_angles,
    lens_axes,
    row_pose,
    sun_vector,
    tube_slope,
)

__all__ = [
    "DEFAULT_DECLINATION_RANGE",
    "DEFAULT_TILT_RANGE",
    "MIN_ELEVATION",
    "ZENITH_CONE",
    "Grooves",
    "LensAngles",
    "LensAxes",
    "Marks",
    "Mount",
    "MountKind",
    "RowTurnsWith",
    "Setting",
    "aim",
    "aim_path",
    "lens_angles",
    "lens_axes",
    "marked_swivels",
    "marked_tilts",
    "row_pose",
    "sun_vector",
    "tube_slope",
]
