"""Where to leave a lens: the pose whose focus does least through a year, and when a cover must be on."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from raytrace.trace import PreparedScene, prepare
from tracking.motors.safety import ConcentrationMap, axis_angles, concentration_map
from tracking.mount import Setting, lens_angles
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants, sun_path
from tracking.sky.weather import direct_normal_irradiance
from tracking.stray.idle import IdlePath, Spot, idle_path, turned_over
from tracking.stray.stretch import year_times

Progress = Callable[[float], None]

TILT_STEP, SWIVEL_STEP = 7.5, 15.0
"""Steps of the poses tried [deg]; the light of a lens far from aimed changes slowly with them."""
SCREENED_DAYS, SCREENED_STEP = 14, dt.timedelta(minutes=20)
"""Days apart and step of the suns under which every pose is judged by the map of concentration."""
FINALISTS = 8
"""Poses that are then traced."""
TRACED_DAYS, TRACED_STEP, TRACED_RAYS = 28, dt.timedelta(minutes=30), 1 << 12
FINAL_DAYS, FINAL_STEP, FINAL_RAYS = 14, dt.timedelta(minutes=20), 1 << 14
"""How the finalists, and then the best of them, are traced through the year."""
NEAR_DAYS, NEAR_MINUTES = (-7, 0, 7), 15
"""The worst instant is looked for again at each third minute this near, on these days around the worst one found."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoverTime:
    """A day of the year that was traced, and the span of clock time in which a surface exceeds the threshold."""

    first: dt.datetime
    last: dt.datetime


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Parking:
    """The best pose found.

    `worst` is the brightest spot on any surface through the year, None where no light lands; `concentration` the
    highest mean concentration of the light there at any distance below the lens, whatever stands there, by a map;
    `cover` when the cover must be on; empty where the threshold is never exceeded.
    """

    turned: bool
    path: IdlePath
    worst: Spot | None
    concentration: float
    threshold: float
    cover: tuple[CoverTime, ...]
    poses: int

    @property
    def flux(self) -> float:
        """The highest flux on any surface [W/m2]."""
        return 0.0 if self.worst is None else self.worst.flux

    @property
    def keeps(self) -> bool:
        """Whether no surface ever sees more than the threshold."""
        return self.flux <= self.threshold


def parking(
    scene_file: SceneFile,
    year: int,
    threshold: float,
    *,
    turned: bool = False,
    progress: Progress | None = None,
) -> Parking:
    """The pose within the mount's range whose focus exceeds a threshold least.

    Parameters
    ----------
    scene_file
        The scene with what stands around.
    year
        Whose suns.
    threshold
        Flux on any surface that is not to be exceeded [W/m2].
    turned
        For the sheet turned over, its other face to the sun.

    Notes
    -----
    All poses of a grid are ranked by the highest concentration that the year's suns make at any distance; the best of
    them are traced onto what stands around. A pose outside this grid may be better still. Noise of the traces lifts the
    worst case of many instants, so it errs on the high side.
    """
    scene = turned_over(scene_file.scene) if turned else scene_file.scene
    prepared = prepare(scene)
    ranked = _ranked(scene_file, concentration_map(scene), year)
    finalists = ranked[:FINALISTS]
    coarse = year_times(scene_file.site, year, TRACED_STEP, TRACED_DAYS)
    best, best_flux = finalists[0], float("inf")
    for k, candidate in enumerate(finalists):
        path = idle_path(
            scene_file, candidate[1], coarse, step=TRACED_STEP, rays=TRACED_RAYS, prepared=prepared
        )  # fmt: skip
        flux = 0.0 if path.worst is None else path.worst.flux
        if flux < best_flux:
            best, best_flux = candidate, flux
        if progress is not None:
            progress((k + 1) / (len(finalists) + 3))
    times = year_times(scene_file.site, year, FINAL_STEP, FINAL_DAYS)
    path = idle_path(scene_file, best[1], times, step=FINAL_STEP, rays=FINAL_RAYS, prepared=prepared)
    near = _worst_near(scene_file, best[1], path.worst, prepared)
    spots = [spot for spot in (path.worst, near) if spot is not None]
    if progress is not None:
        progress(1.0)
    return Parking(
        turned=turned, path=path, worst=max(spots, key=lambda spot: spot.flux, default=None), concentration=best[0],
        threshold=threshold, cover=_cover(path, threshold), poses=len(ranked),
    )  # fmt: skip


