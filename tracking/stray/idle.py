"""A lens that nobody moves: the path of its focus over what stands around, through a stretch of time."""

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC

import numpy as np

from raytrace.arrays import AnyArray, Floats
from raytrace.stray import Face, FaceLight, lit_from_behind, stray_light
from raytrace.trace import PreparedScene, prepare
from tracking.mount import Setting, lens_angles, lens_axes, row_pose
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import sun_path
from tracking.sky.weather import direct_normal_irradiance
from tracking.stray.thresholds import THRESHOLDS
from tracking.surroundings import Surrounding, SurroundingFace, faces_around

Progress = Callable[[float], None]

RAYS = 1 << 15
"""Rays of each instant: a patch of a focal line of thirty suns then gets some hundreds of them."""

FEW_RAYS = 1 << 15
"""Rays below which sharing them among threads takes longer than tracing them."""

FINE_STEP = 3.0
"""Step [min] up to which a focal line moves by no more than its width, so that its marks on a map join up."""

LARGEST_INCIDENCE = 89.0
"""Angle of incidence on either face [deg] up to which an idle lens is traced; beyond, its aperture is nothing."""

BOARD_BEHIND = 0.15
"""Distance of the assumed board behind the tubes' axes [m]. Common practice, no source."""
GROUND_BELOW, GROUND_SIZE = 1.0, 6.0
"""Depth of the assumed ground below the tubes' axes and its sides [m]. Common practice, no source."""


def surroundings_of(scene_file: SceneFile) -> tuple[Surrounding, ...]:
    """What stands around: the scene's own list, or an assumed wooden board behind the tubes and dry grass below."""
    if scene_file.surroundings:
        return scene_file.surroundings
    lens, tubes = scene_file.scene.lens, scene_file.scene.tubes
    return (
        Surrounding(
            name="board (assumed)", shape="plane", size=(lens.width, max(lens.length, tubes.length)),
            place=(0.0, 0.0, -BOARD_BEHIND), fixed_to="lens", material="wood",
        ),
        Surrounding(
            name="ground (assumed)", shape="plane", size=(GROUND_SIZE, GROUND_SIZE), place=(0.0, 0.0, -GROUND_BELOW),
            fixed_to="ground", material="plants",
        ),
    )  # fmt: skip


def mirrored(face: Face, thickness: float) -> Face:
    """A face of the lens frame in the frame of `raytrace.stray.lit_from_behind`; places along its sides stay."""
    (ax, ay, az), (bx, by, bz), (x, y, z) = face.side_a, face.side_b, face.corner
    return replace(face, corner=(x, y, thickness - z), side_a=(ax, ay, -az), side_b=(bx, by, -bz))


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """The brightest patch of a face at one instant: flux and its standard error [W/m2], by so many rays.

    `place`, and `centre` of the light on the face, are counted from the middle of the face along its two sides, `point`
    is the place from the middle of the row to the east, north and up [m].
    """

    time_local: dt.datetime
    face: int
    flux: float
    flux_error: float
    rays: int
    place: tuple[float, float]
    centre: tuple[float, float]
    point: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FacePath:
    """What one face sees through the stretch of time.

    `highest` (patches a, patches b) is the highest flux of each patch [W/m2]; `above` (thresholds, patches a,
    patches b) the time for which each patch sees at least each of THRESHOLDS [min]; `spots` its brightest patch at each
    lit instant; `worst` the brightest of them, None where no light lands; `power` the most light that lands on it [W].
    """

    face: SurroundingFace
    highest: Floats
    above: AnyArray
    spots: tuple[Spot, ...]
    worst: Spot | None
    power: float

    @property
    def minutes(self) -> tuple[float, ...]:
        """For each of THRESHOLDS, the longest time for which one patch sees at least that much [min]."""
        return tuple(float(each.max()) for each in self.above)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class IdlePath:
    """Poses of the lens at instants `step` [min] apart; `lit` of them have the sun on the lens, on either side of it.

    `setting` is the last pose, and the only one where nobody moves the lens; `tubes` the most light that reaches the
    absorber of each tube [W]. `refined` says whether peaks were looked for between the instants too.
    """

    setting: Setting
    times: tuple[dt.datetime, ...]
    step: float
    lit: int
    rays: int
    faces: tuple[FacePath, ...]
    tubes: tuple[float, ...]
    refined: bool = False

    @property
    def worst(self) -> Spot | None:
        """The brightest spot on any face; None where the focus meets none."""
        spots = [each.worst for each in self.faces if each.worst is not None]
        return max(spots, key=lambda spot: spot.flux, default=None)

    def burning(self) -> list[Spot]:
        """The spots on faces that can burn, in order of time."""
        spots = [spot for each in self.faces if each.face.surrounding.burns for spot in each.spots]
        return sorted(spots, key=lambda spot: spot.time_local)

    def first_fire(self, threshold: float) -> Spot | None:
        """The first spot of at least this flux [W/m2] on a face that can burn."""
        return next((spot for spot in self.burning() if spot.flux >= threshold), None)


