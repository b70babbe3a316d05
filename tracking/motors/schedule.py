"""A period's schedule: for each day the path, the moves, the way out in the morning and home at night, and the costs.

A motor day runs over 24 h of UTC from the site's mean midnight, rounded to an hour, so that no path is cut in the
middle of a sunny day. States: "stowed" at night, "waiting" at the first setpoint before the sun is high enough,
"tracking", and "over zenith" where the path leaves the strict aim, or the swivel rests, near the zenith. "Waiting" is
also a lens whose sun has left the ranges and comes back. Nothing is aimed before the first and after the last instant
that brings DIMMEST of the day's best power to the tubes: a lens that went on would put its focus beside them.
"""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from raytrace.arrays import AnyArray, Floats
from tracking.actuator import Actuator, Actuators, AxisName
from tracking.errors import InputError
from tracking.motors.mount_errors import NO_ERRORS, MountErrors, corrected_actuators, seen_sun
from tracking.motors.safety import ConcentrationMap, Stow, concentration_map, stow_pose
from tracking.motors.strategy import (
    FINE_STEP,
    Followed,
    Move,
    fine_times,
    follow_dead_band,
    follow_interval,
    make_move,
    motor_seconds,
    worst_duty,
)
from tracking.motors.track import AbsorbedFraction, Track, absorbed_fraction, driven_mount, follow, power_share
from tracking.mount import MIN_ELEVATION, Mount, aim_path
from tracking.plans.marks import DIMMEST
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import SunPath, sun_path
from tracking.sky.weather import direct_normal_irradiance

State = Literal["tracking", "waiting", "stowed", "over zenith"]
STATE_WORDS: dict[State, str] = {
    "tracking": "tracking",
    "waiting": "waiting for sun",
    "stowed": "stowed",
    "over zenith": "over the zenith",
}

GRID_SECONDS = 60
"""Step of the paths [s]; between two instants of it both axes move evenly in counts."""
DAY_SECONDS = 86400
HOUR_SECONDS = 3600
WAIT_MARGIN = 300
"""Time [s] by which the lens stands at its first setpoint before it is needed. Chosen, no source."""
SAFE_DUTY = 0.5
"""Share of the allowed motor time that the long ways of morning and evening may use, as others run beside them."""
SPEED_SHARES = (1.0, 0.5)
"""Shares of the drives' speed tried on the path; where a duty cycle breaks, the path is planned again with less."""
MOST_PATH_LOSS = 0.1
"""Share of the day's energy that a slower path may lose to save a duty cycle; beyond, the plan is refused. Chosen."""
STOW_SUNS = 40
"""Days of the period whose suns the stow pose is tried under, at most."""
STOW_STEP_MINUTES = 20
BEHIND = 1e-4
"""Power share that counts as none."""

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Drive:
    """All that schedules of a scene have in common."""

    scene_file: SceneFile
    mount: Mount
    actuators: Actuators
    absorbed: AbsorbedFraction
    chart: ConcentrationMap
    stow: Stow
    errors: MountErrors = NO_ERRORS
    """Of the real mount, where it was calibrated: `mount` and `actuators` hold them, angles are those of its base."""

    def sun(self, times: Sequence[dt.datetime]) -> tuple[Floats, Floats, SunPath]:
        """Azimuth and elevation (n,) of the sun against the mount's base [deg], and the true path of the sun."""
        path = sun_path(self.scene_file.site, times)
        azimuth, elevation = seen_sun(self.mount, self.errors, path.azimuth, path.elevation)
        return azimuth, elevation, path


@dataclass(frozen=True, kw_only=True, slots=True)
class Losses:
    """Energies of a day [J]: absorbed with perfect aiming, along the path, and with the motors' moves."""

    perfect: float
    path: float
    moved: float

    @property
    def path_loss(self) -> float:
        """Share of the energy that the path loses against perfect aiming."""
        return 0.0 if self.perfect <= 0.0 else 1.0 - self.path / self.perfect

    @property
    def loss(self) -> float:
        """Share of the energy that path and moves lose against perfect aiming."""
        return 0.0 if self.perfect <= 0.0 else 1.0 - self.moved / self.perfect


