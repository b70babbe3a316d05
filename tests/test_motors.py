"""Paths, moves, schedules, safe poses, packed tables and calibration, with a smooth stand-in for the lens' response."""

import csv
import datetime as dt
import json
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import groupby, pairwise
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from conftest import ROOT, SIMPLE_SCENE, Run
from scipy.spatial.transform import Rotation

from raytrace.arrays import Floats
from tracking.actuator import Actuator, Actuators, GearLinkage
from tracking.errors import InputError
from tracking.motors import schedule as schedule_module
from tracking.motors.calibration import (
    Observation,
    calibrated,
    corrected_counts,
    read_observations,
    true_angles,
)
from tracking.motors.mount_errors import MountErrors, corrected_actuators, tilted_sun
from tracking.motors.safety import (
    SAFE_CONCENTRATION,
    ConcentrationMap,
    Stow,
    concentration_map,
    defocus,
    pose_bins,
    stow_pose,
)
from tracking.motors.schedule import Drive, day_schedule, day_track, long_way, prepare_drive, setpoint_at, trial
from tracking.motors.strategy import Move, follow_dead_band, follow_interval, make_move, worst_duty
from tracking.motors.table import OUT_OF_PERIOD, STATE_NAMES, STOWED, TRACKING, WAITING, look_up, measured_error, pack
from tracking.motors.track import best_tilt, driven_mount, power_share
from tracking.mount import aim_path, lens_angles, lens_axes, sun_vector
from tracking.scenefile import SceneFile, read_scene
from tracking.sky.sunpath import sun_path

ACTUATORS = """
[actuators.tilt]
kind = "rotary"
counts_per_degree = 8.888889
gear = 50
speed = "0.3 deg/s"
backlash = "0.1 deg"

[actuators.swivel]
kind = "rotary"
counts_per_degree = 8.888889
gear = 50
zero = "180 deg"
speed = "1 deg/s"
backlash = "0.1 deg"
soft_limits = ["0 deg", "360 deg"]
"""
ZENITH_DAY = dt.date(2026, 4, 28)  # at 13.9 N the sun passes 0.4 deg from the zenith


def smooth_response(transversal: Floats, longitudinal: Floats, tilt: Floats) -> Floats:
    """Stands in for a response table: narrow across the grooves, wide along them. Invented."""
    return 0.6 * np.exp(-((transversal / 1.5) ** 2) - (longitudinal / 25.0) ** 2) + 0.0 * tilt


def simple_chart() -> ConcentrationMap:
    """Concentration that falls with both angles; light from behind makes none. Invented."""
    angles = np.linspace(0.0, 90.0, 19)
    fall = 20.0 * np.exp(-angles / 15.0)
    front = np.minimum(fall[:, None], 2.0 * fall[None, :])
    return ConcentrationMap(transversal=angles, longitudinal=angles, values=np.stack([front, np.zeros_like(front)]))


def test_light_from_behind_is_read_at_its_angles_to_the_back_of_the_lens() -> None:
    front = simple_chart()
    chart = replace(front, values=front.values[::-1])
    assert chart.at(170.0, -165.0, 160.0) == pytest.approx(front.at(10.0, 15.0, 20.0), rel=1e-12)
    assert chart.at(10.0, 15.0, 20.0) == 0.0
    assert not chart.safe(180.0, 180.0, 180.0)


@pytest.mark.long
def test_a_lens_with_its_back_to_the_sun_is_not_safe(simple_scene: Path) -> None:
    """A sheet bends light that comes from behind too: its focus lies on the other side, at another place."""
    chart = concentration_map(read_scene(simple_scene).scene)
    assert chart.at(180.0, 180.0, 180.0) > SAFE_CONCENTRATION
    assert chart.safe(90.0, 90.0, 95.0)  # light that grazes the sheet is spread out


def drive_of(scene_file: SceneFile) -> Drive:
    return Drive(
        scene_file=scene_file,
        mount=driven_mount(scene_file),
        actuators=scene_file.actuators,
        absorbed=smooth_response,
        chart=simple_chart(),
        stow=Stow(tilt=10.0, swivel=200.0, concentration=0.0),
    )


@pytest.fixture
def drive(tmp_path: Path) -> Drive:
    path = tmp_path / "driven.toml"
    path.write_text(SIMPLE_SCENE + ACTUATORS, encoding="utf-8")
    return drive_of(read_scene(path))


