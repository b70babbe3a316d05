"""Axes, angles, rows and settings of all four mounts."""

import datetime as dt
import math
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from raytrace.arrays import Floats
from raytrace.scene import RowPose
from tracking.mount import (
    ZENITH_CONE,
    Grooves,
    Mount,
    MountKind,
    Setting,
    aim,
    aim_path,
    lens_angles,
    lens_axes,
    marked_swivels,
    marked_tilts,
    row_pose,
    sun_vector,
    tube_slope,
)
from tracking.sky.site import Site
from tracking.sky.sunpath import day_instants, sun_path

KINDS: tuple[MountKind, ...] = get_args(MountKind)
GROOVES: tuple[Grooves, ...] = get_args(Grooves)
BOTH_SIGNS = (-90.0, 90.0)

tilts = st.floats(-90.0, 90.0)
swivels = st.floats(-360.0, 720.0)
azimuths = st.floats(0.0, 360.0)
elevations = st.floats(5.0, 90.0)


def mount_of(kind: MountKind, grooves: Grooves = "level", **values: object) -> Mount:
    needed: dict[MountKind, dict[str, object]] = {
        "swivel-tilt": {},
        "tilt": {"facing": 90.0},
        "fixed": {"facing": 180.0, "tilt": 30.0},
        "polar": {"latitude": -25.0},
    }
    return Mount(**{"kind": kind, "grooves": grooves, **needed[kind], **values})  # type: ignore[arg-type]


mounts = st.builds(mount_of, st.sampled_from(KINDS), st.sampled_from(GROOVES))


@given(mount=mounts, tilt=tilts, swivel=swivels)
def test_lens_axes_are_orthonormal_and_right_handed(mount: Mount, tilt: float, swivel: float) -> None:
    axes = np.stack(lens_axes(mount, tilt, swivel))
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0, abs=1e-12)


@given(tilt=tilts, swivel=swivels, grooves=st.sampled_from(GROOVES))
def test_a_swivel_half_a_turn_on_with_the_tilt_reversed_reverses_x_and_y(
    tilt: float, swivel: float, grooves: Grooves
) -> None:
    mount = mount_of("swivel-tilt", grooves)
    here, there = lens_axes(mount, tilt, swivel), lens_axes(mount, -tilt, swivel + 180.0)
    assert there.n == pytest.approx(here.n, abs=1e-12)
    assert there.x == pytest.approx(-here.x, abs=1e-12)
    assert there.y == pytest.approx(-here.y, abs=1e-12)


@given(mount=mounts, tilt=tilts, swivel=swivels, azimuth=azimuths, elevation=elevations)
def test_angles_are_those_of_one_sun_vector(
    mount: Mount, tilt: float, swivel: float, azimuth: float, elevation: float
) -> None:
    axes = lens_axes(mount, tilt, swivel)
    sun = sun_vector(azimuth, elevation)
    s = [float(sun @ axis) for axis in axes]
    angles = lens_angles(mount, tilt, swivel, azimuth, elevation)
    assert math.cos(math.radians(angles.incidence)) == pytest.approx(s[2], abs=1e-12)
    assume(s[2] > 1e-3)
    tan_t, tan_l = math.tan(math.radians(angles.transversal)), math.tan(math.radians(angles.longitudinal))
    length = math.sqrt(1.0 + tan_t**2 + tan_l**2)
    assert s == pytest.approx([tan_t / length, tan_l / length, 1.0 / length], abs=1e-9)


def test_the_normal_leans_towards_the_swivel_and_down_is_downhill() -> None:
    # The convention in words: a lens tilted by 30 deg towards the south looks south and 60 deg up; with level grooves x
    # points down the slope to the south, and y points east, level.
    axes = lens_axes(mount_of("swivel-tilt"), 30.0, 180.0)
    assert axes.n == pytest.approx([0.0, -0.5, math.sqrt(0.75)])
    assert axes.x == pytest.approx([0.0, -math.sqrt(0.75), -0.5])
    assert axes.y == pytest.approx([1.0, 0.0, 0.0])
    upslope = lens_axes(mount_of("swivel-tilt", "upslope"), 30.0, 180.0)
    assert upslope.y == pytest.approx(axes.x)
    assert upslope.x == pytest.approx(-axes.y)


