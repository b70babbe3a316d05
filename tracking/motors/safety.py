"""Poses that put the focus nowhere: defocus, emergency, wind and stow.

What a focus may fall on is not asked: a pose is safe where the light beyond the lens, from whichever side it comes,
is nowhere concentrated enough to set wood on fire, at any distance. So it holds for tubes, frame and ground alike,
and for whatever else stands there.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from raytrace.arrays import AnyArray, ArrayLike, Floats, Ints
from raytrace.compiling import default_threads
from raytrace.scene import RowPose, Scene
from tracking.actuator import Actuators, AxisName
from tracking.mount import Mount, lens_angles, lens_axes

IGNITION_FLUX = 4300.0
"""Least flux that ignites wood [W/m2]: V. Babrauskas, "Ignition of wood: a review of the state of the art", Interflam
2001, 71-88 (one study of long exposure)."""
STRONGEST_SUN = 1100.0
"""DNI [W/m2] taken for the strongest sun at the ground. Common practice, no source."""
MARGIN = 1.2
"""For a focus between two of the distances and directions traced, and for their noise. Chosen, no source."""
SAFE_CONCENTRATION = IGNITION_FLUX / STRONGEST_SUN / MARGIN
"""Concentration up to which a pose is safe."""

MAP_TRANSVERSAL = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 65.0, 80.0)
MAP_LONGITUDINAL = (0.0, 20.0, 35.0, 50.0, 65.0, 80.0)
MAP_DEPTHS = tuple(0.15 + 0.05 * k for k in range(22))
"""Distances below the lens, in focal lengths, at which the light is traced: the more skewed the sun, the nearer it
comes together."""
MAP_RAYS = 4096
MAP_LENGTH = 0.4
"""Share of the lens' length over whose light the flux is averaged along the grooves: there it is the same all along."""

POSE_STEP = 2.5
"""Step of the poses tried [deg]."""
BIN_TILT, BIN_SWIVEL = 10.0, 30.0
"""Size of the bins of poses in the emergency table [deg]."""
SKEWS = (-60.0, -40.0, -20.0, 0.0, 20.0, 40.0, 60.0)
"""Longitudinal angles [deg] at which a mount that follows in one angle alone may stand while it is aimed."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ConcentrationMap:
    """Highest concentration across the grooves, in strips of 10 mm of a plane parallel to the lens, at any distance.

    A surface that faces slanting light squarely sees more, by one over the cosine: what stands around is traced.

    `values` (2, t, l) of light from the front and from behind, at `transversal` (t,) and `longitudinal` (l,) angles
    from 0 on [deg]: a lens is alike on both sides. Those of light from behind are counted from the lens's back.
    """

    transversal: Floats
    longitudinal: Floats
    values: Floats

    def at(self, transversal: ArrayLike, longitudinal: ArrayLike, incidence: ArrayLike) -> Floats:
        """Concentration (n,) at angles [deg], linear between the nodes; beyond 90 deg light comes from behind."""
        t, g, turned = np.broadcast_arrays(
            *(np.abs(np.asarray(angle, dtype=np.float64)) for angle in (transversal, longitudinal, incidence))
        )
        side = (turned >= 90.0).astype(np.int64)
        row, across = _place(self.transversal, _from_its_side(t, side, self.transversal[-1]))
        column, along = _place(self.longitudinal, _from_its_side(g, side, self.longitudinal[-1]))
        low = self.values[side, row, column] * (1.0 - along) + self.values[side, row, column + 1] * along
        high = self.values[side, row + 1, column] * (1.0 - along) + self.values[side, row + 1, column + 1] * along
        return np.asarray(low * (1.0 - across) + high * across)

    def safe(self, transversal: ArrayLike, longitudinal: ArrayLike, incidence: ArrayLike) -> AnyArray:
        """Whether no focus is left at angles (n,) [deg]."""
        return np.asarray(self.at(transversal, longitudinal, incidence) <= SAFE_CONCENTRATION)


def _from_its_side(angle: Floats, side: Ints, largest: float) -> Floats:
    """Angles counted from the side of the lens that the light comes from, within the map [deg]."""
    return np.minimum(np.where(side == 1, 180.0 - angle, angle), largest)


def _place(nodes: Floats, where: Floats) -> tuple[Ints, Floats]:
    """Index of the node before each place, and the share of the way to the next one."""
    index = np.clip(np.searchsorted(nodes, where, side="right") - 1, 0, len(nodes) - 2)
    return index, (where - nodes[index]) / (nodes[index + 1] - nodes[index])


def concentration_map(scene: Scene) -> ConcentrationMap:
    """The map of a scene's lens, from short traces."""
    from raytrace.stray import lit_from_behind, single_tube

    # One thread for each side: traces so short gain nothing from threads of their own.
    with ThreadPoolExecutor(max_workers=min(2, default_threads())) as pool:
        front, behind = pool.map(_concentration, (single_tube(scene), lit_from_behind(scene)))
    return ConcentrationMap(
        transversal=np.array(MAP_TRANSVERSAL),
        longitudinal=np.array(MAP_LONGITUDINAL),
        values=np.stack([front, behind]),
    )