def tropics(tmp_path: Path, *changes: tuple[str, str]) -> Drive:
    text = (ROOT / "scenes" / "tropics.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "tropics.toml"
    path.write_text(text, encoding="utf-8")
    return drive_of(read_scene(path))


def gear(**changes: float | str) -> Actuator:
    values: dict[str, object] = {
        "linkage": GearLinkage(counts_per_degree=100.0), "speed": 0.5, "backlash": 0.2, "duty_cycle": 0.25,
        "duty_period": 1200.0, "dead_band": 0.2, "limits": (0.0, 360.0), "home": 0.0, "homing": "falling",
        "approach": "rising",
    }  # fmt: skip
    return Actuator(**(values | changes))  # type: ignore[arg-type]


# ---- moves


def test_a_dead_band_takes_the_sun_in_steps_of_twice_itself() -> None:
    # 15 deg of hour angle in an hour, exact for the mean sun: in 10 h 150 deg, so 375 moves of 0.4 deg.
    times = np.arange(0.0, 36000.0, 10.0)
    wanted = 10.0 + 15.0 * times / 3600.0
    found = follow_dead_band("swivel", gear(), times, wanted, 0.2)
    assert len(found.moves) == pytest.approx(375, rel=0.12)  # a fine step is a tenth of the dead band's time
    off = found.angle - wanted
    assert np.abs(off).max() <= 0.2 + 15.0 / 360.0
    assert off.max() > 0.15  # it leads the sun,
    assert off.min() < -0.15  # and is passed by it


def test_a_full_speed_axis_steps_at_least_every_24_s_to_stay_within_a_tenth_of_a_degree() -> None:
    # The mean sun's 0.25 deg a minute: 0.1 deg peak to peak last 24 s. Exact.
    times = np.arange(0.0, 3600.0, 1.0)
    found = follow_dead_band("swivel", gear(), times, 15.0 * times / 3600.0, 0.05)
    gaps = np.diff([move.start for move in found.moves])
    assert gaps.max() <= 25.0
    assert gaps.mean() == pytest.approx(24.0, abs=1.5)


def test_an_interval_leads_by_half_of_itself() -> None:
    times = np.arange(0.0, 36000.0, 10.0)
    wanted = 15.0 * times / 3600.0
    found = follow_interval("swivel", gear(), times, wanted, 600.0)
    assert len(found.moves) == 59
    off = found.angle - wanted
    assert off.max() == pytest.approx(1.25, abs=0.01)  # half of 10 min at 15 deg/h
    assert off.min() == pytest.approx(-1.25, abs=0.06)


def test_a_path_that_turns_back_is_not_hunted() -> None:
    times = np.arange(0.0, 36000.0, 10.0)
    wanted = 80.0 + 6.0 * np.sin(np.pi * times / 36000.0)
    moves = [len(follow_dead_band("swivel", gear(), times, wanted, band).moves) for band in (0.1, 0.2, 0.5, 1.0, 2.0)]
    assert moves == sorted(moves, reverse=True)
    assert moves[-1] <= 3


def test_setpoints_are_reached_from_one_side() -> None:
    down = make_move("tilt", gear(), 0.0, 1000, 900, "follow")
    up = make_move("tilt", gear(), 0.0, 900, 1000, "follow")
    assert down is not None
    assert up is not None
    assert (down.direction, down.overshoot_counts) == ("falling", 20)
    assert (up.direction, up.overshoot_counts) == ("rising", 0)
    # 1 deg, and with the backlash of 0.2 deg twice 1.4 deg, at 0.5 deg/s.
    assert up.motor_seconds == pytest.approx(2.0)
    assert down.motor_seconds == pytest.approx(2.8)
    assert make_move("tilt", gear(), 0.0, 5, 5, "follow") is None


def test_no_overshoot_passes_a_soft_limit() -> None:
    near = make_move("tilt", gear(), 0.0, 1000, 5, "follow")  # the limit lies at 0 counts
    assert near is not None
    assert near.overshoot_counts == 5


def test_worst_duty_is_that_of_a_slow_count() -> None:
    rng = np.random.default_rng(5)
    starts = np.sort(rng.uniform(0.0, 20000.0, 60))
    template = make_move("tilt", gear(), 0.0, 0, 100, "follow")
    assert template is not None
    moves = []
    for k, start in enumerate(starts):
        room = starts[k + 1] - start if k + 1 < len(starts) else 50.0
        seconds = float(min(room, rng.uniform(1.0, 60.0)))
        moves.append(
            Move(
                axis="tilt", start=float(start), motor_seconds=seconds, from_counts=0, to_counts=1, overshoot_counts=0,
                travel=1.0, direction="rising", approach="rising", purpose="follow",
            )
        )  # fmt: skip
    running = np.zeros(24000)
    for move in moves:
        for second in range(int(move.start), int(move.start + move.motor_seconds) + 2):
            low, high = max(move.start, second), min(move.start + move.motor_seconds, second + 1)
            running[second] += max(0.0, high - low)
    ran = np.concatenate([[0.0], np.cumsum(running)])
    slow = max(float(ran[end] - ran[max(0, end - 1200)]) for end in range(len(ran))) / 1200.0
    assert worst_duty(moves, 1200.0) == pytest.approx(slow, abs=2.0 / 1200.0)  # the slow count knows whole seconds


def test_a_long_way_is_cut_so_that_the_motor_rests() -> None:
    drive = gear(speed=0.1)
    way = long_way("swivel", drive, 0.0, 0, 30000, "stow")  # 300 deg at 0.1 deg/s: 3000 s
    assert len(way) == 20
    assert worst_duty(way, drive.duty_period) <= 0.5 * drive.duty_cycle + 1e-6
    assert way[0].from_counts == 0
    assert way[-1].to_counts == 30000


# ---- paths


def test_the_tropics_pass_a_day_with_the_sun_within_a_degree_of_the_zenith(tmp_path: Path) -> None:
    drive = tropics(tmp_path)
    day = day_schedule(drive, ZENITH_DAY)
    assert day.track is not None
    assert day.track.elevation.max() > 89.0
    states = {setpoint_at(drive, day, float(second)).state for second in day.track.seconds[::5]}
    assert "over zenith" in states
    for axis, each in drive.actuators.axes():
        angles = day.track.tilt if axis == "tilt" else day.track.swivel
        assert each.seconds(angles[:-1], angles[1:]).max() <= 60.0 * (1.0 + 1e-6)
    assert all(load.worst_duty <= load.allowed_duty for load in day.loads)
    assert 0.0 <= day.losses.path_loss < 0.01


def test_a_slow_swivel_turns_early_and_loses_less_than_one_that_runs_after_the_sun(tmp_path: Path) -> None:
    drive = tropics(tmp_path, ('speed = "0.5 deg/s"', 'speed = "0.05 deg/s"'))
    found = day_track(drive, ZENITH_DAY)
    assert found is not None
    track, dni = found
    assert np.abs(np.diff(track.swivel)).max() <= 3.0 + 1e-6
    # The naive way: always towards the strict aim, as fast as the drive can.
    lag = track.strict_swivel.copy()
    for k in range(1, len(lag)):
        lag[k] = lag[k - 1] + np.clip(track.strict_swivel[k] - lag[k - 1], -3.0, 3.0)
    tilt = drive.mount.tilt_limits[1]
    lagging_tilt = best_tilt(drive.mount, lag, track.azimuth, track.elevation)
    sun = track.azimuth, track.elevation
    planned = power_share(drive.mount, drive.absorbed, track.tilt, track.swivel, *sun) @ dni
    lagging = power_share(drive.mount, drive.absorbed, lagging_tilt, lag, *sun) @ dni
    strict = power_share(drive.mount, drive.absorbed, track.strict_tilt, track.strict_swivel, *sun) @ dni
    assert lagging < planned <= strict * (1.0 + 1e-9)
    assert track.over_zenith.any()
    assert tilt == 85.0


@pytest.mark.parametrize("speed", [0.1, 0.02])
def test_no_path_on_a_coarse_grid_loses_less(speed: float, tmp_path: Path) -> None:
    # The slow, obvious twin: every swivel of an even grid over the whole range, at every minute of the day.
    drive = tropics(tmp_path, ('speed = "0.5 deg/s"', f'speed = "{speed} deg/s"'))
    found = day_track(drive, ZENITH_DAY)
    assert found is not None
    track, dni = found
    way = 60.0 * speed  # [deg] in a minute
    assert np.abs(np.diff(track.swivel)).max() <= way * (1.0 + 1e-5)
    swivels = np.arange(-90.0, 450.0, 0.5 * way)
    best = np.zeros(len(swivels))
    for k in range(len(track)):
        azimuth, elevation = (np.full(len(swivels), part[k]) for part in (track.azimuth, track.elevation))
        tilts = best_tilt(drive.mount, swivels, azimuth, elevation)
        power = dni[k] * power_share(drive.mount, drive.absorbed, tilts, swivels, azimuth, elevation)
        padded = np.concatenate([np.full(2, -np.inf), best, np.full(2, -np.inf)])
        reached = np.max([padded[shift : shift + len(best)] for shift in range(5)], axis=0)  # two steps either way
        best = power + (reached if k else 0.0)
    planned = power_share(drive.mount, drive.absorbed, track.tilt, track.swivel, track.azimuth, track.elevation) @ dni
    assert planned >= best.max()


def test_where_the_range_ends_the_path_runs_back_within_the_drive_s_speed(tmp_path: Path) -> None:
    # In June the sun passes north of the zenith here: a swivel that ends at north has to run through the whole range.
    drive = tropics(tmp_path, ('soft_limits = ["-90 deg", "450 deg"]', 'soft_limits = ["0 deg", "360 deg"]'),
                    ('home = "-90 deg"', 'home = "0 deg"'))  # fmt: skip
    found = day_track(drive, dt.date(2026, 6, 21))
    assert found is not None
    track, _ = found
    assert np.abs(np.diff(track.strict_swivel)).max() > 300.0
    assert np.abs(np.diff(track.swivel)).max() <= 30.0 + 1e-6
    assert track.swivel.min() >= 0.0
    assert track.swivel.max() <= 360.0


def test_a_drive_that_keeps_up_follows_the_strict_aim(drive: Drive) -> None:
    found = day_track(drive, dt.date(2026, 3, 20))
    assert found is not None
    track, _ = found
    settings = aim_path(drive.mount, track.azimuth, track.elevation)
    assert [(s.tilt, s.swivel) for s in settings if s is not None] == list(
        zip(track.tilt.tolist(), track.swivel.tolist(), strict=True)
    )
    assert not track.over_zenith.any()


def test_a_plan_that_breaks_the_duty_cycle_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "lazy.toml"
    path.write_text(SIMPLE_SCENE + ACTUATORS + "duty_cycle = 0.003\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"actuators.swivel.duty_cycle: on 2026-03-20 .* the plan is refused"):
        day_schedule(drive_of(read_scene(path)), dt.date(2026, 3, 20))


def test_a_mount_without_motors_says_what_to_write(simple_scene: Path) -> None:
    with pytest.raises(InputError, match=r"actuators.tilt: this table is missing"):
        driven_mount(read_scene(simple_scene))


def test_states_through_a_day(drive: Drive) -> None:
    day = day_schedule(drive, dt.date(2026, 3, 20))
    assert day.track is not None
    first, last = float(day.track.seconds[0]), float(day.track.seconds[-1])
    for second, state in (
        (day.start, "stowed"), (day.wait_from + 1.0, "waiting"), (first + 1.0, "tracking"), (last, "tracking"),
        (last + 1.0, "stowed"), (day.start + 86399, "stowed"),
    ):  # fmt: skip
        assert setpoint_at(drive, day, float(second)).state == state
    assert day.wait_from <= first - 300.0
    purposes = [move.purpose for move in day.moves if move.axis == "swivel"]
    assert purposes == sorted(purposes, key=("out", "follow", "stow").index)
    # Each move starts where the last one ended.
    for axis in ("tilt", "swivel"):
        moves = [move for move in day.moves if move.axis == axis]
        assert all(a.to_counts == b.from_counts for a, b in pairwise(moves))


@pytest.mark.long
def test_where_the_sun_hardly_sets_each_day_is_home_before_the_next(tmp_path: Path) -> None:
    # At 78 degrees north in June the sun is never lower than 11 degrees.
    north = ('latitude = "13.9 deg"', 'latitude = "78 deg"')
    drive = tropics(tmp_path, north)
    days = [day_schedule(drive, dt.date(2026, 6, day)) for day in (20, 21)]
    for axis in ("tilt", "swivel"):
        moves = [move for day in days for move in day.moves if move.axis == axis]
        for before, after in pairwise(moves):
            assert before.start + before.motor_seconds <= after.start
            assert before.to_counts == after.from_counts
    assert all(0.0 < day.losses.path_loss < 0.1 for day in days)
    with pytest.raises(InputError, match="the way home after 2026-06-20 does not end before the lens is needed again"):
        day_schedule(tropics(tmp_path, north, ('speed = "0.5 deg/s"', 'speed = "0.05 deg/s"')), dt.date(2026, 6, 20))


def test_a_lens_whose_sun_leaves_the_range_at_noon_waits_for_it_and_says_so(tmp_path: Path) -> None:
    # Facing north at 27 degrees south in June, the tilt to the sun is 51 degrees at noon and more before and after.
    text = (ROOT / "scenes" / "south.toml").read_text(encoding="utf-8")
    for old, new in (
        ('facing = "90 deg"', 'facing = "0 deg"'),
        ('approach = "falling"', 'approach = "falling"\nsoft_limits = ["56 deg", "84 deg"]'),
    ):
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "south.toml"
    path.write_text(text, encoding="utf-8")
    drive = drive_of(read_scene(path))
    day = day_schedule(drive, dt.date(2026, 6, 21))
    assert day.track is not None
    found = look_up(pack(drive, [day], budget=2000), day.track.seconds.astype(np.int64))
    told = [STATE_NAMES[code] for code in found.state]
    assert told == [setpoint_at(drive, day, float(second)).state for second in day.track.seconds]
    assert [state for state, _ in groupby(told)] == ["tracking", "waiting", "tracking"]
    assert day.losses.path_loss > 0.3


def test_a_wider_dead_band_moves_less_and_loses_more(drive: Drive) -> None:
    found = day_track(drive, dt.date(2026, 3, 20))
    assert found is not None
    trials = [trial(drive, *found, dead_band=band) for band in (0.1, 0.3, 0.8)]
    moves = [sum(each.moves.values()) for each in trials]
    assert moves[0] > moves[1] > moves[2]
    assert trials[0].loss < trials[1].loss < trials[2].loss
    # An even error from -b to b in exp(-(t / 1.5)^2) loses about (b / 1.5)^2 / 3.
    assert trials[1].loss == pytest.approx((0.3 / 1.5) ** 2 / 3.0, rel=0.35)
    best = schedule_module.best_dead_band(drive, *found, 0.01)
    assert best.loss <= 0.01
    assert best.dead_band == pytest.approx(1.5 * math.sqrt(0.03), rel=0.25)


# ---- safe poses


def test_the_way_out_is_safe_and_the_nearest(drive: Drive) -> None:
    pose, sun = (40.0, 150.0), (150.0, 50.0)
    way = defocus(drive.mount, drive.actuators, drive.chart, pose, sun)
    assert way is not None
    there = (way.angle, pose[1]) if way.axis == "tilt" else (pose[0], way.angle)
    seen = lens_angles(drive.mount, *there, *sun)
    assert drive.chart.at(seen.transversal, seen.longitudinal, seen.incidence) <= SAFE_CONCENTRATION
    # Halfway there it is not safe yet.
    half = (0.5 * (pose[0] + there[0]), 0.5 * (pose[1] + there[1]))
    seen = lens_angles(drive.mount, *half, *sun)
    assert drive.chart.at(seen.transversal, seen.longitudinal, seen.incidence) > SAFE_CONCENTRATION


def test_ways_out_are_safe_from_every_pose_of_their_bin(drive: Drive) -> None:
    rng = np.random.default_rng(3)
    bins = pose_bins(drive.mount, drive.actuators, drive.chart)
    assert sum(each.way_out is not None for each in bins) > 0.9 * len(bins)
    for each in bins[::7]:
        tilt, swivel = rng.uniform(*each.tilt), rng.uniform(*each.swivel)
        ways = (each.by_tilt, each.by_swivel, each.wind)
        for axis, angle in [(way.axis, way.angle) for way in ways if way is not None]:
            there = (angle, swivel) if axis == "tilt" else (tilt, angle)
            seen = lens_angles(drive.mount, *there, swivel, 90.0 - tilt)  # an aimed lens has the sun on its normal
            concentration = drive.chart.at(seen.transversal, seen.longitudinal, seen.incidence)
            assert concentration <= 1.05 * SAFE_CONCENTRATION  # between the poses tried it may be a little more


def test_the_stow_pose_is_safe_under_every_sun(drive: Drive) -> None:
    times = [dt.datetime(2026, month, 20, hour, 30, tzinfo=dt.UTC) for month in (3, 6, 12) for hour in range(24)]
    path = sun_path(drive.scene_file.site, times)
    up = path.elevation > 0.0
    stow = stow_pose(drive.mount, drive.actuators, drive.chart, path.azimuth[up], path.elevation[up])
    assert stow.safe
    seen = lens_angles(drive.mount, stow.tilt, stow.swivel, path.azimuth[up], path.elevation[up])
    assert drive.chart.at(seen.transversal, seen.longitudinal, seen.incidence).max() <= SAFE_CONCENTRATION


# ---- packed table


def test_more_bytes_make_a_better_table_that_stays_in_its_budget(drive: Drive) -> None:
    days = [day_schedule(drive, dt.date(2026, 3, 1) + dt.timedelta(days=k)) for k in range(24)]
    errors = []
    for budget in (400, 1500, 6000):
        table = pack(drive, days, budget=budget)
        assert table.size <= budget
        errors.append(measured_error(drive, days, table))
    assert errors[0].mrad > errors[1].mrad > errors[2].mrad
    assert errors[2].mrad < 2.0
    table = pack(drive, days, budget=1500)
    promised = errors[1]
    for day in days[::6]:
        assert day.track is not None
        found = look_up(table, day.track.seconds.astype(np.int64))
        aimed = found.state == TRACKING
        assert aimed.mean() > 0.99
        for k, (axis, each) in enumerate(drive.actuators.axes()):
            wanted = each.counts(day.track.tilt if axis == "tilt" else day.track.swivel)
            assert np.abs(found.counts[aimed, k] - wanted[aimed]).max() <= promised.counts[k]


def test_night_and_out_of_period_are_explicit(drive: Drive) -> None:
    days = [day_schedule(drive, dt.date(2026, 3, 1) + dt.timedelta(days=k)) for k in range(2)]
    table = pack(drive, days, budget=2000)
    assert days[0].track is not None
    first = int(days[0].track.seconds[0])
    found = look_up(table, np.array([table.start - 1, table.start, first - 60, first + 60, table.start + 2 * 86400]))
    assert found.state.tolist() == [OUT_OF_PERIOD, STOWED, WAITING, TRACKING, OUT_OF_PERIOD]
    for k in (0, 1, 4):
        assert tuple(found.counts[k]) == table.stow_counts


def test_a_budget_that_holds_nothing_says_what_would(drive: Drive) -> None:
    days = [day_schedule(drive, dt.date(2026, 3, 1))]
    with pytest.raises(InputError, match=r"--bytes: 20 bytes hold no table.*26 bytes or more"):
        pack(drive, days, budget=20)


# ---- calibration

TRUTH = MountErrors(azimuth_zero=1.7, tilt_zero=-0.6, base_east=0.8, base_north=-0.5)


def observed(drive: Drive, truth: MountErrors, noise: float, seed: int = 1) -> list[Observation]:
    """Aimings of a day as a mount with these errors would show them, each axis off by some noise [deg]."""
    rng = np.random.default_rng(seed)
    times = [dt.datetime(2026, 5, 10, hour, minute, tzinfo=dt.UTC) for hour in range(7, 18) for minute in (0, 30)]
    sun = sun_path(drive.scene_file.site, times)
    found = []
    for k, time in enumerate(times):
        tilt, swivel = corrected_counts(drive, truth, float(sun.azimuth[k]), float(sun.elevation[k]))
        assert tilt is not None
        assert swivel is not None
        per = 8.888889 * 50
        found.append(
            Observation(
                seconds=time.timestamp(),
                tilt_counts=round(tilt + per * rng.normal(0.0, noise)),
                swivel_counts=round(swivel + per * rng.normal(0.0, noise)),
            )
        )
    return found


def test_corrected_counts_put_the_sun_on_the_normal_of_a_wrong_mount(drive: Drive) -> None:
    azimuth, elevation = np.array([130.0, 200.0]), np.array([35.0, 55.0])
    suns = zip(azimuth, elevation, strict=True)
    counts = np.array([corrected_counts(drive, TRUTH, a, e) for a, e in suns], dtype=float)
    tilt, swivel = true_angles(drive, TRUTH, counts[:, 0], counts[:, 1])
    seen = lens_angles(drive.mount, tilt, swivel, *tilted_sun(TRUTH, azimuth, elevation))
    assert seen.incidence.max() < 0.003  # half a count is 0.001 deg on each axis


def test_a_base_that_leans_to_the_east_sees_the_zenith_in_the_west() -> None:
    azimuth, elevation = tilted_sun(MountErrors(base_east=2.0), np.array([0.0]), np.array([90.0]))
    assert azimuth[0] == pytest.approx(270.0)
    assert elevation[0] == pytest.approx(88.0)
    azimuth, _ = tilted_sun(MountErrors(base_north=2.0), np.array([0.0]), np.array([90.0]))
    assert azimuth[0] == pytest.approx(180.0)


def test_calibration_recovers_the_truth_without_noise(drive: Drive) -> None:
    found = calibrated(drive, observed(drive, TRUTH, 0.0))
    for name in found.unknowns:
        assert getattr(found.errors, name) == pytest.approx(getattr(TRUTH, name), abs=0.005), name
    assert found.rms_after < 0.002
    assert found.rms_before > 0.5


def test_calibration_recovers_the_truth_within_its_uncertainty_under_noise(drive: Drive) -> None:
    pulls = []
    for seed in range(12):
        found = calibrated(drive, observed(drive, TRUTH, 0.1, seed))
        for name in found.unknowns:
            error = getattr(found.standard_errors, name)
            pulls.append((getattr(found.errors, name) - getattr(TRUTH, name)) / error)
    assert np.abs(pulls).max() < 4.5  # of 48 pulls, 4 standard errors and some more for the estimated spread
    assert 0.6 < float(np.std(pulls)) < 1.6  # the noise is even in counts, not on the sky: about 1


def test_corrected_counts_point_the_turned_mount_at_the_sun_by_another_library(drive: Drive) -> None:
    # The base turned by scipy's rotations, the lens in it by the mount's own axes: its normal must meet the sun.
    base = Rotation.from_rotvec(np.radians([-TRUTH.base_north, TRUTH.base_east, 0.0]))
    for azimuth, elevation in ((95.0, 20.0), (180.0, 60.0), (250.0, 35.0)):
        tilt, swivel = corrected_counts(drive, TRUTH, azimuth, elevation)
        assert tilt is not None
        assert swivel is not None
        stands = tilt / (8.888889 * 50) + TRUTH.tilt_zero, 180.0 + swivel / (8.888889 * 50) + TRUTH.azimuth_zero
        normal = base.apply(lens_axes(drive.mount, *stands).n)
        off = np.degrees(np.arccos(np.clip(normal @ sun_vector(azimuth, elevation), -1.0, 1.0)))
        assert off < 0.003  # half a count is 0.001 deg on each axis


@pytest.mark.parametrize(
    ("name", "truth"),
    [
        ("tropics", MountErrors(azimuth_zero=1.7, tilt_zero=-0.6, base_east=0.8, base_north=-0.5, tilt_length=0.004)),
        ("south", MountErrors(azimuth_zero=2.0, tilt_zero=-0.7)),
        ("north", MountErrors(azimuth_zero=1.0, tilt_zero=0.5, base_east=0.4, base_north=-0.3)),
    ],
)
def test_calibration_of_each_kind_of_mount(name: str, truth: MountErrors) -> None:
    drive = drive_of(read_scene(ROOT / "scenes" / f"{name}.toml"))
    noon = dt.timedelta(hours=12.0 - drive.scene_file.site.longitude / 15.0)
    midnight = dt.datetime(2026, 4, 10, tzinfo=dt.UTC)
    times = [midnight + noon + dt.timedelta(minutes=20 * k) for k in range(-13, 14)]
    sun = sun_path(drive.scene_file.site, times)
    rng = np.random.default_rng(4)
    aimings = []
    for k, time in enumerate(times):
        tilt, swivel = corrected_counts(drive, truth, float(sun.azimuth[k]), float(sun.elevation[k]))
        assert tilt is not None
        noise = rng.normal(0.0, 10.0, 2)  # counts
        turned = None if swivel is None else swivel + noise[1]
        aimings.append(Observation(seconds=time.timestamp(), tilt_counts=tilt + noise[0], swivel_counts=turned))
    found = calibrated(drive, aimings)
    for unknown in found.unknowns:
        error = getattr(found.standard_errors, unknown)
        assert getattr(found.errors, unknown) == pytest.approx(getattr(truth, unknown), abs=4.0 * error), unknown
    assert found.rms_after < 0.1 * found.rms_before


def test_too_few_or_too_like_observations_are_refused(drive: Drive) -> None:
    many = observed(drive, TRUTH, 0.0)
    with pytest.raises(InputError, match="cannot tell 4 errors"):
        calibrated(drive, many[:2])
    with pytest.raises(InputError, match="too much alike"):
        calibrated(drive, [many[3]] * 5)


def test_an_aiming_that_fits_no_mount_is_refused_and_named(drive: Drive) -> None:
    many = observed(drive, TRUTH, 0.0)
    wrong = many[6]
    many[6] = Observation(
        seconds=wrong.seconds, tilt_counts=wrong.tilt_counts + 4000.0, swivel_counts=wrong.swivel_counts
    )
    when = dt.datetime.fromtimestamp(wrong.seconds, tz=dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    with pytest.raises(InputError, match=f"--observations: .* the aiming at {when} is still .* deg off"):
        calibrated(drive, many)


def test_observations_are_read_strictly(tmp_path: Path, drive: Drive) -> None:
    path = tmp_path / "aimed.csv"
    path.write_text("time_utc,tilt_counts,swivel_counts\n2026-05-10T09:00:00Z,12000,-3000\n", encoding="utf-8")
    (one,) = read_observations(path, drive.actuators)
    assert (one.tilt_counts, one.swivel_counts) == (12000.0, -3000.0)
    path.write_text("time_utc,tilt_counts,swivel_counts\n2026-05-10T09:00:00,12000,-3000\n", encoding="utf-8")
    with pytest.raises(InputError, match="observation 1 cannot be read"):
        read_observations(path, drive.actuators)
    path.write_text("time_utc,tilt_counts\n", encoding="utf-8")
    with pytest.raises(InputError, match="there is no column swivel_counts"):
        read_observations(path, Actuators(tilt=gear(), swivel=gear()))


def test_a_plan_for_a_wrong_mount_holds_its_corrected_counts(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schedule_module, "absorbed_fraction", lambda *_: smooth_response)
    monkeypatch.setattr(schedule_module, "concentration_map", lambda _: simple_chart())
    date = dt.date(2026, 5, 10)
    wrong = prepare_drive(drive.scene_file, [date], errors=TRUTH)
    day = day_schedule(wrong, date)
    assert day.track is not None
    table = pack(wrong, [day], budget=4000)
    seconds = day.track.seconds[20:-20:60]
    sun = sun_path(drive.scene_file.site, [dt.datetime.fromtimestamp(float(s), tz=dt.UTC) for s in seconds])
    told, allowed = look_up(table, seconds.astype(np.int64)), measured_error(wrong, [day], table)
    for k, second in enumerate(seconds):
        wanted = corrected_counts(drive, TRUTH, float(sun.azimuth[k]), float(sun.elevation[k]))
        setpoint = setpoint_at(wrong, day, float(second))
        for axis, (name, each) in enumerate(wrong.actuators.axes()):
            counts = float(each.counts(setpoint.tilt if name == "tilt" else setpoint.swivel))
            assert counts == pytest.approx(wanted[axis], abs=1.0)
            assert told.counts[k, axis] == pytest.approx(wanted[axis], abs=allowed.counts[axis] + 1)
    # Where the drives' switches stand in counts, they stay; and the moves' list keeps to it.
    for (_, before), (_, after) in zip(drive.actuators.axes(), wrong.actuators.axes(), strict=True):
        assert float(after.counts(after.home)) == pytest.approx(float(before.counts(before.home)), abs=1e-6)
        assert before.limits is not None
        assert after.limits is not None
        for old, new in zip(before.limits, after.limits, strict=True):
            assert float(after.counts(new)) == pytest.approx(float(before.counts(old)), abs=1e-6)
    follow = [move for move in day.moves if move.axis == "tilt" and move.purpose == "follow"]
    assert follow
    tilt = wrong.actuators.tilt
    assert tilt is not None
    reached = float(tilt.angle(follow[len(follow) // 2].to_counts))
    assert reached == pytest.approx(setpoint_at(wrong, day, follow[len(follow) // 2].start).tilt, abs=0.5)


def test_a_linear_drive_that_is_longer_keeps_its_counts_too(tmp_path: Path) -> None:
    drive = tropics(tmp_path)
    errors = MountErrors(azimuth_zero=1.7, tilt_zero=-0.6, tilt_length=0.004)
    before, after = drive.actuators, corrected_actuators(drive.actuators, errors)
    assert before.tilt is not None
    assert after.tilt is not None
    for counts in (2000.0, 9000.0, 16000.0):
        tilt, swivel = true_angles(drive, errors, np.array([counts]), np.array([counts]))
        assert float(after.tilt.angle(counts)) == pytest.approx(float(tilt[0]), abs=1e-9)
        assert after.swivel is not None
        assert float(after.swivel.angle(counts)) == pytest.approx(float(swivel[0]), abs=1e-9)
    assert float(after.tilt.counts(after.tilt.home)) == pytest.approx(0.0, abs=1e-6)
    assert corrected_actuators(before, MountErrors()) is before


def test_the_worst_error_of_a_table_is_told_with_its_place() -> None:
    # In June the sun of 52 degrees north leaves the swivel's range of 100 degrees either way: the path bends there.
    drive = drive_of(read_scene(ROOT / "scenes" / "north.toml"))
    day = day_schedule(drive, dt.date(2026, 6, 21))
    track = day.track
    assert track is not None
    error = measured_error(drive, [day], pack(drive, [day], budget=260))
    at = int(np.flatnonzero(track.seconds == error.worst_at)[0])
    swivel = drive.actuators.swivel
    assert swivel is not None
    assert swivel.limits is not None
    ends = np.flatnonzero(np.min(np.abs(track.swivel[:, None] - np.array(swivel.limits)), axis=1) < 0.05)
    assert len(ends)
    assert np.abs(ends - at).min() < 40  # a slot of the table
    assert error.mrad_elsewhere < 0.2 * error.mrad


# ---- the command


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """No traces: the stand-ins for response and concentration."""
    monkeypatch.setattr(schedule_module, "absorbed_fraction", lambda *_: smooth_response)
    monkeypatch.setattr(schedule_module, "concentration_map", lambda _: simple_chart())


@pytest.mark.usefixtures("quick")
def test_command_writes_files_that_agree(tmp_path: Path, focalrow: Callable[..., Run]) -> None:
    path = tmp_path / "driven.toml"
    path.write_text(SIMPLE_SCENE + ACTUATORS, encoding="utf-8")
    aimings = tmp_path / "aimed.csv"
    lines = [
        f"{dt.datetime.fromtimestamp(o.seconds, tz=dt.UTC).isoformat()},{o.tilt_counts:.0f},{o.swivel_counts:.0f}"
        for o in observed(drive_of(read_scene(path)), TRUTH, 0.02)
    ]
    aimings.write_text("\n".join(["time_utc,tilt_counts,swivel_counts", *lines]) + "\n", encoding="utf-8")
    out = tmp_path / "out"
    period = ("--from", "2026-05-10", "--to", "2026-05-12", "--step", "30 min", "--bytes", "2000")
    run = focalrow("setpoints", path, *period, "--observations", aimings, "--json", "--out", out)
    assert run.status == 0, run.err
    printed = json.loads(run.out)
    plan = json.loads((out / "setpoints.json").read_text(encoding="utf-8"))
    schema = json.loads((out / "setpoints.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(plan, schema)
    assert printed["table"] == plan["table"]
    assert plan["table"]["bytes"] <= 2000
    assert len(plan["setpoints"]) == 3 * 48
    states = [point["state"] for point in plan["setpoints"]]
    assert {"tracking", "stowed"} <= set(states)
    text = (out / "setpoints.csv").read_text(encoding="ascii")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    assert [row["tilt_counts"] for row in rows] == [str(point["tilt_counts"]) for point in plan["setpoints"]]
    assert [row["time_utc"] for row in rows] == [point["time_utc"] for point in plan["setpoints"]]
    lines = (out / "moves.csv").read_text(encoding="ascii").splitlines()
    moves = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    for column in moves[0]:  # each is documented
        assert any(f"{column}:" in line or f"{column}," in line for line in lines if line.startswith("#")), column
    assert len(moves) == len(plan["moves"])
    # After a calibration all of it is corrected: counts, moves, table and header.
    assert plan["mount_errors"]["azimuth_zero_deg"] == pytest.approx(1.7, abs=0.1)
    assert plan["calibration"] == printed["calibration"]
    assert printed["calibration"]["errors"]["azimuth_zero_deg"]["value"] == pytest.approx(1.7, abs=0.1)
    header = (out / "focalrow_setpoints.h").read_text(encoding="ascii")
    assert f"#define FOCALROW_TABLE_CRC32 UINT32_C({plan['table']['crc32']})" in header
    assert plan["scene_sha256"] in header
    assert "WATCHDOG CONTRACT" in header
    assert "Counts allow for a mount found to be off: azimuth zero +1.7" in header
    assert "Ways out by bins of poses of at most 10 deg of tilt by 30 deg of swivel" in header
    assert max(len(line) for line in header.splitlines()) <= 130
    assert plan["ways_out_traced"]["instants"] > 10
    # The table in the JSON says of its test vectors what the look-up says.
    assert {vector["state"] for vector in plan["table"]["test_vectors"]} >= {"tracking", "stowed", "out of period"}
    told = focalrow("setpoints", path, "--date", "2026-05-10", "--step", "2 h")
    assert told.status == 0
    for words in ("Safe poses", "dead band 0.2 deg", "Cautions", "UTC"):
        assert words in told.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--date", "2026-05-10", "--from", "2026-05-10"], "--date: it is given together"),
        (["--from", "2026-05-10"], "--to: it is missing"),
        (["--from", "2026-05-10", "--to", "2026-05-01"], "--to: from 2026-05-10 to 2026-05-01 are -8 days"),
        (["--bytes", "12"], "--bytes: 12 is out of range"),
        (["--step", "5"], "--step"),
    ],
)
@pytest.mark.usefixtures("quick")
def test_wrong_options_are_told(tmp_path: Path, focalrow: Callable[..., Run], arguments: list[str], words: str) -> None:
    path = tmp_path / "driven.toml"
    path.write_text(SIMPLE_SCENE + ACTUATORS, encoding="utf-8")
    run = focalrow("setpoints", path, *arguments)
    assert run.status == 2
    assert words in run.err
