"""Where to leave a lens: the pose whose focus does least through a year, and when a cover must be on."""

import datetime as dt
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from raytrace.trace import PreparedScene, prepare
from tracking.motors.safety import ConcentrationMap, axis_angles, concentration_map
from tracking.mount import Mount, Setting, lens_angles
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants, sun_path
from tracking.sky.weather import direct_normal_irradiance
from tracking.stray.idle import IdlePath, Spot, idle_path, turned_over
from tracking.stray.refine import near_worst, peaks_of
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


FIRST = Heat(poses=16, days=56, step=dt.timedelta(minutes=60), rays=1 << 11)
SECOND = Heat(poses=4, days=28, step=dt.timedelta(minutes=40), rays=1 << 12)
FINAL = Heat(poses=1, days=14, step=dt.timedelta(minutes=20), rays=1 << 14)
"""The best poses of one round go on to the next; the poses half a step beside the best one join the second."""
PEAKS = 5
"""Peaks of the best pose that are looked at more closely in time."""
SPREAD = 3.0
"""Standard errors by which the stated worst case lies above the brightest spot found."""
CHECK_MINUTES = 300
"""Random minutes at which the stated worst case is checked."""
CHECK_ROUNDS = 4
"""How often the worst case may be raised, each time with new minutes, before the check is given up."""
RULE_OF_THREE = 3.0
"""If none of n draws shows something, fewer than 3 / n of all do, at 95 % confidence: J. A. Hanley and A. Lippman-Hand,
"If nothing goes wrong, is everything all right?", JAMA 249 (1983) 1743-1745 (value from memory, to be confirmed)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoverTime:
    """A stretch of days, both included, and the clock time from and until which the cover must be on."""

    first_day: dt.date
    last_day: dt.date
    begins: dt.time
    ends: dt.time


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Parking:
    """The best pose found.

    `worst` is the brightest spot found on any surface, None where no light lands; `bound` the stated worst case, which
    lies SPREAD standard errors above it [W/m2]; `minutes` at how many random minutes since it was last raised nothing
    exceeded it; `spots` all that were traced; `concentration` the highest concentration of the light there at any
    distance below the lens, whatever stands there, by a map; `poses` how many were ranked.
    """

    turned: bool
    path: IdlePath
    worst: Spot | None
    bound: float
    minutes: int
    spots: tuple[Spot, ...]
    concentration: float
    threshold: float
    poses: int

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
        """When the cover must be on: empty where the threshold is never exceeded."""
        return () if self.keeps else _cover(self)


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
    whole = FIRST.poses + 2 * SECOND.poses + FINAL.poses + PEAKS

    def done() -> None:
        if progress is not None:
            progress(min(1.0, next(share) / whole))

    def traced(setting: Setting, heat: Heat) -> IdlePath:
        times = year_times(scene_file.site, year, heat.step, heat.days)
        path = idle_path(scene_file, setting, times, step=heat.step, rays=heat.rays, prepared=prepared)
        done()
        return path

    def best_of(settings: Sequence[Setting], heat: Heat) -> list[Setting]:
        return sorted(settings, key=lambda each: _flux(traced(each, heat)))  # stable: equals keep their rank

    second = best_of(ranked[: FIRST.poses], FIRST)[: SECOND.poses]
    beside = _beside(scene_file.mount, second[0])
    setting = best_of([*second, *beside], SECOND)[0]
    path = traced(setting, FINAL)
    spots = [spot for face in path.faces for spot in face.spots]
    for peak in peaks_of(spots, PEAKS):
        for near in near_worst(scene_file, setting, peak, rays=FINAL.rays, prepared=prepared):
            spots += [spot for face in near.faces for spot in face.spots]
        done()
    if progress is not None:
        progress(1.0)
    worst = max(spots, key=lambda spot: spot.flux, default=None)
    concentration, _ = _ranked(scene_file, chart, [setting], year)[0]
    return Parking(
        turned=turned, path=path, worst=worst, bound=_bound(worst), minutes=0, spots=tuple(spots),
        concentration=concentration, threshold=threshold, poses=len(ranked),
    )  # fmt: skip


def _flux(path: IdlePath) -> float:
    return 0.0 if path.worst is None else path.worst.flux


def _bound(worst: Spot | None) -> float:
    return 0.0 if worst is None else worst.flux + SPREAD * worst.flux_error


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

    A worse minute raises the worst case, is looked at more closely, and widens the hours of the cover; then new minutes
    are drawn. `minutes` stays 0 where each of CHECK_ROUNDS draws found a worse one.
    """
    prepared = prepare(turned_over(scene_file.scene) if found.turned else scene_file.scene)
    for turn in range(CHECK_ROUNDS):
        times = random_minutes(scene_file, year, count, seed=turn)
        path = traced_at(scene_file, found, times, prepared)
        spots = [spot for face in path.faces for spot in face.spots]
        if progress is not None:
            progress((turn + 1) / CHECK_ROUNDS)
        if _flux(path) <= found.bound:
            return replace(found, spots=(*found.spots, *spots), minutes=len(times))
        worst = path.worst
        assert worst is not None  # noqa: S101  its flux is above the bound
        for near in near_worst(scene_file, found.path.setting, worst, rays=FINAL.rays, prepared=prepared):
            spots += [spot for face in near.faces for spot in face.spots]
        spots += found.spots
        worst = max(spots, key=lambda spot: spot.flux)
        found = replace(found, worst=worst, bound=_bound(worst), spots=tuple(spots))
    return found


def traced_at(scene_file: SceneFile, found: Parking, times: Sequence[dt.datetime], prepared: PreparedScene) -> IdlePath:
    """What a parked lens does at these minutes."""
    return idle_path(
        scene_file, found.path.setting, times, step=dt.timedelta(minutes=1), rays=FINAL.rays, prepared=prepared
    )


def _cover(found: Parking) -> tuple[CoverTime, ...]:
    """Stretches of days with the clock times at which a surface may see more than the threshold.

    Each stretch lies around a day that was traced, as long as the time between two of them. Its span holds all instants
    traced in it and in the stretches beside it, so that the days between and a change of the clock lie within, and is a
    step wider each way.
    """
    over = [spot.time_local for spot in found.spots if spot.flux + 2.0 * spot.flux_error > found.threshold]
    if not over:
        return ()
    year = found.path.times[0].year
    start = dt.date(year, 1, 1) - dt.timedelta(days=FINAL.days // 2)
    last = (dt.date(year, 12, 31) - start).days // FINAL.days
    minutes: dict[int, list[int]] = {}
    for time in over:
        block = min(last, max(0, (time.date() - start).days // FINAL.days))
        minutes.setdefault(block, []).append(time.hour * 60 + time.minute)
    step = int(found.path.step)
    spans = []
    for block in range(last + 1):
        # The year is a ring: the days before January are those of December.
        near = [m for k in (block - 1, block, block + 1) for m in minutes.get(k % (last + 1), [])]
        if not near:
            continue
        begins, ends = max(0, min(near) - step), min(24 * 60 - 1, max(near) + step)
        first = start + dt.timedelta(days=block * FINAL.days)
        spans.append(
            CoverTime(
                first_day=max(first, dt.date(year, 1, 1)),
                last_day=min(first + dt.timedelta(days=FINAL.days - 1), dt.date(year, 12, 31)),
                begins=dt.time(*divmod(begins, 60)), ends=dt.time(*divmod(ends, 60)),
            )
        )  # fmt: skip
    return tuple(spans)