@dataclass(frozen=True, kw_only=True, slots=True)
class AxisLoad:
    """What a day asks of a motor: moves, time that it runs [s], and the worst share of any duty period."""

    axis: AxisName
    moves: int
    motor_seconds: float
    worst_duty: float
    allowed_duty: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DaySchedule:
    """One motor day. `start` in seconds since 1970 UTC; `track` is None where the sun stays too low all day."""

    date: dt.date
    start: int
    track: Track | None
    wait_from: float
    moves: tuple[Move, ...]
    loads: tuple[AxisLoad, ...]
    losses: Losses
    power: Floats
    """Power along the path at each instant of the track, over DNI times the aperture."""
    dni: Floats
    """At each instant of the track [W/m2]."""
    dim: AnyArray
    """Instants of the track at which the sun has left the ranges for a while."""
    fits: bool
    """Whether the way home ends before the next day's way out begins."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Setpoint:
    """Where the lens should stand: state and angles [deg]."""

    seconds: float
    state: State
    tilt: float
    swivel: float


def day_start(scene_file: SceneFile, date: dt.date) -> int:
    """Start of a motor day [s since 1970 UTC]."""
    midnight = dt.datetime.combine(date, dt.time(), tzinfo=dt.UTC)
    return int(midnight.timestamp()) - HOUR_SECONDS * round(scene_file.site.longitude / 15.0)


def prepare_drive(
    scene_file: SceneFile,
    dates: Sequence[dt.date],
    progress: Progress | None = None,
    errors: MountErrors = NO_ERRORS,
) -> Drive:
    """Mount, response and safe poses for schedules on these dates, for a mount with these errors.

    Raises
    ------
    InputError
        If an axis of the mount has no drive.
    """
    actuators = corrected_actuators(scene_file.actuators, errors)
    mount = driven_mount(scene_file, actuators)
    chart = concentration_map(scene_file.scene)
    every = max(1, len(dates) // STOW_SUNS)
    steps = np.arange(0, DAY_SECONDS, STOW_STEP_MINUTES * 60)
    times = [
        dt.datetime.fromtimestamp(day_start(scene_file, date) + int(step), tz=dt.UTC)
        for date in dict.fromkeys((*dates[::every], dates[-1]))
        for step in steps
    ]
    path = sun_path(scene_file.site, times)
    azimuth, elevation = seen_sun(mount, errors, path.azimuth, path.elevation)
    up = path.elevation > 0.0
    stow = stow_pose(mount, actuators, chart, azimuth[up], elevation[up])
    return Drive(
        scene_file=scene_file,
        mount=mount,
        actuators=actuators,
        absorbed=absorbed_fraction(scene_file, progress),
        chart=chart,
        stow=stow,
        errors=errors,
    )


def day_track(drive: Drive, date: dt.date, speed_share: float = 1.0) -> tuple[Track, Floats] | None:
    """The path of a motor day on a grid of GRID_SECONDS, and the DNI at its instants; None where nothing is aimed.

    Of two spans with the sun high enough on one day, as there are near the poles, the longer one counts.
    """
    start = day_start(drive.scene_file, date)
    seconds = start + np.arange(0, DAY_SECONDS, GRID_SECONDS, dtype=np.float64)
    times = [dt.datetime.fromtimestamp(float(second), tz=dt.UTC) for second in seconds]
    azimuth, elevation, path = drive.sun(times)
    high = np.minimum(path.elevation, elevation) >= MIN_ELEVATION
    if not high.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[False], high, [False]]).astype(np.int8)))
    spans = list(zip(edges[::2], edges[1::2], strict=True))
    first, last = max(spans, key=lambda span: span[1] - span[0])
    here = slice(int(first), int(last))
    dni = direct_normal_irradiance(drive.scene_file.sky, drive.scene_file.site, path)[here]
    track = follow(
        mount=drive.mount,
        actuators=drive.actuators,
        absorbed=drive.absorbed,
        seconds=seconds[here],
        azimuth=azimuth[here],
        elevation=elevation[here],
        dni=dni,
        speed_share=speed_share,
    )
    return track, dni


def day_schedule(drive: Drive, date: dt.date) -> DaySchedule:
    """The schedule of a day by the dead bands of its drives.

    Raises
    ------
    InputError
        If a motor would run longer than its duty cycle allows, or the lens would not be home before the next day.
    """
    slowest = SAFE_DUTY * min(each.duty_cycle for _, each in drive.actuators.axes())
    schedule: DaySchedule | None = None
    for share in (*SPEED_SHARES, slowest):
        found = day_track(drive, date, share)
        if found is None:
            return _empty_day(drive, date)
        tried = _scheduled(drive, date, *found)
        schedule = schedule or tried
        kept = tried.fits and all(load.worst_duty <= load.allowed_duty for load in tried.loads)
        if kept and tried.losses.path >= (1.0 - MOST_PATH_LOSS) * schedule.losses.path:
            return tried
    assert schedule is not None  # noqa: S101  the loop has run
    raise _refused(drive, schedule)


def _refused(drive: Drive, schedule: DaySchedule) -> InputError:
    """Why a day's plan cannot be kept."""
    allowed = "Allowed: a larger duty cycle, a faster drive, less backlash, or a wider dead band."
    for load in schedule.loads:
        if load.worst_duty > load.allowed_duty:
            period = dict(drive.actuators.axes())[load.axis].duty_period / 60.0
            return InputError(
                file=str(drive.scene_file.path),
                key=f"actuators.{load.axis}.duty_cycle",
                problem=(
                    f"on {schedule.date.isoformat()} this motor would run for {100.0 * load.worst_duty:.1f} % of "
                    f"{period:g} min, and it may run for {100.0 * load.allowed_duty:.1f} % at most: the plan is refused"
                ),
                allowed=allowed,
            )
    return InputError(
        file=str(drive.scene_file.path),
        key="actuators",
        problem=(
            f"the way home after {schedule.date.isoformat()} does not end before the lens is needed again: the plan is "
            "refused"
        ),
        allowed=allowed,
    )


