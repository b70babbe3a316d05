"""Where to leave a lens: the pose whose focus does least through a year, and when a cover must be on."""

import datetime as dt
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from raytrace.stray import turned_over
from raytrace.trace import PreparedScene, prepare
from tracking.motors.safety import ConcentrationMap, axis_angles, concentration_map
from tracking.mount import Mount, Setting, lens_angles
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants, sun_path
from tracking.sky.weather import direct_normal_irradiance
from tracking.stray.cover import CoverTime, cover_times
from tracking.stray.idle import IdlePath, Spot, idle_path
from tracking.stray.refine import near_worst, peaks_of
from tracking.stray.sharpen import sharpened, upper, worst_of
from tracking.stray.stretch import year_times

Progress = Callable[[float], None]

TILT_STEP, SWIVEL_STEP = 7.5, 15.0
"""Steps of the poses tried [deg]; the light of a lens far from aimed changes slowly with them."""
SCREENED_DAYS, SCREENED_STEP = 14, dt.timedelta(minutes=20)
"""Days apart and step of the suns under which every pose is judged by the map of concentration."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Heat:
    """A round of the search: so many poses, traced on days so far apart, at this step, with so many rays."""

    poses: int
    days: int
    step: dt.timedelta
    rays: int


FIRST = Heat(poses=48, days=56, step=dt.timedelta(minutes=60), rays=1 << 11)
SECOND = Heat(poses=4, days=28, step=dt.timedelta(minutes=40), rays=1 << 12)
FINAL = Heat(poses=2, days=7, step=dt.timedelta(minutes=10), rays=1 << 13)
"""The best poses of one round go on to the next; the poses half a step beside the best one join the second."""
PEAKS = 5
"""Peaks of the best pose that are looked at more closely in time."""
BESIDE = 4
"""Poses half a step of the grid beside one."""
CHECK_MINUTES = 300
"""Random minutes at which the stated worst case is checked."""
CHECK_ROUNDS = 4
"""How often the worst case may be raised, each time with new minutes, before the check is given up."""
RULE_OF_THREE = 3.0
"""If none of n draws shows something, fewer than 3 / n of all do, at 95 % confidence: J. A. Hanley and A. Lippman-Hand,
"If nothing goes wrong, is everything all right?", JAMA 249 (1983) 1743-1745 (value from memory, to be confirmed)."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Parking:
    """The best pose found.

    `worst` is the spot of all `spots` traced that allows the highest flux, None where no light lands; `minutes` at how
    many random minutes since it was found none may be worse; `concentration` the highest concentration of the light
    there at any distance from the lens, whatever stands there, by a map; `poses` how many were ranked.
    """

    turned: bool
    path: IdlePath
    minutes: int
    spots: tuple[Spot, ...]
    concentration: float
    threshold: float
    poses: int

    @property
    def worst(self) -> Spot | None:
        """The spot that allows the highest flux; None where no light lands on anything."""
        return worst_of(self.spots)

    @property
    def bound(self) -> float:
        """The stated worst case: the highest flux that any trace allows [W/m2]."""
        return 0.0 if self.worst is None else upper(self.worst)

    @property
    def keeps(self) -> bool:
        """Whether the stated worst case is no more than the threshold."""
        return self.bound <= self.threshold

    @property
    def worse_share(self) -> float:
        """The share of the year's sunny minutes that may be worse than stated, at 95 % confidence; 1 if unchecked."""
        return min(1.0, RULE_OF_THREE / self.minutes) if self.minutes else 1.0

    @property
    def cover(self) -> tuple[CoverTime, ...]:
        """When the cover must be on: empty where the threshold is not exceeded."""
        over = [spot.time_local for spot in self.spots if upper(spot) > self.threshold]
        return cover_times(self.path.times[0].year, over, self.path.step)


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
    them are traced onto what stands around, fewer and finer from round to round. A pose outside this grid may be better
    still. The stated worst case is not yet checked: see `checked`.
    """
    scene = turned_over(scene_file.scene) if turned else scene_file.scene
    prepared = prepare(scene)
    chart = concentration_map(scene)
    ranked = [setting for _, setting in _ranked(scene_file, chart, _grid(scene_file.mount), year)]
    share = itertools.count(1)
    whole = FIRST.poses + SECOND.poses + BESIDE + FINAL.poses + PEAKS

    def done() -> None:
        if progress is not None:
            progress(min(1.0, next(share) / whole))

    def traced(setting: Setting, heat: Heat) -> IdlePath:
        times = year_times(scene_file.site, year, heat.step, heat.days)
        path = idle_path(scene_file, setting, times, step=heat.step, rays=heat.rays, prepared=prepared)
        done()
        return path

    def best_of(settings: Sequence[Setting], heat: Heat) -> list[IdlePath]:
        return sorted((traced(each, heat) for each in settings), key=_flux)  # stable: equals keep their rank

    second = [path.setting for path in best_of(ranked[: FIRST.poses], FIRST)[: SECOND.poses]]
    beside = _beside(scene_file.mount, second[0])
    final = [path.setting for path in best_of([*second, *beside], SECOND)[: FINAL.poses]]
    path = best_of(final, FINAL)[0]
    spots = _spots(path)
    for peak in peaks_of(spots, PEAKS):
        for near in near_worst(scene_file, path.setting, peak, rays=FINAL.rays, prepared=prepared):
            spots += _spots(near)
        done()
    spots = sharpened(scene_file, path.setting, spots, prepared)
    if progress is not None:
        progress(1.0)
    concentration, _ = _ranked(scene_file, chart, [path.setting], year)[0]
    return Parking(
        turned=turned, path=path, minutes=0, spots=tuple(spots), concentration=concentration, threshold=threshold,
        poses=len(ranked),
    )  # fmt: skip


def _flux(path: IdlePath) -> float:
    return 0.0 if path.worst is None else path.worst.flux


def _spots(path: IdlePath) -> list[Spot]:
    return [spot for face in path.faces for spot in face.spots]


def _grid(mount: Mount) -> list[Setting]:
    """The poses that are tried."""
    low, high = mount.tilt_limits
    tilts = np.array([low]) if low == high else axis_angles((low, high), 0.0, TILT_STEP)
    limits = mount.swivel_limits
    if limits is not None and limits[0] == limits[1]:
        swivels = np.array([limits[0]])
    else:
        swivels = axis_angles(limits, 180.0, SWIVEL_STEP)
        if limits is None or limits[1] - limits[0] >= 360.0:
            swivels = swivels[:-1]  # the last one is the first one
    return [Setting(float(tilt), float(swivel)) for tilt in tilts for swivel in swivels]


def _beside(mount: Mount, setting: Setting) -> list[Setting]:
    """The poses half a step of the grid beside one, within the mount's range."""
    low, high = mount.tilt_limits
    found = [
        Setting(setting.tilt + turn, setting.swivel)
        for turn in (-0.5 * TILT_STEP, 0.5 * TILT_STEP)
        if low <= setting.tilt + turn <= high
    ]
    limits = mount.swivel_limits
    return found + [
        Setting(setting.tilt, setting.swivel + turn)
        for turn in (-0.5 * SWIVEL_STEP, 0.5 * SWIVEL_STEP)
        if limits is None or limits[0] <= setting.swivel + turn <= limits[1]
    ]