def _ranked(scene_file: SceneFile, chart: ConcentrationMap, year: int) -> list[tuple[float, Setting]]:
    """All poses of a grid with the highest concentration that the year's suns make there, the least first."""
    mount, site = scene_file.mount, scene_file.site
    path = sun_path(site, [t.astimezone(dt.UTC) for t in year_times(site, year, SCREENED_STEP, SCREENED_DAYS)])
    dni = direct_normal_irradiance(scene_file.sky, site, path)
    azimuth, elevation = np.asarray(path.azimuth)[dni > 0.0], np.asarray(path.elevation)[dni > 0.0]
    tilts = axis_angles(mount.tilt_limits, 0.0, TILT_STEP) if mount.tilt_limits[0] < mount.tilt_limits[1] else None
    limits = mount.swivel_limits
    if limits is not None and limits[0] == limits[1]:
        swivels = np.array([limits[0]])
    else:
        swivels = axis_angles(limits, 180.0, SWIVEL_STEP)
        if limits is None or limits[1] - limits[0] >= 360.0:
            swivels = swivels[:-1]  # the last one is the first one
    found = []
    for tilt in np.array([mount.tilt_limits[0]]) if tilts is None else tilts:
        seen = lens_angles(mount, float(tilt), swivels[:, np.newaxis], azimuth, elevation)
        worst = chart.at(seen.transversal, seen.longitudinal, seen.incidence).max(axis=1)
        found += [
            (float(value), Setting(float(tilt), float(swivel))) for value, swivel in zip(worst, swivels, strict=True)
        ]
    return sorted(found, key=lambda each: (each[0], abs(each[1].tilt)))


def _worst_near(
    scene_file: SceneFile, setting: Setting, worst: Spot | None, prepared: PreparedScene
) -> Spot | None:
    """The brightest spot at the minutes around the worst one known."""
    if worst is None:
        return None
    centre = worst.time_local.astimezone(dt.UTC)
    times = [
        centre + dt.timedelta(days=days, minutes=minutes)
        for days in NEAR_DAYS
        for minutes in range(-NEAR_MINUTES, NEAR_MINUTES + 1, 3)
    ]
    return idle_path(
        scene_file, setting, times, step=dt.timedelta(minutes=3), rays=FINAL_RAYS, prepared=prepared
    ).worst  # fmt: skip


def _cover(path: IdlePath, threshold: float) -> tuple[CoverTime, ...]:
    """First and last instant of each day at which any surface sees more than the threshold, one step wider each way."""
    over = sorted(
        spot.time_local for face in path.faces for spot in face.spots if spot.flux > threshold
    )  # fmt: skip
    days: dict[dt.date, list[dt.datetime]] = {}
    for time in over:
        days.setdefault(time.date(), []).append(time)
    step = dt.timedelta(minutes=path.step)
    return tuple(CoverTime(first=times[0] - step, last=times[-1] + step) for times in days.values())


def random_minutes(scene_file: SceneFile, year: int, count: int, seed: int = 0) -> list[dt.datetime]:
    """Minutes with the sun up, drawn evenly from a year; in order."""
    rng = np.random.default_rng(seed)
    days = [dt.date(year, 1, 1) + dt.timedelta(days=int(k)) for k in rng.integers(0, 365, count)]
    minute = dt.timedelta(minutes=1)
    found: list[dt.datetime] = []
    for day in days:
        times: Sequence[dt.datetime] = day_instants(scene_file.site, day, minute)
        if times:
            found.append(times[int(rng.integers(0, len(times)))])
    return sorted(found)


def checked(scene_file: SceneFile, found: Parking, year: int, count: int = 100) -> Parking:
    """The same parking, with its worst case checked by traces at random minutes of the year and raised to any worse."""
    prepared = prepare(turned_over(scene_file.scene) if found.turned else scene_file.scene)
    times = random_minutes(scene_file, year, count)
    again = idle_path(
        scene_file, found.path.setting, times, step=dt.timedelta(minutes=1), rays=FINAL_RAYS, prepared=prepared
    )  # fmt: skip
    if again.worst is None or (found.worst is not None and again.worst.flux <= found.worst.flux):
        return found
    return replace(found, worst=again.worst)
