"""A closer look at the worst instants of a long stretch of time: at minutes and days between those that were traced."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from raytrace.trace import PreparedScene
from tracking.mount import Setting
from tracking.scenefile import SceneFile
from tracking.stray.idle import FacePath, IdlePath, Spot, idle_path

Progress = Callable[[float], None]

RINGS = (
    ((-6, -3, 0, 3, 6), (-18, -12, -6, 0, 6, 12, 18)),
    ((-2, -1, 0, 1, 2), (-4, -2, 0, 2, 4)),
)
"""Days and minutes around the worst instant known that are traced; the second ring around the worst of the first."""
APART_DAYS, APART_MINUTES = 20, 40
"""Two instants this far from each other, in days or in minutes of the clock, belong to different peaks."""
PEAK_FLUX = 1000.0
"""Flux from which a surface's peak is looked at more closely [W/m2]: about the sun itself."""
DAY_MINUTES = 24 * 60


def near_worst(
    scene_file: SceneFile,
    setting: Setting,
    spot: Spot,
    *,
    rays: int,
    prepared: PreparedScene,
    missing_tube: int | None = None,
) -> tuple[IdlePath, ...]:
    """The paths through the days and minutes around a spot: each ring around the worst instant of the one before."""
    centre, best, face = spot.time_local, spot.flux, spot.face
    found = []
    for days, minutes in RINGS:
        # In UTC, as adding to a local time would go by the wall clock.
        around = centre.astimezone(dt.UTC)
        times = [around + dt.timedelta(days=day, minutes=minute) for day in days for minute in minutes]
        step = dt.timedelta(minutes=minutes[1] - minutes[0])
        path = idle_path(scene_file, setting, times, step=step, rays=rays, prepared=prepared, missing_tube=missing_tube)
        found.append(path)
        worst = path.faces[face].worst
        if worst is not None and worst.flux > best:
            centre, best = worst.time_local, worst.flux
    return tuple(found)


def peaks_of(spots: Sequence[Spot], most: int) -> list[Spot]:
    """The brightest spots, each of a peak of its own: far from all brighter ones in days or in minutes of the clock."""
    found: list[Spot] = []
    for spot in sorted(spots, key=lambda each: -each.flux):
        if len(found) == most:
            break
        if all(_apart(spot, other) for other in found):
            found.append(spot)
    return found


def _apart(one: Spot, other: Spot) -> bool:
    if one.face != other.face:
        return True
    days = abs((one.time_local.date() - other.time_local.date()).days)
    minutes = abs(_minute(one) - _minute(other))
    return days > APART_DAYS or min(minutes, DAY_MINUTES - minutes) > APART_MINUTES


def _minute(spot: Spot) -> int:
    return spot.time_local.hour * 60 + spot.time_local.minute


def refined(
    scene_file: SceneFile,
    found: IdlePath,
    *,
    prepared: PreparedScene,
    missing_tube: int | None = None,
    progress: Progress | None = None,
) -> IdlePath:
    """The same path with the peak of each bright surface looked for between the instants traced, and its map with it.

    Times above a threshold and the track stay those of the instants.
    """
    faces = list(found.faces)
    bright = [k for k, each in enumerate(faces) if each.worst is not None and each.worst.flux >= PEAK_FLUX]
    for done, k in enumerate(bright, start=1):
        spot = faces[k].worst
        assert spot is not None  # noqa: S101  bright says so
        for path in near_worst(
            scene_file, found.setting, spot, rays=found.rays, prepared=prepared, missing_tube=missing_tube
        ):
            faces = [_merged(face, near) for face, near in zip(faces, path.faces, strict=True)]
        if progress is not None:
            progress(done / len(bright))
    return replace(found, faces=tuple(faces), refined=True)


def _merged(face: FacePath, near: FacePath) -> FacePath:
    worst = max((each.worst for each in (face, near) if each.worst), key=lambda spot: spot.flux, default=None)
    return replace(face, highest=np.maximum(face.highest, near.highest), worst=worst, power=max(face.power, near.power))
