"""Room and wind of the unit: closed forms of geometry, the standard atmosphere, and what the command prints."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from raytrace.scene import Lens, Scene, SunOptics, Tubes
from tracking.mount import Mount, Setting
from tracking.mount.frame import extent, frame_of
from tracking.mount.wind import OFF_MIDDLE, WIND_SPEEDS, air_density, force_coefficient, wind_load

WIDTH, LENGTH, THICKNESS, HEIGHT = 0.9, 0.6, 0.003, 0.85


def unit(*, count: int = 1, spacing: float = 0.0, length: float = 0.5, angle_to_grooves: float = 0.0) -> Scene:
    tubes = Tubes(
        count=count, spacing=spacing, length=length, absorber_diameter=0.04, angle_to_grooves=angle_to_grooves
    )
    lens = Lens(
        width=WIDTH, length=LENGTH, focal_length=0.9, thickness=THICKNESS, grooves_toward="tubes", cut_for="tubes"
    )
    return Scene(lens=lens, tubes=tubes, sun=SunOptics(), lens_height=HEIGHT)


# The corners of a rectangle on an arm, by plane trigonometry: the upper edge of the sheet at tilt T lies
# (H + t) cos T + W/2 sin T over the axis and reaches (H + t) sin T + W/2 cos T out; derived, no publication needed.
@given(tilt=st.floats(0.0, 90.0), swivel=st.floats(-360.0, 360.0))
def test_the_sheet_s_corners_on_a_turntable(tilt: float, swivel: float) -> None:
    turn = math.radians(tilt)
    found = extent(Mount(kind="swivel-tilt"), unit(), Setting(tilt, swivel))
    far = HEIGHT + THICKNESS
    top = far * math.cos(turn) + 0.5 * WIDTH * math.sin(turn)
    out = far * math.sin(turn) + 0.5 * WIDTH * math.cos(turn)
    assert found.top == pytest.approx(top, abs=1e-12)
    # The axis of the one tube is the tilt axis: in every lean the tube hangs its radius below it.
    lowest = min(-0.02, HEIGHT * math.cos(turn) - 0.5 * WIDTH * math.sin(turn))
    assert found.bottom == pytest.approx(lowest, abs=1e-6)
    assert found.radius == pytest.approx(math.hypot(out, 0.5 * LENGTH), abs=1e-12)
    assert found.along == pytest.approx(LENGTH, abs=1e-12)
    assert found.inclination == pytest.approx(tilt, abs=1e-9)
    back = min(-0.02, HEIGHT * math.sin(turn) - 0.5 * WIDTH * math.cos(turn))
    assert found.across == pytest.approx(out - back, abs=1e-6)


def test_grooves_up_the_slope_lean_by_the_length() -> None:
    found = extent(Mount(kind="swivel-tilt", grooves="upslope"), unit(), Setting(90.0, 0.0))
    assert found.top == pytest.approx(0.5 * LENGTH, abs=1e-9)
    assert found.along == pytest.approx(WIDTH, abs=1e-9)
    assert found.radius == pytest.approx(math.hypot(HEIGHT + THICKNESS, 0.5 * WIDTH), abs=1e-9)


def test_a_row_that_stays_level_keeps_its_place() -> None:
    # Three long tubes across the grooves: on the base they stay level whatever the tilt, half a tube out on each side.
    scene = unit(count=3, spacing=0.1, length=2.0, angle_to_grooves=90.0)
    found = extent(Mount(kind="swivel-tilt", row_turns_with="base"), scene, Setting(60.0, 90.0))
    assert found.bottom == pytest.approx(-0.02, abs=1e-6)
    assert found.across >= 2.0
    leaning = extent(Mount(kind="swivel-tilt"), scene, Setting(60.0, 90.0))
    assert leaning.bottom == pytest.approx(-1.0 * math.sin(math.radians(60.0)) - 0.02 * 0.5, abs=1e-5)


def test_extremes_over_the_whole_range() -> None:
    frame = frame_of(Mount(kind="swivel-tilt", tilt_range=(-10.0, 85.0)), unit())
    far = HEIGHT + THICKNESS
    # The farthest corner is highest where the arm to it stands upright: at the tilt atan(W/2 / (H + t)) = 27.8 deg.
    assert frame.top == pytest.approx(math.hypot(far, 0.5 * WIDTH), rel=1e-4)
    assert frame.leaning_radius == pytest.approx(math.hypot(far, 0.5 * WIDTH), abs=1e-12)
    # Farthest out where that arm lies level, at 62.2 deg.
    assert frame.turning_radius == pytest.approx(math.hypot(math.hypot(far, 0.5 * WIDTH), 0.5 * LENGTH), rel=1e-4)
    assert [each.setting.tilt for each in frame.shown] == [-10.0, 0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 85.0]


def test_a_polar_mount_on_the_equator_lies_down_at_six_hours() -> None:
    # On the equator the axis is level and points north: at H = 90 deg and D = 0 the normal points west, the sheet
    # stands upright, its grooves (up the slope: along the axis) level.
    mount = Mount(kind="polar", grooves="upslope", latitude=0.0)
    found = extent(mount, unit(), Setting(0.0, 90.0))
    assert found.inclination == pytest.approx(90.0, abs=1e-9)
    assert found.top == pytest.approx(0.5 * WIDTH, abs=1e-9)
    assert found.across == pytest.approx(LENGTH, abs=1e-9)
    assert found.along == pytest.approx(HEIGHT + THICKNESS + 0.02, abs=1e-6)


# U.S. Standard Atmosphere, 1976 (the same model as ISO 2533:1975), table I: densities at geopotential altitudes, values
# from memory, to be confirmed; the pressures behind two of them stand in ISO 2533 as 89874.6 and 70108.5 Pa.
@pytest.mark.parametrize(
    ("altitude", "density"), [(0.0, 1.2250), (1000.0, 1.1116), (2000.0, 1.0065), (3000.0, 0.9091), (5000.0, 0.7361)]
)
def test_density_of_the_standard_atmosphere(altitude: float, density: float) -> None:
    assert air_density(altitude) == pytest.approx(density, abs=6e-5)  # four decimals printed


# EN 1991-1-4:2005, table 7.6 and clause 7.4.3; values from memory, to be confirmed.
@pytest.mark.parametrize(("inclination", "coefficient"), [(0, 0.5), (15, 1.1), (30, 1.8), (60, 1.8), (90, 1.8)])
def test_force_coefficients(inclination: float, coefficient: float) -> None:
    assert force_coefficient(inclination) == pytest.approx(coefficient)


def test_wind_on_an_upright_and_a_flat_sheet() -> None:
    # q = rho v^2 / 2 = 1.225 x 25^2 / 2 = 382.8 Pa at sea level.
    upright = wind_load(
        Mount(kind="swivel-tilt"), unit(), Setting(90.0, 0.0), speed=25.0, altitude=0.0, foot_height=1.2
    )
    assert upright.pressure == pytest.approx(382.8, abs=0.05)
    force = 1.8 * 382.8125 * WIDTH * LENGTH
    assert upright.force == pytest.approx(force, rel=1e-4)
    assert upright.vertical == pytest.approx(0.0, abs=1e-9)
    assert upright.tilt_moment == pytest.approx(force * WIDTH / 4.0, rel=1e-4)
    assert upright.swivel_moment == pytest.approx(force * LENGTH / 4.0, rel=1e-4)
    assert upright.foot_moment == pytest.approx(force * (1.2 + WIDTH / 4.0), rel=1e-4)
    flat = wind_load(Mount(kind="swivel-tilt"), unit(), Setting(0.0, 0.0), speed=25.0, altitude=0.0, foot_height=1.2)
    assert flat.horizontal == pytest.approx(0.0, abs=1e-9)
    assert flat.swivel_moment == pytest.approx(0.0, abs=1e-9)
    assert flat.force == pytest.approx(force * 0.5 / 1.8, rel=1e-4)


@given(tilt=st.floats(-90.0, 90.0), swivel=st.floats(-180.0, 180.0), latitude=st.floats(-80.0, 80.0))
def test_the_moments_are_those_of_a_force_off_the_middle(tilt: float, swivel: float, latitude: float) -> None:
    # The plain twin: cross products of the two places of the force with the force, projected on the axes.
    import numpy as np

    from tracking.mount import lens_axes

    mount = Mount(kind="polar", grooves="upslope", latitude=latitude)
    scene = unit()
    setting = Setting(tilt, swivel)
    load = wind_load(mount, scene, setting, speed=10.0, altitude=500.0, foot_height=1.0)
    x, y, n = lens_axes(mount, tilt, swivel)
    pole = np.array([0.0, math.cos(math.radians(latitude)), math.sin(math.radians(latitude))])
    up_the_slope = np.cross(HEIGHT * n + OFF_MIDDLE * LENGTH * y, load.force * n)
    along_the_axis = np.cross(HEIGHT * n + OFF_MIDDLE * WIDTH * x, load.force * n)
    assert abs(up_the_slope @ x) == pytest.approx(load.tilt_moment, abs=1e-9)
    assert abs(along_the_axis @ pole) == pytest.approx(load.swivel_moment, abs=1e-9)
    assert math.hypot(load.horizontal, load.vertical) == pytest.approx(load.force)


def test_the_command_prints_room_and_wind(focalrow: Callable[..., Any], scene_path: Path) -> None:
    run = focalrow("fit", scene_path, "--frame", "--json")
    assert run.status == 0
    found = json.loads(run.out)["frame"]
    assert found["least_foot_height_m"] == pytest.approx(-min(each["bottom_m"] for each in found["settings"]), abs=2e-3)
    for each in found["settings"]:
        assert found["turning_radius_m"] >= each["radius_m"] - 1e-9
        assert [wind["speed_m_s"] for wind in each["wind"]] == list(WIND_SPEEDS)
        forces = [wind["force_n"] for wind in each["wind"]]
        assert forces[2] / forces[0] == pytest.approx((WIND_SPEEDS[2] / WIND_SPEEDS[0]) ** 2)
    text = focalrow("fit", scene_path, "--frame").out
    assert "Local codes" in text
    assert all(len(line) <= 100 for line in text.splitlines())