def _empty_day(drive: Drive, date: dt.date, perfect: float = 0.0) -> DaySchedule:
    """A day without aiming, though a mount without limits could have had some energy [J]."""
    start = day_start(drive.scene_file, date)
    loads = tuple(
        AxisLoad(axis=axis, moves=0, motor_seconds=0.0, worst_duty=0.0, allowed_duty=each.duty_cycle)
        for axis, each in drive.actuators.axes()
    )
    return DaySchedule(
        date=date, start=start, track=None, wait_from=float(start + DAY_SECONDS), moves=(), loads=loads,
        losses=Losses(perfect=perfect, path=0.0, moved=0.0), power=np.zeros(0), dni=np.zeros(0),
        dim=np.zeros(0, dtype=np.bool_), fits=True,
    )  # fmt: skip


def _scheduled(drive: Drive, date: dt.date, whole: Track, dni: Floats) -> DaySchedule:
    """The schedule along a path through all instants with the sun high enough."""
    start = day_start(drive.scene_file, date)
    lens = drive.scene_file.scene.lens
    watts = dni * lens.width * lens.length
    power = power_share(drive.mount, drive.absorbed, whole.tilt, whole.swivel, whole.azimuth, whole.elevation)
    free_tilt, free_swivel = _free_aim(drive, whole)
    free = power_share(drive.mount, drive.absorbed, free_tilt, free_swivel, whole.azimuth, whole.elevation)
    perfect = float(np.trapezoid(free * watts, whole.seconds))
    bright = power >= max(BEHIND, DIMMEST * float(power.max()))
    lit = np.flatnonzero(bright)
    if len(lit) < 2:
        return _empty_day(drive, date, perfect)
    here = slice(int(lit[0]), int(lit[-1]) + 1)
    fitting = _fitting(drive, whole, here, start)
    fits = float(np.sum(power[fitting])) >= (1.0 - MOST_PATH_LOSS) * float(np.sum(power[here]))
    here = fitting if fits else here
    track = whole.part(here)
    followed = follow_track(drive, track)
    moves, wait_from, _ = _moves_of_day(drive, track, followed)
    losses = Losses(
        perfect=perfect,
        path=float(np.trapezoid((power * watts)[here], track.seconds)),
        moved=moved_energy(drive, track, dni[here], followed),
    )
    loads = tuple(
        axis_load(axis, each, [move for move in moves if move.axis == axis]) for axis, each in drive.actuators.axes()
    )
    return DaySchedule(
        date=date, start=start, track=track, wait_from=wait_from, moves=moves, loads=loads, losses=losses,
        power=power[here], dni=dni[here], dim=~bright[here], fits=fits,
    )  # fmt: skip


def _fitting(drive: Drive, whole: Track, here: slice, start: float) -> slice:
    """The part of some instants of a path after which the way home ends before the next day's way out may begin.

    That is all of them, but where the sun hardly sets.
    """
    while here.stop - here.start > 1:
        track = whole.part(here)
        _, wait_from, home_at = _moves_of_day(drive, track, follow_track(drive, track))
        early, late = (
            max(0, int(np.ceil(each / GRID_SECONDS))) for each in (start - wait_from, home_at - start - DAY_SECONDS)
        )
        if early == 0 and late == 0:
            break
        here = slice(here.start + early, max(here.start + early, here.stop - late))
    return here