@given(declination=tilts, hour_angle=swivels)
def test_polar_axes_are_those_of_their_formulas(declination: float, hour_angle: float) -> None:
    # p = (0, cos phi, sin phi), m = (0, -sin phi, cos phi), v = (-1, 0, 0), c = cos H m + sin H v;
    # n = cos D c + sin D p, d = sin D c - cos D p, l = sin H m - cos H v.
    phi, d, h = math.radians(-25.0), math.radians(declination), math.radians(hour_angle)
    p = np.array([0.0, math.cos(phi), math.sin(phi)])
    m = np.array([0.0, -math.sin(phi), math.cos(phi)])
    v = np.array([-1.0, 0.0, 0.0])
    c = math.cos(h) * m + math.sin(h) * v
    axes = lens_axes(mount_of("polar"), declination, hour_angle)
    assert axes.n == pytest.approx(math.cos(d) * c + math.sin(d) * p, abs=1e-12)
    assert axes.x == pytest.approx(math.sin(d) * c - math.cos(d) * p, abs=1e-12)
    assert axes.y == pytest.approx(math.sin(h) * m - math.cos(h) * v, abs=1e-12)


@given(
    kind=st.sampled_from(KINDS),
    grooves=st.sampled_from(GROOVES),
    tilt=tilts,
    swivel=swivels,
    w=st.floats(-90.0, 90.0),
)
def test_a_row_on_the_base_stays_where_it_lies_at_tilt_0(
    kind: MountKind, grooves: Grooves, tilt: float, swivel: float, w: float
) -> None:
    mount = mount_of(kind, grooves, row_turns_with="base")

    def in_world(at_tilt: float) -> tuple[Floats, Floats]:
        axes = np.stack(lens_axes(mount, at_tilt, swivel))
        pose = row_pose(mount, at_tilt, w)
        return np.array(pose.row) @ axes, np.array(pose.tube) @ axes

    for there, laid_out in zip(in_world(tilt), in_world(0.0), strict=True):
        assert there == pytest.approx(laid_out, abs=1e-12)
    assert row_pose(mount, 0.0, w) == RowPose.level(w)
    assert row_pose(mount_of(kind, grooves), tilt, w) == RowPose.level(w)


def test_row_on_the_base_by_its_formulas() -> None:
    # T = 40, w = 20: level grooves: row (cos T cos w, sin w, sin T cos w), tubes (-cos T sin w, cos w, -sin T sin w);
    # upslope grooves: row (cos w, cos T sin w, sin T sin w), tubes (-sin w, cos T cos w, sin T cos w).
    cos_t, sin_t = math.cos(math.radians(40.0)), math.sin(math.radians(40.0))
    cos_w, sin_w = math.cos(math.radians(20.0)), math.sin(math.radians(20.0))
    level = row_pose(mount_of("swivel-tilt", row_turns_with="base"), 40.0, 20.0)
    assert level.row == pytest.approx((cos_t * cos_w, sin_w, sin_t * cos_w))
    assert level.tube == pytest.approx((-cos_t * sin_w, cos_w, -sin_t * sin_w))
    upslope = row_pose(mount_of("swivel-tilt", "upslope", row_turns_with="base"), 40.0, 20.0)
    assert upslope.row == pytest.approx((cos_w, cos_t * sin_w, sin_t * sin_w))
    assert upslope.tube == pytest.approx((-sin_w, cos_t * cos_w, sin_t * cos_w))


@pytest.mark.parametrize(
    ("grooves", "row_turns_with", "angle_to_grooves", "slope"),
    [
        ("level", "lens", 0.0, 0.0),  # tubes along level grooves stay level
        ("level", "lens", 90.0, 35.0),  # across them, they point uphill
        ("level", "base", 90.0, 0.0),
        ("upslope", "lens", 0.0, -35.0),  # y runs downhill, and the tubes with it
        ("upslope", "lens", 90.0, 0.0),
        ("upslope", "base", 0.0, 0.0),
    ],
)
def test_slope_of_the_tubes(grooves: Grooves, row_turns_with: str, angle_to_grooves: float, slope: float) -> None:
    mount = mount_of("swivel-tilt", grooves, row_turns_with=row_turns_with)
    assert tube_slope(mount, 35.0, 123.0, angle_to_grooves) == pytest.approx(slope, abs=1e-9)


def test_tubes_of_a_polar_mount_slope_with_the_axis_at_noon() -> None:
    # Upslope grooves run along the axis at D = 0: tubes along them slope down to the equator by the latitude.
    mount = mount_of("polar", "upslope", row_turns_with="base", latitude=35.0)
    assert tube_slope(mount, 20.0, 0.0, 0.0) == pytest.approx(-35.0)


