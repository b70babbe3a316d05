"""The path that the drives can follow through a day: strict aim where they keep up, else the path that loses least.

Where the sun passes near the zenith a swivel would have to spin, and where its range ends it would have to run back. A
line focus bears an error along itself, so the drive may lag or lead there: the settings on a grid of swivels, each with
the tilt that suits it best, and the strict aims of both branches (A, T) and (A + 180, -T), are the nodes of a graph
whose cheapest path in lost energy is found stage by stage (R. Bellman, Dynamic Programming, 1957).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from raytrace.arrays import AnyArray, Floats, Ints
from tracking.actuator import Actuators
from tracking.errors import InputError
from tracking.mount import MIN_ELEVATION, ZENITH_CONE, Mount, aim_path, lens_angles, lens_axes, sun_vector
from tracking.scenefile import SceneFile
from tracking.scenefile.actuators import AXES_OF_KIND

AbsorbedFraction = Callable[[Floats, Floats, Floats], Floats]
"""Absorbed fraction of the aperture power (n,) at transversal angles, longitudinal angles and tilts (n,) [deg]."""

GRID_STEP = 2.0
"""Step of the swivels tried besides the strict ones [deg], at most: half of it costs 0.02 % of the aperture at most."""
MOST_SWIVELS = 400
"""Steps of the swivels tried at an instant, about. A drive too slow for steps that wide plans by longer stages."""
STEPS_A_STAGE = 2
"""Steps that a drive at full speed takes from stage to stage, at least: with less it could not run at all."""
SPEED_MARGIN = 1e-6
"""Relative: a drive that is just fast enough is fast enough."""
LEAST_AROUND = 1800.0
"""Time [s] before and after a step that is too fast in which the path may leave the strict aim, at least."""
OFF_AIM = 0.1
"""Angle [deg] by which a path must leave the strict aim to be called over the zenith."""
HIGH_SUN = 60.0
"""Elevation [deg] above which such a path counts as over the zenith, below it as an end of the range."""
TRAVEL_COST = 1e-7
"""Share of the aperture power that a degree of swivel costs: it decides between paths that lose the same."""
CENTIDEGREE = 0.01


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Track:
    """A path of both axes; arrays (n,), angles in [deg], times in seconds since 1970 UTC.

    `strict_tilt`, `strict_swivel` are the settings of a mount whose motors keep up with everything.
    `over_zenith` marks all from the first to the last instant at which the path leaves them, or the swivel rests, with
    the sun near the zenith.
    """

    seconds: Floats
    azimuth: Floats
    elevation: Floats
    tilt: Floats
    swivel: Floats
    strict_tilt: Floats
    strict_swivel: Floats
    over_zenith: AnyArray

    def __len__(self) -> int:
        return len(self.seconds)

    def part(self, here: slice) -> "Track":
        """The path through some of its instants."""
        return Track(**{each.name: getattr(self, each.name)[here] for each in fields(self)})


def driven_mount(scene_file: SceneFile, actuators: Actuators | None = None) -> Mount:
    """The mount with the ranges that its drives leave it; the scene's own drives where none are given.

    Raises
    ------
    InputError
        If an axis of the mount has no drive.
    """
    mount, drives = scene_file.mount, scene_file.actuators if actuators is None else actuators
    needed = AXES_OF_KIND[mount.kind]
    if not needed:
        raise InputError(
            file=str(scene_file.path),
            key="mount.kind",
            problem="a fixed lens has no motors, so there are no setpoints",
            allowed='Allowed: kind = "swivel-tilt", "tilt" or "polar".',
        )
    for axis in needed:
        if getattr(drives, axis) is None:
            raise InputError(
                file=str(scene_file.path),
                key=f"actuators.{axis}",
                problem="this table is missing: setpoints need a drive for each axis of the mount",
                allowed=(
                    f'Allowed: a table that begins with [actuators.{axis}], such as kind = "rotary", '
                    'counts_per_degree = 8.8889, gear = 50, speed = "1 deg/s".'
                ),
            )
    tilt, swivel = drives.tilt, drives.swivel
    changed = mount
    if tilt is not None and tilt.limits is not None:
        changed = replace(changed, tilt_range=tilt.limits)
    if swivel is not None and swivel.limits is not None:
        changed = replace(changed, swivel_range=swivel.limits)
    return changed


def follow(
    *,
    mount: Mount,
    actuators: Actuators,
    absorbed: AbsorbedFraction,
    seconds: Floats,
    azimuth: Floats,
    elevation: Floats,
    dni: Floats,
    speed_share: float = 1.0,
) -> Track:
    """The path through one span of aimed instants.

    Parameters
    ----------
    mount : Mount
        With the ranges of its drives, see `driven_mount`.
    actuators : Actuators
        Speeds and ranges.
    absorbed : callable
        What the row absorbs at a direction of the sun.
    seconds, azimuth, elevation, dni : (n,) float
        Evenly spaced instants of one day, the sun at MIN_ELEVATION or above [s, deg, deg, W/m2].
    speed_share : float
        Share of their speed that the drives may use on the way.

    Returns
    -------
    Track
        Within the ranges, and no faster than the drives where a path within their speed exists.

    Raises
    ------
    ValueError
        If the sun stands below MIN_ELEVATION at one of the instants.
    """
    settings = aim_path(mount, azimuth, elevation)
    if any(setting is None for setting in settings):
        raise ValueError(f"the sun must stand at {MIN_ELEVATION:g} deg or above at every instant of a track.")
    strict = np.array([(setting.tilt, setting.swivel) for setting in settings if setting is not None]).reshape(-1, 2)
    strict_tilt, strict_swivel = strict[:, 0], strict[:, 1]
    tilt, swivel = strict_tilt, strict_swivel
    left = np.zeros(len(seconds), dtype=np.bool_)
    late = _late_steps(actuators, seconds, tilt, swivel, speed_share)
    if len(late):
        graph = _Graph(
            mount=mount, actuators=actuators, absorbed=absorbed, seconds=seconds, azimuth=azimuth, elevation=elevation,
            dni=dni, tilt=strict_tilt, swivel=strict_swivel, speed_share=speed_share,
        )  # fmt: skip
        swivel, tilt = graph.mended(late)
        here = lens_angles(mount, tilt, swivel, azimuth, elevation)
        best = lens_angles(mount, strict_tilt, strict_swivel, azimuth, elevation)
        off = np.maximum(
            np.abs(here.transversal) - np.abs(best.transversal), np.abs(here.longitudinal) - np.abs(best.longitudinal)
        )
        left = off > OFF_AIM
    near = elevation > 90.0 - ZENITH_CONE
    over = np.flatnonzero((near | (left & (elevation > HIGH_SUN))) & (mount.kind == "swivel-tilt"))
    over_zenith = np.zeros(len(seconds), dtype=np.bool_)
    if len(over):
        over_zenith[over[0] : over[-1] + 1] = True
    return Track(
        seconds=seconds,
        azimuth=azimuth,
        elevation=elevation,
        tilt=tilt,
        swivel=swivel,
        strict_tilt=strict_tilt,
        strict_swivel=strict_swivel,
        over_zenith=over_zenith,
    )


def _late_steps(actuators: Actuators, seconds: Floats, tilt: Floats, swivel: Floats, speed_share: float) -> Ints:
    """Steps of a path that are too fast for a drive."""
    room = np.diff(seconds) * speed_share * (1.0 + SPEED_MARGIN)
    late = np.zeros(len(room), dtype=np.bool_)
    for axis, drive in actuators.axes():
        angles = tilt if axis == "tilt" else swivel
        late |= drive.seconds(angles[:-1], angles[1:]) > room
    return np.flatnonzero(late)


def best_tilt(mount: Mount, swivel: Floats, azimuth: Floats, elevation: Floats) -> Floats:
    """The tilt within the range that leaves the least angles at a swivel; all broadcast together [deg].

    The sun's angle from the upright towards the lean is the tilt that is wanted; beyond an end of the range the nearer
    end is taken.
    """
    upright = lens_axes(mount, np.zeros_like(swivel), swivel)
    downhill = upright.x if mount.grooves == "level" else upright.y
    sun = sun_vector(azimuth, elevation)
    lean = np.degrees(np.arctan2(np.sum(sun * downhill, axis=-1), np.sum(sun * upright.n, axis=-1)))
    wanted = -lean if mount.kind == "polar" else lean
    low, high = mount.tilt_limits
    nearer = np.where(np.cos(np.radians(wanted - low)) >= np.cos(np.radians(wanted - high)), low, high)
    return np.asarray(np.where((wanted >= low) & (wanted <= high), wanted, nearer))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Graph:
    """A day's strict aim and all that a better path is judged by; arrays (n,)."""

    mount: Mount
    actuators: Actuators
    absorbed: AbsorbedFraction
    seconds: Floats
    azimuth: Floats
    elevation: Floats
    dni: Floats
    tilt: Floats
    swivel: Floats
    speed_share: float

    def mended(self, late: Ints) -> tuple[Floats, Floats]:
        """Swivels and tilts (n,) of a path without the steps that are too fast.

        Only the hours around those steps are planned anew, from strict aim to strict aim; the whole day where that
        cannot be done.
        """
        count = len(self.seconds)
        step = float(np.min(np.diff(self.seconds)))
        drive = self.actuators.swivel
        low, high = _swivel_span(self.mount, self.swivel)
        turn = 0.0 if drive is None else float(drive.seconds(low, min(high, low + 360.0))) / self.speed_share
        around = int(np.ceil(max(LEAST_AROUND, 2.0 * turn) / step))
        first, last = max(0, int(late[0]) - around), min(count - 1, int(late[-1]) + 1 + around)
        found = self._cheapest(first, last, pinned=True)
        if found is None:
            first, last = 0, count - 1
            found = self._cheapest(first, last, pinned=False)
        swivel, tilt = self.swivel.copy(), self.tilt.copy()
        if found is not None:
            swivel[first : last + 1], tilt[first : last + 1] = found
        return swivel, tilt

    def _cheapest(self, first: int, last: int, *, pinned: bool) -> tuple[Floats, Floats] | None:
        """The path that loses the least energy from one instant to another; `pinned` to the strict aim at its ends.

        A drive too slow for the grid plans by stages of several instants, and runs evenly from stage to stage.
        """
        step, every = _grid(self.actuators, self.mount, self.swivel, self.seconds, self.speed_share)
        here = np.unique(np.append(np.arange(first, last, every), last))
        seconds, azimuth, elevation = self.seconds[here], self.azimuth[here], self.elevation[here]
        swivels = _swivels(self.mount, self.swivel[here], azimuth, step)
        tilts = best_tilt(self.mount, swivels, azimuth[:, np.newaxis], elevation[:, np.newaxis])
        swivels = np.concatenate([swivels, self.swivel[here, np.newaxis]], axis=1)
        tilts = np.concatenate([tilts, self.tilt[here, np.newaxis]], axis=1)
        gain = _power_share(self.mount, self.absorbed, tilts, swivels, azimuth, elevation)
        weight = np.gradient(seconds) * self.dni[here] if len(seconds) > 1 else self.dni[here]
        cost = (1.0 - gain) * weight[:, np.newaxis]
        if pinned and first > 0:
            cost[0, :-1] = np.inf
        if pinned and last < len(self.seconds) - 1:
            cost[-1, :-1] = np.inf
        room = np.diff(seconds) * self.speed_share * (1.0 + SPEED_MARGIN)
        travels = [
            (drive.linkage.travel(tilts if axis == "tilt" else swivels), drive.speed)
            for axis, drive in self.actuators.axes()
        ]
        total, came_from = cost[0], []
        for stage in range(1, len(seconds)):
            way = total[:, np.newaxis] + TRAVEL_COST * weight[stage] * np.abs(
                swivels[stage - 1][:, np.newaxis] - swivels[stage][np.newaxis, :]
            )
            for travel, speed in travels:
                gap = np.abs(travel[stage - 1][:, np.newaxis] - travel[stage][np.newaxis, :])
                # NaN, beyond the triangle of an arm, is no way either.
                way = np.where(gap <= speed * room[stage - 1], way, np.inf)
            best = np.argmin(way, axis=0)
            came_from.append(best)
            total = way[best, np.arange(way.shape[1])] + cost[stage]
            if not np.isfinite(total).any():
                if pinned:
                    return None
                # No drive can do this step: run after the sun from wherever that costs least, and be late.
                total = cost[stage].copy()
        picks = [int(np.argmin(total))]
        for best in reversed(came_from):
            picks.append(int(best[picks[-1]]))
        picks.reverse()
        stages = np.arange(len(seconds))
        swivel, tilt = swivels[stages, picks], tilts[stages, picks]
        if every == 1:
            return swivel, tilt
        between = slice(first, last + 1)
        swivel = np.interp(self.seconds[between], seconds, swivel)
        return swivel, best_tilt(self.mount, swivel, self.azimuth[between], self.elevation[between])


