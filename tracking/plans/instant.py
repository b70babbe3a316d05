"""Sun, sky, settings and angles of the lens at given instants; no ray is traced here."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from raytrace.scene import RowPose
from tracking.mount import Mount, Setting, aim_path, lens_angles, row_pose, tube_slope
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import sun_path
from tracking.sky.weather import direct_normal_irradiance


@dataclass(frozen=True, kw_only=True, slots=True)
class SunInLens:
    """The sun's angles in the lens frame at one instant [deg]."""

    transversal: float
    longitudinal: float
    incidence: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Aim:
    """The lens aimed at the sun: setting, angles in the lens frame, how the row lies, slope of its tubes [deg]."""

    setting: Setting
    angles: SunInLens
    row: RowPose
    tube_slope: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Instant:
    """One instant at the site: angles in [deg], DNI in [W/m2]; `aim` is None where nothing is aimed."""

    time_utc: datetime
    time_local: datetime
    solar_azimuth: float
    solar_elevation: float
    dni: float
    aim: Aim | None


def instants_at(scene_file: SceneFile, times: Sequence[datetime]) -> tuple[Instant, ...]:
    """Sun, DNI and aim at each of `times`, which rise and know their zone; the settings follow each other closely.

    Raises
    ------
    InputError
        If the sky of the scene cannot tell the DNI at one of them.
    """
    if not times:
        return ()
    site, mount = scene_file.site, scene_file.mount
    path = sun_path(site, [time.astimezone(UTC) for time in times])
    dni = direct_normal_irradiance(scene_file.sky, site, path)
    azimuth, elevation = [float(a) for a in path.azimuth], [float(e) for e in path.elevation]
    settings = aim_path(mount, azimuth, elevation)
    turn = scene_file.scene.tubes.angle_to_grooves

    def aim_at(k: int) -> Aim | None:
        setting = settings[k]
        if setting is None:
            return None
        return Aim(
            setting=setting,
            angles=_sun_in_lens(mount, setting, azimuth[k], elevation[k]),
            row=row_pose(mount, setting.tilt, turn),
            tube_slope=tube_slope(mount, setting.tilt, setting.swivel, turn),
        )

    return tuple(
        Instant(
            time_utc=time.astimezone(UTC),
            time_local=time.astimezone(site.zone),
            solar_azimuth=azimuth[k],
            solar_elevation=elevation[k],
            dni=float(dni[k]),
            aim=aim_at(k),
        )
        for k, time in enumerate(times)
    )


def _sun_in_lens(mount: Mount, setting: Setting, azimuth: float, elevation: float) -> SunInLens:
    angles = lens_angles(mount, setting.tilt, setting.swivel, azimuth, elevation)
    return SunInLens(
        transversal=float(angles.transversal),
        longitudinal=float(angles.longitudinal),
        incidence=float(angles.incidence),
    )