limits = st.tuples(st.floats(-90.0, 85.0), st.floats(2.0, 180.0)).map(lambda x: (x[0], min(90.0, x[0] + x[1])))
swivel_ranges = st.one_of(
    st.none(), st.tuples(st.floats(-180.0, 300.0), st.floats(1.0, 400.0)).map(lambda x: (x[0], x[0] + x[1]))
)


@settings(max_examples=100)
@given(
    kind=st.sampled_from(("swivel-tilt", "tilt", "polar")),
    grooves=st.sampled_from(GROOVES),
    tilt_range=limits,
    swivel_range=swivel_ranges,
    azimuth=azimuths,
    elevation=st.floats(5.0, 88.0),
)
def test_no_setting_of_a_grid_is_better(
    kind: MountKind,
    grooves: Grooves,
    tilt_range: tuple[float, float],
    swivel_range: tuple[float, float] | None,
    azimuth: float,
    elevation: float,
) -> None:
    mount = mount_of(kind, grooves, tilt_range=tilt_range, swivel_range=swivel_range)
    setting = aim(mount, azimuth, elevation)
    assert setting is not None
    low, high = tilt_range
    first, last = mount.swivel_limits or (0.0, 360.0)
    assert low <= setting.tilt <= high
    assert mount.swivel_limits is None or first <= setting.swivel <= last
    found = lens_angles(mount, setting.tilt, setting.swivel, azimuth, elevation)
    assume(found.incidence < 89.0)  # with the sun behind the lens no setting is of any use
    # A grid over the whole range and a finer one around the setting, cut at the range's ends.
    grid_tilt = np.unique(np.clip(np.r_[np.linspace(low, high, 61), setting.tilt + np.linspace(-1, 1, 41)], low, high))
    near = setting.swivel + np.linspace(-1.0, 1.0, 41)
    grid_swivel = np.unique(np.r_[np.linspace(first, last, 121), np.clip(near, first, last) if swivel_range else near])
    if kind == "tilt":
        grid_swivel = np.array([90.0])
    all_tilts, all_swivels = np.meshgrid(grid_tilt, grid_swivel)
    grid = lens_angles(mount, all_tilts, all_swivels, azimuth, elevation)
    transversal, longitudinal = np.abs(grid.transversal), np.abs(grid.longitudinal)
    assert abs(found.transversal) <= transversal.min() + 1e-5
    equally_good = transversal <= abs(found.transversal) + 1e-7
    if equally_good.any():
        assert abs(found.longitudinal) <= longitudinal[equally_good].min() + 1e-4


@given(grooves=st.sampled_from(GROOVES), azimuth=azimuths, elevation=elevations)
def test_a_free_mount_leaves_no_angle(grooves: Grooves, azimuth: float, elevation: float) -> None:
    setting = aim(mount_of("swivel-tilt", grooves), azimuth, elevation)
    assert setting is not None
    angles = lens_angles(mount_of("swivel-tilt", grooves), *setting, azimuth, elevation)
    assert angles.incidence == pytest.approx(0.0, abs=1e-6)
    assert setting.tilt == pytest.approx(90.0 - elevation, abs=1e-9)


def test_a_tilt_that_ends_too_soon_lets_a_swivel_turn_aside() -> None:
    # Level grooves, tilt up to 45, sun 60 from the zenith: least transversal angle first means turning away from the
    # sun until its projection reaches 45 deg: cos(turn) = tan 45 tan 30, and the rest is skew along the grooves.
    setting = aim(mount_of("swivel-tilt", tilt_range=(0.0, 45.0)), 180.0, 30.0, previous_swivel=120.0)
    turn = math.degrees(math.acos(math.tan(math.radians(30.0))))
    assert setting == pytest.approx((45.0, 180.0 - turn))


def test_a_fixed_lens_and_one_axis_keep_their_facing() -> None:
    assert aim(mount_of("fixed"), 100.0, 20.0) == Setting(30.0, 180.0)
    setting = aim(mount_of("tilt", tilt_range=(-60.0, 60.0)), 270.0, 45.0)
    assert setting == pytest.approx((-45.0, 90.0))


@pytest.mark.parametrize("kind", KINDS)
def test_a_low_sun_is_not_aimed_at(kind: MountKind) -> None:
    assert aim(mount_of(kind), 100.0, 4.99) is None
    assert aim_path(mount_of(kind), [80.0, 90.0, 100.0], [-3.0, 5.0, 4.0])[::2] == (None, None)
    assert aim_path(mount_of(kind), [], []) == ()