def _grid(
    actuators: Actuators, mount: Mount, strict: Floats, seconds: Floats, speed_share: float
) -> tuple[float, int]:
    """Step of the swivels to try [deg], and instants from one stage of the search to the next.

    The swivel's way at full speed is a whole number of steps: a grid coarser than that way would hold a slow drive
    fast at its nodes.
    """
    drive = actuators.swivel
    if drive is None or len(seconds) < 2:
        return GRID_STEP, 1
    low, high = _swivel_span(mount, strict)
    speed = float(np.min(drive.angular_speed(np.linspace(low, high, MOST_SWIVELS)))) * speed_share
    way = speed * float(np.min(np.diff(seconds)))
    finest = min(GRID_STEP, (high - low) / MOST_SWIVELS)
    every = max(1, math.ceil(STEPS_A_STAGE * finest / way))
    return way * every / max(STEPS_A_STAGE, math.ceil(way * every / GRID_STEP)), min(every, len(seconds) - 1)


def _swivel_span(mount: Mount, strict: Floats) -> tuple[float, float]:
    """Lowest and highest swivel to try [deg]: the range, or a turn beyond the strict ones either side."""
    limits = mount.swivel_limits
    return limits if limits is not None else (float(strict.min()) - 360.0, float(strict.max()) + 360.0)