def idle_path(
    scene_file: SceneFile,
    setting: Setting,
    times: Sequence[dt.datetime],
    *,
    step: dt.timedelta,
    rays: int = RAYS,
    missing_tube: int | None = None,
    prepared: PreparedScene | None = None,
    progress: Progress | None = None,
) -> IdlePath:
    """The path of the focus at a setting that nobody changes.

    Parameters
    ----------
    scene_file
        The scene, with what stands around.
    setting
        Tilt and swivel of the mount [deg].
    times
        Aware instants that rise, `step` apart while the sun is up.
    rays
        Rays of each instant.
    missing_tube
        Number of a broken tube, from 0 along the row.
    prepared
        The scene, prepared before, for another sheet than the file's.

    Raises
    ------
    ValueError
        If a lens cannot be built or faces have too many patches.
    """
    return _followed(
        scene_file, [setting] * len(times), times, final=setting, step=step, rays=rays, missing_tube=missing_tube,
        prepared=prepared, progress=progress,
    )  # fmt: skip


def focus_path(
    scene_file: SceneFile,
    settings: Sequence[Setting],
    times: Sequence[dt.datetime],
    *,
    step: dt.timedelta,
    rays: int = RAYS,
    missing_tube: int | None = None,
    progress: Progress | None = None,
) -> IdlePath:
    """As `idle_path`, at a setting for each instant, of which there is one at least.

    What stands on the ground moves in the frame of the lens.
    """
    return _followed(
        scene_file, settings, times, final=settings[-1], step=step, rays=rays, missing_tube=missing_tube,
        prepared=None, progress=progress,
    )  # fmt: skip