def test_the_nearer_of_two_poses_is_taken() -> None:
    mount = mount_of("swivel-tilt", tilt_range=BOTH_SIGNS)
    assert aim(mount, 100.0, 50.0) == pytest.approx((40.0, 100.0))
    assert aim(mount, 100.0, 50.0, previous_swivel=270.0) == pytest.approx((-40.0, 280.0))
    assert aim(mount, 100.0, 50.0, previous_swivel=-250.0) == pytest.approx((40.0, -260.0))
    limited = mount_of("swivel-tilt", tilt_range=BOTH_SIGNS, swivel_range=(150.0, 320.0))
    assert aim(limited, 100.0, 50.0) == pytest.approx((-40.0, 280.0))


def test_a_swivel_range_is_counted_on_from_its_first_end() -> None:
    mount = mount_of("swivel-tilt", swivel_range=(300.0, 60.0))
    assert mount.swivel_limits == (300.0, 420.0)
    assert aim(mount, 20.0, 50.0) == pytest.approx((40.0, 380.0))
    assert mount_of("swivel-tilt", swivel_range=(90.0, 450.0)).swivel_limits == (90.0, 450.0)


def day_of(latitude: float, date: dt.date, minutes: int) -> tuple[Floats, Floats]:
    site = Site(latitude=latitude, longitude=0.0, timezone="UTC")
    instants = day_instants(site, date, dt.timedelta(minutes=minutes))
    path = sun_path(site, [instant.astimezone(dt.UTC) for instant in instants])
    aimed = path.elevation >= 5.0
    return path.azimuth[aimed], path.elevation[aimed]


def day_of_settings(mount: Mount, azimuth: Floats, elevation: Floats) -> tuple[Floats, Floats]:
    chosen = [setting for setting in aim_path(mount, azimuth, elevation) if setting is not None]
    assert len(chosen) == len(azimuth)
    return np.array([setting.tilt for setting in chosen]), np.array([setting.swivel for setting in chosen])


def test_the_swivel_rests_while_the_sun_passes_near_the_zenith() -> None:
    azimuth, elevation = day_of(14.6, dt.date(2026, 4, 30), 15)
    assert elevation.max() > 90.0 - ZENITH_CONE
    mount = mount_of("swivel-tilt", tilt_range=BOTH_SIGNS)
    tilt, swivel = day_of_settings(mount, azimuth, elevation)
    assert np.abs(np.diff(swivel)).max() < 15.0  # the azimuth itself turns by more than 100 deg in one step
    assert np.abs(np.diff(azimuth)).max() > 100.0
    assert tilt.min() < -80.0
    assert tilt.max() > 80.0
    angles = lens_angles(mount, tilt, swivel, azimuth, elevation)
    assert np.abs(angles.transversal).max() < 1e-9
    assert np.abs(angles.longitudinal).max() <= ZENITH_CONE


@pytest.mark.parametrize("grooves", GROOVES)
@pytest.mark.parametrize(("latitude", "day"), [(14.6, 121), (14.6, 172), (-33.0, 10), (0.0, 80), (60.0, 172)])
def test_a_day_stays_continuous(grooves: Grooves, latitude: float, day: int) -> None:
    date = dt.date(2026, 1, 1) + dt.timedelta(days=day - 1)
    azimuth, elevation = day_of(latitude, date, 10)
    for tilt_range in ((0.0, 90.0), BOTH_SIGNS):
        mount = mount_of("swivel-tilt", grooves, tilt_range=tilt_range)
        tilt, swivel = day_of_settings(mount, azimuth, elevation)
        half_turn = 180.0 if tilt_range[0] == 0.0 else 90.0
        assert np.abs(np.diff(swivel)).max() <= half_turn + 1e-9
        assert lens_angles(mount, tilt, swivel, azimuth, elevation).incidence.max() <= ZENITH_CONE
        assert 0.0 <= swivel[0] < 360.0


def test_a_day_that_crosses_the_end_of_the_swivel_costs_half_a_turn_not_a_whole_one() -> None:
    # A summer's day at 60 north runs from azimuth 60 to 300. A swivel from 90 to 450 deg cannot go through 90 or 270 in
    # one pose and stay within, but the reversed pose (A + 180, -T) is half a turn away.
    azimuth, elevation = day_of(60.0, dt.date(2026, 6, 21), 10)
    mount = mount_of("swivel-tilt", tilt_range=BOTH_SIGNS, swivel_range=(90.0, 450.0))
    tilt, swivel = day_of_settings(mount, azimuth, elevation)
    assert swivel.min() >= 90.0
    assert swivel.max() <= 450.0
    assert lens_angles(mount, tilt, swivel, azimuth, elevation).incidence.max() < 1e-6
    one_step = np.abs(np.diff(azimuth)).max()
    travel = np.abs(np.diff(swivel)).sum()
    assert travel == pytest.approx(np.abs(np.diff(azimuth)).sum() + 180.0, abs=2.0 * one_step)