def _moves_of_day(
    drive: Drive, track: Track, followed: dict[AxisName, Followed]
) -> tuple[tuple[Move, ...], float, float]:
    """All moves of a day, when the first begins and when the last ends [s since 1970 UTC].

    The way home begins when nothing is aimed any more, as a lens that stands still lets the focus walk off; only where
    the motor has run too much until then it rests for a duty period first.
    """
    moves: list[Move] = []
    wait_from, home_at = float(track.seconds[0]), float(track.seconds[-1])
    for axis, each in drive.actuators.axes():
        own = followed[axis].moves
        first = round(float(each.counts(followed[axis].angle[0])))
        last = own[-1].to_counts if own else first
        home = round(float(each.counts(stow_angle(drive, axis))))
        outward = long_way(axis, each, 0.0, home, first, "out")
        began = float(track.seconds[0]) - WAIT_MARGIN - _length(outward)
        out = long_way(axis, each, began, home, first, "out")
        done = [*out, *own, *long_way(axis, each, float(track.seconds[-1]) + FINE_STEP, last, home, "stow")]
        if worst_duty(done, each.duty_period) > each.duty_cycle:
            later = float(track.seconds[-1]) + each.duty_period
            done = [*out, *own, *long_way(axis, each, later, last, home, "stow")]
        moves += done
        wait_from = min(wait_from, began)
        home_at = max((home_at, *(move.start + move.motor_seconds for move in done)))
    return tuple(sorted(moves, key=lambda move: move.start)), wait_from, home_at


def _free_aim(drive: Drive, track: Track) -> tuple[Floats, Floats]:
    """Tilts and swivels of perfect aiming: by the mount's own ranges, whatever the drives can reach."""
    mount = drive.scene_file.mount
    same = (mount.tilt_limits, mount.swivel_limits) == (drive.mount.tilt_limits, drive.mount.swivel_limits)
    if same or drive.errors != NO_ERRORS:
        return track.strict_tilt, track.strict_swivel
    settings = np.array([each for each in aim_path(mount, track.azimuth, track.elevation) if each is not None])
    return settings[:, 0], settings[:, 1]


def axis_load(axis: AxisName, drive: Actuator, moves: Sequence[Move]) -> AxisLoad:
    """What these moves of one axis ask of its motor."""
    return AxisLoad(
        axis=axis,
        moves=len(moves),
        motor_seconds=motor_seconds(moves),
        worst_duty=worst_duty(moves, drive.duty_period),
        allowed_duty=drive.duty_cycle,
    )


def stow_angle(drive: Drive, axis: AxisName) -> float:
    """Angle of an axis in the stow pose [deg]."""
    return drive.stow.tilt if axis == "tilt" else drive.stow.swivel


def long_way(
    axis: AxisName, drive: Actuator, start: float, from_counts: int, to_counts: int, purpose: str
) -> tuple[Move, ...]:
    """A way through the whole range, cut into pieces with pauses so that the motor keeps its duty cycle."""
    whole = make_move(axis, drive, start, from_counts, to_counts, purpose)
    if whole is None:
        return ()
    room = SAFE_DUTY * drive.duty_cycle * drive.duty_period
    pieces = max(1, int(np.ceil(whole.motor_seconds / room)))
    stops = np.round(np.linspace(from_counts, to_counts, pieces + 1)).astype(np.int64)
    made = [
        make_move(axis, drive, start + k * drive.duty_period, int(stops[k]), int(stops[k + 1]), purpose)
        for k in range(pieces)
    ]
    return tuple(move for move in made if move is not None)


def _length(moves: Sequence[Move]) -> float:
    """Time from the start of the first move to the end of the last [s]."""
    return moves[-1].start + moves[-1].motor_seconds - moves[0].start if moves else 0.0


def follow_track(
    drive: Drive, track: Track, dead_bands: dict[AxisName, float] | None = None, interval: float | None = None
) -> dict[AxisName, Followed]:
    """How each axis follows a path, by its dead band [deg] or by an interval [s]."""
    times = fine_times(track.seconds)
    found: dict[AxisName, Followed] = {}
    for axis, each in drive.actuators.axes():
        counts = each.counts(track.tilt if axis == "tilt" else track.swivel)
        wanted = np.asarray(each.angle(np.interp(times, track.seconds, counts)))
        if interval is not None:
            found[axis] = follow_interval(axis, each, times, wanted, interval)
        else:
            band = each.dead_band if dead_bands is None else dead_bands[axis]
            found[axis] = follow_dead_band(axis, each, times, wanted, band)
    return found