def _concentration(lone: Scene) -> Floats:
    """Highest concentration at the nodes of the map, (t, l), of light from the front of a scene with one tube."""
    from raytrace.stray import Face, stray_light
    from raytrace.trace import prepare

    prepared, lens = prepare(lone), lone.lens
    values = np.zeros((len(MAP_TRANSVERSAL), len(MAP_LONGITUDINAL)))
    length = MAP_LENGTH * lens.length
    for i, transversal in enumerate(MAP_TRANSVERSAL):
        for j, longitudinal in enumerate(MAP_LONGITUDINAL):
            slopes = np.tan(np.radians(transversal)), np.tan(np.radians(longitudinal))
            for depth in MAP_DEPTHS:
                below = depth * lens.focal_length
                # Around the ray through the middle of the lens; the light is there, or nowhere concentrated.
                corner = (-below * slopes[0] - lens.width, -below * slopes[1] - 0.5 * length, -below)
                plane = Face(
                    corner=(float(corner[0]), float(corner[1]), float(corner[2])), side_a=(1.0, 0.0, 0.0),
                    side_b=(0.0, 1.0, 0.0), length_a=2.0 * lens.width, length_b=length,
                )  # fmt: skip
                light = stray_light(
                    prepared, (plane,), transversal_angle=transversal, longitudinal_angle=longitudinal, rays=MAP_RAYS,
                    row=RowPose.level(0.0), missing_tube=0, threads=1,
                ).faces[0]  # fmt: skip
                values[i, j] = max(values[i, j], float(light.flux.mean(axis=1).max()))
    return values


@dataclass(frozen=True, kw_only=True, slots=True)
class WayOut:
    """From a pose to a safe one by one axis: its angle there [deg], and the time that the motor needs [s]."""

    axis: AxisName
    angle: float
    seconds: float


def axis_angles(limits: tuple[float, float] | None, around: float, step: float = POSE_STEP) -> Floats:
    """Angles of an axis to try [deg]: its range, or half a turn either side."""
    low, high = (around - 180.0, around + 180.0) if limits is None else limits
    return np.linspace(low, high, max(2, int(np.ceil((high - low) / step)) + 1))


def defocus(
    mount: Mount,
    actuators: Actuators,
    chart: ConcentrationMap,
    pose: tuple[float, float],
    sun: tuple[ArrayLike, ArrayLike],
) -> WayOut | None:
    """The nearest safe pose in motor time, by tilt or by swivel alone.

    Parameters
    ----------
    mount, actuators
        With their ranges.
    chart
        Where light is concentrated.
    pose
        Tilt and swivel now [deg].
    sun
        Azimuths and elevations [deg], one or more: the pose must be safe for all of them.

    Returns
    -------
    WayOut or None
        None if no pose of one axis is safe.
    """
    azimuth, elevation = (np.atleast_1d(np.asarray(part, dtype=np.float64)) for part in sun)
    best: WayOut | None = None
    for axis, drive in actuators.axes():
        here = pose[0] if axis == "tilt" else pose[1]
        angles = axis_angles(drive.limits, here)
        tilts = angles if axis == "tilt" else np.full_like(angles, pose[0])
        swivels = np.full_like(angles, pose[1]) if axis == "tilt" else angles
        seen = lens_angles(mount, tilts[:, np.newaxis], swivels[:, np.newaxis], azimuth, elevation)
        safe = chart.safe(seen.transversal, seen.longitudinal, seen.incidence).all(axis=1)
        seconds = drive.seconds(np.full_like(angles, here), angles)
        for angle, time in zip(angles[safe], seconds[safe], strict=True):
            if best is None or time < best.seconds:
                best = WayOut(axis=axis, angle=float(angle), seconds=float(time))
    return best


@dataclass(frozen=True, kw_only=True, slots=True)
class Stow:
    """The pose for nights and for a clock that is not set: the flattest that is safe wherever the sun stands.

    `concentration` is the largest concentration that the sun of the period makes there.
    """

    tilt: float
    swivel: float
    concentration: float

    @property
    def safe(self) -> bool:
        """Whether no sun of the period makes a focus there."""
        return self.concentration <= SAFE_CONCENTRATION


def stow_pose(mount: Mount, actuators: Actuators, chart: ConcentrationMap, azimuth: Floats, elevation: Floats) -> Stow:
    """The flattest pose that is safe under all of these suns (n,) [deg]; the least concentrated one if none is safe."""
    tilts = axis_angles(mount.tilt_limits, 0.0, 2.0 * POSE_STEP)
    limits = mount.swivel_limits
    one = limits is not None and limits[0] == limits[1]
    swivels = np.array([limits[0]]) if limits is not None and one else axis_angles(limits, 180.0, 6.0 * POSE_STEP)
    if len(azimuth) == 0:
        return Stow(tilt=float(tilts[np.argmin(np.abs(tilts))]), swivel=float(swivels[0]), concentration=0.0)
    found: list[Stow] = []
    home = actuators.swivel.home if actuators.swivel is not None else float(swivels[0])
    for tilt in tilts:
        seen = lens_angles(mount, float(tilt), swivels[:, np.newaxis], azimuth, elevation)
        worst = chart.at(seen.transversal, seen.longitudinal, seen.incidence).max(axis=1)
        found += [
            Stow(tilt=float(tilt), swivel=float(swivel), concentration=float(value))
            for swivel, value in zip(swivels, worst, strict=True)
        ]
    safe = [each for each in found if each.safe]
    if not safe:
        return min(found, key=lambda each: each.concentration)
    return min(safe, key=lambda each: (_lean(mount, each.tilt, each.swivel), abs(each.swivel - home)))