def test_travel_is_least_of_all_ways_through_a_short_day() -> None:
    # A slow, obvious twin: every combination of the two poses at each of eight instants.
    azimuth, elevation = day_of(14.6, dt.date(2026, 4, 26), 80)
    mount = mount_of("swivel-tilt", "upslope", tilt_range=BOTH_SIGNS)
    _, swivel = day_of_settings(mount, azimuth, elevation)

    def travel(angles: Floats) -> float:
        return float(np.abs((np.diff(angles) + 180.0) % 360.0 - 180.0).sum())

    ways = [
        azimuth + 180.0 * np.array([bits >> k & 1 for k in range(len(azimuth))]) for bits in range(2 ** len(azimuth))
    ]
    assert np.abs(np.diff(swivel)).sum() == pytest.approx(min(travel(way) for way in ways), abs=0.1)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"kind": "swing"}, r"Mount\.kind must be 'swivel-tilt' or 'tilt' or 'polar' or 'fixed', got 'swing'\."),
        ({"kind": "tilt"}, r'Mount\.facing must be given for the kind "tilt"'),
        ({"kind": "fixed", "facing": 180.0}, r'Mount\.tilt must be given for the kind "fixed"'),
        ({"kind": "polar"}, r'Mount\.latitude must be given for the kind "polar"'),
        ({"kind": "swivel-tilt", "grooves": "across"}, r"Mount\.grooves must be 'level' or 'upslope'"),
        ({"kind": "swivel-tilt", "tilt_range": (50.0, 20.0)}, r"tilt_range must rise .* got 50 to 20 deg"),
        (
            {"kind": "swivel-tilt", "tilt_range": (-100.0, 20.0)},
            r"tilt_range must lie between -90 and 90 deg, got -100",
        ),
        ({"kind": "swivel-tilt", "swivel_range": (90.0, 90.0)}, r"a whole turn is written 90 to 450 deg"),
        ({"kind": "swivel-tilt", "tilt_marks": 0.0}, r"tilt_marks must be an interval of more than 0"),
        ({"kind": "swivel-tilt", "swivel_marks": (10.0, 5.0)}, r"swivel_marks must be a list of rising angles"),
        ({"kind": "swivel-tilt", "tilt_range": (float("nan"), 20.0)}, r"tilt_range must lie between"),
    ],
)
def test_a_wrong_mount_says_what_is_allowed(values: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Mount(**values)  # type: ignore[arg-type]


def test_ranges_that_are_not_given_have_defaults() -> None:
    assert mount_of("swivel-tilt").tilt_limits == (0.0, 90.0)
    assert mount_of("polar").tilt_limits == (-90.0, 90.0)
    assert mount_of("fixed").tilt_limits == (30.0, 30.0)
    assert mount_of("swivel-tilt").swivel_limits is None
    assert mount_of("swivel-tilt", facing=10.0).unused == ("facing",)
    assert mount_of("tilt", tilt_marks=5.0).unused == ()


def test_marks_show_places_on_the_circle_once_and_within_the_range() -> None:
    around = Mount(kind="swivel-tilt", swivel_marks=(-60.0, 0.0, 60.0, 360.0))
    assert marked_swivels(around, 1.0) == (0.0, 60.0, 300.0)
    assert marked_swivels(replace(around, swivel_marks=90.0), 1.0) == (0.0, 90.0, 180.0, 270.0)
    assert marked_swivels(replace(around, swivel_range=(90.0, 450.0)), 1.0) == (300.0, 360.0, 420.0)
    assert marked_swivels(Mount(kind="polar", latitude=50.0, swivel_marks=(170.0, 190.0)), 1.0) == (-170.0, 170.0)
    assert marked_tilts(Mount(kind="swivel-tilt", tilt_marks=25.0), 1.0) == (0.0, 25.0, 50.0, 75.0)
    assert marked_tilts(Mount(kind="tilt", facing=0.0, tilt_range=(-1.0, 1.0)), 0.5) == (-1.0, -0.5, 0.0, 0.5, 1.0)
    assert marked_tilts(Mount(kind="fixed", facing=180.0, tilt=12.3), 1.0) == (12.3,)
