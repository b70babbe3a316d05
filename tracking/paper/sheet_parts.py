"""What the sheet of a day and that of a season say alike: settings, azimuths, and where the power comes from."""

from tracking.mount import Mount, Setting
from tracking.paper.words import Words
from tracking.plans.marks import mount_axes
from tracking.scenefile import SceneFile
from tracking.sky.magnetic import Declination


def setting_cells(mount: Mount, setting: Setting) -> list[str]:
    """A setting as it is marked on the axes that somebody sets: the tilt, then the swivel or the hour angle."""
    tilts, swivels = mount_axes(mount)
    cells = [f"{setting.tilt:g}°"] if tilts else []
    if swivels:
        cells.append(f"{swivel_mark(mount, setting):g}°")
    return cells


def swivel_mark(mount: Mount, setting: Setting) -> float:
    """The swivel as an azimuth in [0, 360), or the hour angle of a polar mount [deg]."""
    return setting.swivel if mount.kind == "polar" else setting.swivel % 360.0


def azimuth_words(scene_file: SceneFile, declination: Declination | None, words: Words) -> str:
    """Where the lens leans to, or an example of a compass beside true north; nothing for a mount without azimuths."""
    mount = scene_file.mount
    if mount.kind == "tilt" and mount.facing is not None:
        return words.facing.format(azimuth=f"{mount.facing:g}")
    if mount.kind != "swivel-tilt":
        return ""
    if declination is None:
        return words.no_compass
    reading = declination.magnetic_azimuth(90.0)
    return words.compass_example.format(reading=f"{reading:.0f}", error=f"{declination.standard_error:.1f}")


def sky_words(scene_file: SceneFile, words: Words) -> str:
    """Which direct light the watts and shares of a sheet stand on."""
    sky = scene_file.sky
    if sky.source == "clear":
        return words.sky_clear
    if sky.source == "constant":
        return words.sky_constant.format(dni=f"{sky.dni:g}")
    return words.sky_file