def _followed(
    scene_file: SceneFile, settings: Sequence[Setting], times: Sequence[dt.datetime], *, final: Setting,
    step: dt.timedelta, rays: int, missing_tube: int | None, prepared: PreparedScene | None, progress: Progress | None,
) -> IdlePath:
    mount, scene = scene_file.mount, scene_file.scene
    prepared = prepare(scene) if prepared is None else prepared
    path = sun_path(scene_file.site, [time.astimezone(UTC) for time in times])
    dni = direct_normal_irradiance(scene_file.sky, scene_file.site, path)
    tilts, swivels = (np.array([each[k] for each in settings], dtype=np.float64) for k in range(2))
    seen = lens_angles(mount, tilts, swivels, path.azimuth, path.elevation)
    behind = seen.incidence > 180.0 - LARGEST_INCIDENCE
    up = ((seen.incidence < LARGEST_INCIDENCE) | behind) & (np.asarray(path.elevation) > 0.0) & (dni > 0.0)
    back = prepare(lit_from_behind(prepared.scene)) if (up & behind).any() else None
    around = surroundings_of(scene_file)
    faces = faces_around(around, mount, final.tilt, final.swivel, scene.lens_height)
    sums = [_FaceSums(each, k) for k, each in enumerate(faces)]
    tubes = np.zeros(scene.tubes.count)
    minutes = step.total_seconds() / 60.0
    below = np.array([0.0, 0.0, scene.lens_height])
    for k in np.flatnonzero(up).tolist():
        faces = faces_around(around, mount, settings[k].tilt, settings[k].swivel, scene.lens_height)
        axes = np.stack(lens_axes(mount, settings[k].tilt, settings[k].swivel))
        aperture = scene.lens.width * scene.lens.length * abs(float(np.cos(np.radians(seen.incidence[k]))))
        threads = 1 if rays < FEW_RAYS else None
        if back is not None and behind[k]:
            found = stray_light(
                back, [mirrored(each.face, scene.lens.thickness) for each in faces],
                transversal_angle=_from_behind(seen.transversal[k]),
                longitudinal_angle=_from_behind(seen.longitudinal[k]), rays=rays, missing_tube=0, threads=threads,
            )  # fmt: skip
        else:
            found = stray_light(
                prepared, [each.face for each in faces], transversal_angle=float(seen.transversal[k]),
                longitudinal_angle=float(seen.longitudinal[k]), rays=rays,
                row=row_pose(mount, settings[k].tilt, scene.tubes.angle_to_grooves), missing_tube=missing_tube,
                threads=threads,
            )  # fmt: skip
            np.maximum(tubes, float(dni[k]) * aperture * np.array([each.value for each in found.tubes]), out=tubes)
        local = times[k].astimezone(scene_file.site.zone)
        for each, face in zip(sums, faces, strict=True):
            light = found.faces[each.number]
            point = axes.T @ (face.face.point(*light.peak_place) + below)
            each.add(light, local, float(dni[k]), aperture, minutes, point, found.rays)
        if progress is not None:
            progress((k + 1) / len(times))
    return IdlePath(
        setting=final, times=tuple(times), step=minutes, lit=int(up.sum()), rays=rays,
        faces=tuple(each.result() for each in sums), tubes=tuple(tubes.tolist()),
    )  # fmt: skip


def _from_behind(angle: float) -> float:
    """A projected angle [deg] of a sun behind the lens, counted from the other direction of the normal."""
    return float(math.copysign(180.0 - abs(angle), angle))


class _FaceSums:
    """What is gathered on one face while time passes."""

    def __init__(self, face: SurroundingFace, number: int) -> None:
        self.face = face
        self.number = number
        self.highest = np.zeros(face.face.patches)
        self.above = np.zeros((len(THRESHOLDS), *face.face.patches), dtype=np.float32)
        self.spots: list[Spot] = []
        self.power = 0.0

    def add(
        self, light: FaceLight, local: dt.datetime, dni: float, aperture: float, minutes: float, point: Floats,
        rays: int,
    ) -> None:
        self.power = max(self.power, dni * aperture * light.fraction.value)
        if light.fraction.value <= 0.0:
            return
        flux = dni * light.flux
        np.maximum(self.highest, flux, out=self.highest)
        for k, each in enumerate(THRESHOLDS):
            if light.peak.value * dni >= 0.5 * each.flux:
                self.above[k] += np.where(flux >= each.flux, np.float32(minutes), np.float32(0.0))
        if light.peak.value <= 0.0:
            return
        middle = 0.5 * self.face.face.length_a, 0.5 * self.face.face.length_b
        self.spots.append(
            Spot(
                time_local=local, face=self.number, flux=dni * light.peak.value,
                flux_error=dni * light.peak.standard_error, rays=rays,
                point=(float(point[0]), float(point[1]), float(point[2])),
                place=(light.peak_place[0] - middle[0], light.peak_place[1] - middle[1]),
                centre=(light.centre[0] - middle[0], light.centre[1] - middle[1]),
            )
        )  # fmt: skip

    def result(self) -> FacePath:
        return FacePath(
            face=self.face,
            highest=self.highest,
            above=self.above,
            spots=tuple(self.spots),
            worst=max(self.spots, key=lambda spot: spot.flux, default=None),
            power=self.power,
        )