def _swivels(mount: Mount, strict: Floats, azimuth: Floats, step: float) -> Floats:
    """Swivels (n, k) to try: a grid over the range, and both branches of the strict aim with their whole turns."""
    low, high = _swivel_span(mount, strict)
    if low == high:
        return np.full((len(strict), 1), low)
    grid = np.append(np.arange(low, high, step), high)
    turns = np.arange(0.0, high - low + 180.0, 180.0)
    faced = azimuth if mount.kind != "polar" else strict
    branches = low + (faced - low)[:, np.newaxis] % 180.0 + turns[np.newaxis, :]
    branches = np.where(branches <= high, branches, strict[:, np.newaxis])
    return np.concatenate([np.broadcast_to(grid, (len(strict), len(grid))), branches], axis=1)


def _power_share(
    mount: Mount, absorbed: AbsorbedFraction, tilt: Floats, swivel: Floats, azimuth: Floats, elevation: Floats
) -> Floats:
    """Power absorbed at settings (n, k), over DNI times the aperture."""
    shape = tilt.shape
    sun = np.repeat(azimuth, shape[1]), np.repeat(elevation, shape[1])
    share = power_share(mount, absorbed, tilt.ravel(), swivel.ravel(), *sun)
    return share.reshape(shape)


def power_share(
    mount: Mount, absorbed: AbsorbedFraction, tilt: Floats, swivel: Floats, azimuth: Floats, elevation: Floats
) -> Floats:
    """Power absorbed (n,) over DNI times the aperture: absorbed fraction times cosine of the incidence angle."""
    angles = lens_angles(mount, tilt, swivel, azimuth, elevation)
    cosine = np.cos(np.radians(angles.incidence))
    ahead = cosine > CENTIDEGREE
    share = np.zeros(len(tilt))
    share[ahead] = cosine[ahead] * absorbed(angles.transversal[ahead], angles.longitudinal[ahead], tilt[ahead])
    return share


def absorbed_fraction(scene_file: SceneFile, progress: Callable[[float], None] | None = None) -> AbsorbedFraction:
    """The absorbed fraction from the response table of a scene."""
    from tracking.response import response_table

    table = response_table(scene_file, progress=progress)

    def at(transversal: Floats, longitudinal: Floats, tilt: Floats) -> Floats:
        return np.asarray(table.at(transversal, longitudinal, tilt).absorbed.sum(axis=1))

    return at