def _lean(mount: Mount, tilt: float, swivel: float) -> float:
    """Angle of the sheet from flat [deg]: what the wind sees."""
    up = float(lens_axes(mount, tilt, swivel).n[2])
    return float(np.degrees(np.arccos(np.clip(up, -1.0, 1.0))))


@dataclass(frozen=True, kw_only=True, slots=True)
class PoseBin:
    """A bin of aimed poses [deg], the ways out of it by each axis, and the one that lays the sheet flattest, for wind.

    None where no pose that the axis reaches is safe.
    """

    tilt: tuple[float, float]
    swivel: tuple[float, float]
    by_tilt: WayOut | None
    by_swivel: WayOut | None
    wind: WayOut | None

    @property
    def way_out(self) -> WayOut | None:
        """The shorter way."""
        ways = [way for way in (self.by_tilt, self.by_swivel) if way is not None]
        return min(ways, key=lambda way: way.seconds, default=None)


def pose_bins(mount: Mount, actuators: Actuators, chart: ConcentrationMap) -> tuple[PoseBin, ...]:
    """The emergency table: bins in order of tilt, then of swivel, each with ways that are safe from all of its poses.

    A mount with two axes is taken as aimed in both angles, one with a single axis as aimed across the grooves.
    """
    low, high = mount.tilt_limits
    tilts = np.linspace(low, high, max(1, int(np.ceil((high - low) / BIN_TILT))) + 1)
    limits = mount.swivel_limits or (0.0, 360.0)
    turn = limits[1] - limits[0]
    swivels = (
        np.array([limits[0], limits[0]])
        if turn == 0.0
        else np.linspace(limits[0], limits[1], max(1, int(np.ceil(turn / BIN_SWIVEL))) + 1)
    )
    skews = SKEWS if len(actuators.axes()) < 2 else (0.0,)
    return tuple(
        _pose_bin(mount, actuators, chart, (float(t0), float(t1)), (float(s0), float(s1)), skews)
        for t0, t1 in pairwise(tilts)
        for s0, s1 in pairwise(swivels)
    )


def _pose_bin(
    mount: Mount,
    actuators: Actuators,
    chart: ConcentrationMap,
    tilt: tuple[float, float],
    swivel: tuple[float, float],
    skews: tuple[float, ...],
) -> PoseBin:
    middle = (0.5 * sum(tilt), 0.5 * sum(swivel))
    turns = dict.fromkeys((swivel[0], middle[1], swivel[1]))
    corners = [(lean, turn) for lean in (tilt[0], middle[0], tilt[1]) for turn in turns]
    shortest: dict[AxisName, WayOut] = {}
    flattest: tuple[float, WayOut] | None = None
    for axis, drive in actuators.axes():
        here = middle[0] if axis == "tilt" else middle[1]
        angles = axis_angles(drive.limits, here)
        safe = np.ones(len(angles), dtype=np.bool_)
        for corner_tilt, corner_swivel in corners:
            axes = lens_axes(mount, corner_tilt, corner_swivel)
            for skew in skews:
                sun = np.cos(np.radians(skew)) * axes.n + np.sin(np.radians(skew)) * axes.y
                elevation = float(np.degrees(np.arcsin(np.clip(sun[2], -1.0, 1.0))))
                if elevation < 0.0:
                    continue  # no sun stands there
                azimuth = float(np.degrees(np.arctan2(sun[0], sun[1])))
                tilts = angles if axis == "tilt" else np.full_like(angles, corner_tilt)
                turned = np.full_like(angles, corner_swivel) if axis == "tilt" else angles
                seen = lens_angles(mount, tilts, turned, azimuth, elevation)
                safe &= chart.safe(seen.transversal, seen.longitudinal, seen.incidence)
        seconds = drive.seconds(np.full_like(angles, here), angles)
        for angle, time in zip(angles[safe], seconds[safe], strict=True):
            way = WayOut(axis=axis, angle=float(angle), seconds=float(time))
            if axis not in shortest or way.seconds < shortest[axis].seconds:
                shortest[axis] = way
            lean = _lean(mount, *((way.angle, middle[1]) if axis == "tilt" else (middle[0], way.angle)))
            if flattest is None or lean < flattest[0]:
                flattest = lean, way
    return PoseBin(
        tilt=tilt, swivel=swivel, by_tilt=shortest.get("tilt"), by_swivel=shortest.get("swivel"),
        wind=None if flattest is None else flattest[1],
    )  # fmt: skip