def _ranked(
    scene_file: SceneFile, chart: ConcentrationMap, settings: Sequence[Setting], year: int
) -> list[tuple[float, Setting]]:
    """These poses with the highest concentration that the year's suns make there, the least first."""
    site = scene_file.site
    path = sun_path(site, [t.astimezone(dt.UTC) for t in year_times(site, year, SCREENED_STEP, SCREENED_DAYS)])
    dni = direct_normal_irradiance(scene_file.sky, site, path)
    azimuth, elevation = np.asarray(path.azimuth)[dni > 0.0], np.asarray(path.elevation)[dni > 0.0]
    found = []
    for setting in settings:
        seen = lens_angles(scene_file.mount, setting.tilt, setting.swivel, azimuth, elevation)
        worst = chart.at(seen.transversal, seen.longitudinal, seen.incidence).max(initial=0.0)
        found.append((float(worst), setting))
    return sorted(found, key=lambda each: (each[0], abs(each[1].tilt)))


def random_minutes(scene_file: SceneFile, year: int, count: int, seed: int = 0) -> list[dt.datetime]:
    """Minutes with the sun up, drawn evenly from the days of a year; in order."""
    rng = np.random.default_rng(seed)
    days = [dt.date(year, 1, 1) + dt.timedelta(days=int(k)) for k in rng.integers(0, 365, count)]
    minute = dt.timedelta(minutes=1)
    found: list[dt.datetime] = []
    for day in days:
        times: Sequence[dt.datetime] = day_instants(scene_file.site, day, minute)
        if times:
            found.append(times[int(rng.integers(0, len(times)))])
    return sorted(found)


def checked(
    scene_file: SceneFile, found: Parking, year: int, count: int = CHECK_MINUTES, progress: Progress | None = None
) -> Parking:
    """The same parking with its worst case checked by traces at random minutes of the year.

    A minute that may be worse is traced with more rays; if it still may be, it raises the worst case, is looked at more
    closely, and widens the hours of the cover; then new minutes are drawn. `minutes` stays 0 where each of CHECK_ROUNDS
    draws found a worse one.
    """
    prepared = prepare(turned_over(scene_file.scene) if found.turned else scene_file.scene)
    setting = found.path.setting
    for turn in range(CHECK_ROUNDS):
        times = random_minutes(scene_file, year, count, seed=turn)
        drawn = sharpened(
            scene_file, setting, _spots(traced_at(scene_file, found, times, prepared)), prepared, known=found.bound
        )
        if progress is not None:
            progress((turn + 1) / CHECK_ROUNDS)
        worst, before = worst_of(drawn), found.bound
        found = replace(found, spots=(*found.spots, *drawn))
        if worst is None or upper(worst) <= before:
            return replace(found, minutes=len(times))
        near = near_worst(scene_file, setting, worst, rays=FINAL.rays, prepared=prepared)
        spots = [*found.spots, *(spot for path in near for spot in _spots(path))]
        found = replace(found, spots=tuple(sharpened(scene_file, setting, spots, prepared)))
    return found


def traced_at(scene_file: SceneFile, found: Parking, times: Sequence[dt.datetime], prepared: PreparedScene) -> IdlePath:
    """What a parked lens does at these minutes."""
    return idle_path(
        scene_file, found.path.setting, times, step=dt.timedelta(minutes=1), rays=FINAL.rays, prepared=prepared
    )
