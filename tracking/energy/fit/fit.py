"""The answers of `focalrow fit` for one scene: hours, way of moving, best lens height."""

from tracking.energy.fit.height import Progress, best_height
from tracking.energy.fit.hours import Span, aimed_settings, hours_of, sunlight
from tracking.energy.fit.result import Fit, Moved
from tracking.energy.fit.sample import Effort
from tracking.scenefile import SceneFile


def fit_of(
    scene_file: SceneFile,
    span: Span,
    *,
    moved: Moved = "perfectly",
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> Fit:
    """The best lens height of a scene over a span.

    Parameters
    ----------
    scene_file
        The scene; its own lens height is compared with the best one.
    span
        The time that counts.
    moved
        How the mount is moved.
    effort
        Hours and rays for each candidate.
    progress
        Called now and then with the share done.

    Raises
    ------
    InputError
        If the weather file cannot be used.
    ValueError
        If the lens cannot be built.
    """
    hours = hours_of(scene_file, span)
    light = sunlight(scene_file, hours, *aimed_settings(scene_file.mount, hours))
    height = best_height(scene_file.scene, scene_file.mount, light, effort=effort, progress=progress)
    return Fit(
        span=span,
        days=hours.days,
        moved=moved,
        dni_sum=float(hours.dni.sum()) * hours.seconds / 3600.0,
        hours_without_dni=hours.hours_without_dni,
        height=height,
    )