def moved_energy(drive: Drive, track: Track, dni: Floats, followed: dict[AxisName, Followed]) -> float:
    """Energy absorbed while the axes stand where their moves leave them [J], by the mean over fine instants.

    An axis that is not among them follows its path without a pause.
    """
    times = fine_times(track.seconds)[::3]
    swivel = np.interp(times, track.seconds, track.swivel)
    tilt = np.interp(times, track.seconds, track.tilt)
    if "tilt" in followed:
        tilt = followed["tilt"].angle[::3]
    if "swivel" in followed:
        swivel = followed["swivel"].angle[::3]
    azimuth = np.interp(times, track.seconds, np.degrees(np.unwrap(np.radians(track.azimuth))))
    elevation = np.interp(times, track.seconds, track.elevation)
    lens = drive.scene_file.scene.lens
    watts = np.interp(times, track.seconds, dni) * lens.width * lens.length
    share = power_share(drive.mount, drive.absorbed, tilt, swivel, azimuth, elevation)
    return float(np.trapezoid(share * watts, times))


def setpoint_at(drive: Drive, day: DaySchedule, seconds: float) -> Setpoint:
    """The setpoint at an instant of a motor day; between the grid's instants the counts run evenly."""
    stow = drive.stow
    track = day.track
    if track is None or seconds < day.wait_from or seconds > track.seconds[-1]:
        return Setpoint(seconds=seconds, state="stowed", tilt=stow.tilt, swivel=stow.swivel)
    angles = {"tilt": float(track.tilt[0]), "swivel": float(track.swivel[0])}
    for axis, each in drive.actuators.axes():
        counts = each.counts(track.tilt if axis == "tilt" else track.swivel)
        angles[axis] = float(each.angle(np.interp(seconds, track.seconds, counts)))
    if seconds < track.seconds[0]:
        state: State = "waiting"
    else:
        index = int((seconds - track.seconds[0]) // GRID_SECONDS)
        state = "waiting" if day.dim[index] else "over zenith" if track.over_zenith[index] else "tracking"
    return Setpoint(seconds=seconds, state=state, tilt=angles["tilt"], swivel=angles["swivel"])


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """A way to follow tried on one day: dead band [deg] or interval [s], moves, motor time [s], loss, worst duty."""

    dead_band: float | None
    interval: float | None
    moves: dict[AxisName, int]
    motor_seconds: float
    loss: float
    keeps_duty: bool


DEAD_BANDS = (0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
"""Dead bands of the table [deg]."""
INTERVALS = (60.0, 120.0, 300.0, 600.0, 900.0, 1800.0)
"""Intervals of the table [s]."""
BISECTIONS = 10


def trial(
    drive: Drive, track: Track, dni: Floats, *, dead_band: float | None = None, interval: float | None = None
) -> Trial:
    """Follow a path by one dead band for all axes, or by an interval, and add up what that costs.

    The loss is that of the moves alone, against the path followed without a pause.
    """
    bands: dict[AxisName, float] | None = None
    if dead_band is not None:
        bands = {axis: dead_band for axis, _ in drive.actuators.axes()}
    followed = follow_track(drive, track, bands, interval)
    whole = moved_energy(drive, track, dni, {})
    duties = [
        worst_duty(followed[axis].moves, each.duty_period) <= each.duty_cycle for axis, each in drive.actuators.axes()
    ]
    return Trial(
        dead_band=dead_band,
        interval=interval,
        moves={axis: len(each.moves) for axis, each in followed.items()},
        motor_seconds=sum(motor_seconds(each.moves) for each in followed.values()),
        loss=0.0 if whole <= 0.0 else 1.0 - moved_energy(drive, track, dni, followed) / whole,
        keeps_duty=all(duties),
    )


def best_dead_band(drive: Drive, track: Track, dni: Floats, wanted_loss: float) -> Trial:
    """The widest dead band whose moves lose no more than `wanted_loss`, and so the fewest moves; by bisection."""
    low, high = DEAD_BANDS[0] / 10.0, 5.0
    best = trial(drive, track, dni, dead_band=low)
    for _ in range(BISECTIONS):
        middle = float(np.sqrt(low * high))
        found = trial(drive, track, dni, dead_band=middle)
        if found.loss <= wanted_loss:
            low, best = middle, found
        else:
            high = middle
    return best
