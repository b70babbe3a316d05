"""A second look, with far more rays, at the instants that may be the worst: noise must neither hide nor make peaks."""

import datetime as dt
from collections.abc import Sequence

from raytrace.trace import PreparedScene
from tracking.mount import Setting
from tracking.scenefile import SceneFile
from tracking.stray.idle import Spot, idle_path

SHARP_RAYS = 1 << 18
"""Most rays of a second look: the error of a peak is then a few per cent."""
MORE_RAYS = 8
"""By how much each look at an instant has more rays than the one before."""
MOST_RAYS = 1 << 25
"""Rays of all second looks in one call."""
SPREAD = 3.0
"""Standard errors by which the highest flux that a trace allows lies above the flux that it found."""


def upper(spot: Spot) -> float:
    """The highest flux that the trace of a spot allows [W/m2]."""
    return spot.flux + SPREAD * spot.flux_error


def worst_of(spots: Sequence[Spot]) -> Spot | None:
    """The spot that allows the highest flux; None where there is none."""
    return max(spots, key=upper, default=None)


def sharpened(
    scene_file: SceneFile, setting: Setting, spots: Sequence[Spot], prepared: PreparedScene, *, known: float = 0.0
) -> list[Spot]:
    """The spots, those of the worst instants traced anew with more rays, step by step up to SHARP_RAYS.

    It goes on until no other spot allows more than one that was traced with so many, or than a flux that is `known` to
    occur [W/m2], or until MOST_RAYS are traced.
    """
    found, left = list(spots), MOST_RAYS
    while left > 0:
        worst = worst_of(found)
        if worst is None or worst.rays >= SHARP_RAYS or upper(worst) <= known:
            break
        rays = min(SHARP_RAYS, MORE_RAYS * worst.rays)
        again = idle_path(
            scene_file, setting, (worst.time_local,), step=dt.timedelta(minutes=1), rays=rays, prepared=prepared
        )
        left -= rays
        found = [spot for spot in found if spot.time_local != worst.time_local]
        found += [spot for face in again.faces for spot in face.spots]
    return found
