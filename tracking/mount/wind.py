"""Wind on the sheet: its force, and the moments that a brake and a foot have to hold.

The force on a thin flat sheet stands at right angles to it, as pressure does; its friction is neglected. At a lens
height above the tilt axis the middle of the sheet still lies on the line along which such a force acts through that
axis: what turns the lens is the force's place off the middle, at a quarter of the sheet.
"""

import math
from dataclasses import dataclass

import numpy as np

from raytrace.scene import Scene
from tracking.mount.pose import Mount, Setting, equator_axes, lens_axes

WIND_SPEEDS = (8.0, 15.0, 25.0)
"""Gusts at the height of the sheet [m/s]: a fresh breeze, a near gale, a storm (Beaufort 5, 7 and 10; the scale's
limits of 8.0 to 10.7, 13.9 to 17.1 and 24.5 to 28.4 m/s are values from memory, to be confirmed)."""

FORCE_COEFFICIENTS = (
    (0.0, 0.5),
    (5.0, 0.7),
    (10.0, 0.9),
    (15.0, 1.1),
    (20.0, 1.3),
    (25.0, 1.6),
    (30.0, 1.8),
    (90.0, 1.8),
)
"""Force over gust pressure and area, by the inclination of the sheet against level [deg].

Up to 30 deg: the larger of the lifting and the pressing overall force on a free canopy with one slope and nothing below
it, EN 1991-1-4:2005, table 7.6 (the lifting one). Beyond: signboards, c_f = 1.80, clause 7.4.3. Values from memory, to
be confirmed. The mean force on a square plate across the wind is lower, 1.17 (S. F. Hoerner, Fluid-Dynamic Drag, 1965;
value from memory, to be confirmed); plates that lean by 35 to 45 deg draw more than upright ones, and gusts more than
the mean.
"""

OFF_MIDDLE = 0.25
"""Distance of the force from the middle of the sheet, over the sheet's length in that direction.

EN 1991-1-4:2005: canopies with one slope, clause 7.3 (6), a quarter of the length from the windward edge; signboards,
clause 7.4.3, +- 0.25 of the width. Values from memory, to be confirmed.
"""

SEA_LEVEL_PRESSURE = 101325.0  # [Pa], ISO 2533:1975
SEA_LEVEL_TEMPERATURE = 288.15  # [K], the same
LAPSE_RATE = 6.5e-3  # [K/m], the same
GAS_CONSTANT = 287.05287  # [J/(kg K)], of dry air, the same
GRAVITY = 9.80665  # [m/s2], the same


@dataclass(frozen=True, kw_only=True, slots=True)
class WindLoad:
    """What one gust does to the sheet at one setting.

    `force` stands at right angles to the sheet, `horizontal` and `vertical` are its parts (up or down) [N].
    `tilt_moment` and `swivel_moment` are those about the two axes of the mount [N m], with the wind from the worst
    side; `foot_moment` about the ground under the row, with the row's middle `foot_height` [m] above it, where a
    stay or a foundation has to hold the unit.
    """

    speed: float
    pressure: float
    force: float
    horizontal: float
    vertical: float
    tilt_moment: float
    swivel_moment: float
    foot_height: float
    foot_moment: float


def air_density(altitude: float) -> float:
    """Density of the air in the standard atmosphere, ISO 2533:1975, [kg/m3], at an altitude [m].

    Cold air is denser: by a tenth at -10 degC against the 15 degC of the standard.
    """
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * altitude
    exponent = GRAVITY / (GAS_CONSTANT * LAPSE_RATE)
    pressure = SEA_LEVEL_PRESSURE * (temperature / SEA_LEVEL_TEMPERATURE) ** exponent
    return float(pressure / (GAS_CONSTANT * temperature))


def force_coefficient(inclination: float) -> float:
    """Force over gust pressure and area of a sheet that leans against level by an angle in [0, 90] [deg]."""
    angles, values = zip(*FORCE_COEFFICIENTS, strict=True)
    return float(np.interp(inclination, angles, values))


def wind_load(
    mount: Mount, scene: Scene, setting: Setting, *, speed: float, altitude: float, foot_height: float
) -> WindLoad:
    """Force and moments of a gust on the sheet, from the worst direction.

    Parameters
    ----------
    mount, scene, setting
        What stands where.
    speed
        Of the gust at the height of the sheet [m/s].
    altitude
        Of the site, for the density of the air [m].
    foot_height
        Of the row's middle, where the axes cross, over the ground [m].
    """
    x, y, normal = lens_axes(mount, setting.tilt, setting.swivel)
    level = mount.grooves == "level"
    downhill = x if level else y
    slope_length, axis_length = (scene.lens.width, scene.lens.length)[:: 1 if level else -1]
    swivel_axis = equator_axes(mount)[0] if mount.kind == "polar" else np.array([0.0, 0.0, 1.0])
    inclination = math.degrees(math.atan2(math.hypot(normal[0], normal[1]), abs(normal[2])))
    pressure = 0.5 * air_density(altitude) * speed**2
    force = force_coefficient(inclination) * pressure * scene.lens.width * scene.lens.length
    horizontal = force * math.sin(math.radians(inclination))
    tilt_moment = force * OFF_MIDDLE * slope_length
    # A force off the middle along the tilt axis turns about the downhill direction: of that, the part about the swivel.
    swivel_moment = force * OFF_MIDDLE * axis_length * abs(float(downhill @ swivel_axis))
    return WindLoad(
        speed=speed,
        pressure=pressure,
        force=force,
        horizontal=horizontal,
        vertical=force * math.cos(math.radians(inclination)),
        tilt_moment=tilt_moment,
        swivel_moment=swivel_moment,
        foot_height=foot_height,
        foot_moment=horizontal * foot_height + tilt_moment,
    )
