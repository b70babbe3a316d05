"""Angles left by mounts with one and two axes, against published closed forms and pvlib's single-axis tracker."""

import math

import numpy as np
import pytest
from published_table import Published, Source

from raytrace.arrays import Floats
from tracking.mount import Grooves, Mount, aim, aim_path, lens_angles

# J. E. Braun and J. C. Mitchell, "Solar geometry for fixed and tracking surfaces", Solar Energy 31, 439, 1983; the same
# in Duffie and Beckman, section 1.7 (formulas from memory, to be confirmed; recomputed with pvlib to four decimals).
# Latitude 40; declination of P. I. Cooper, Solar Energy 12, 1969: 23.45 sin(360 (284 + n) / 365).
AXES = Source(
    text="Braun and Mitchell, Solar Energy 31 (1983) 439: level axes, cases of our own put into the formulas",
    basis="computed",
)
EXAMPLE_1_7_1 = Source(text="Duffie and Beckman, Solar Engineering of Thermal Processes, example 1.7.1", basis="memory")
EXAMPLE_1_6_1 = Source(text="Duffie and Beckman, Solar Engineering of Thermal Processes, example 1.6.1", basis="memory")
EXAMPLE_1_8_1 = Source(text="Duffie and Beckman, Solar Engineering of Thermal Processes, example 1.8.1", basis="memory")
KALOGIROU = Source(
    text="Kalogirou, Progress in Energy and Combustion Science 30 (2004) 231, table of tracking modes", basis="memory"
)
SINGLE_AXIS = Source(
    text="Marion and Dobos, Rotation angle for the optimum tracking of one-axis trackers, NREL/TP-6A20-58891, 2013, by "
    "pvlib",
    basis="computed",
)
LATITUDE = 40.0
CASES = [
    # day, hour angle; zenith, azimuth; E-W axis: incidence, slope; N-S axis: incidence, slope (computed, see above)
    (172, 30.0, 30.1839, 245.8311, 27.3035, 13.3948, 11.8793, 27.9528),
    (172, 100.0, 82.3132, 294.2637, 64.6182, 71.8173, 24.0318, 81.5786),
    (80, 45.0, 57.5113, 236.9592, 44.9986, 40.5708, 27.3810, 52.7782),
]
EAST_WEST_AXIS = Mount(kind="tilt", facing=180.0, tilt_range=(-90.0, 90.0))
NORTH_SOUTH_AXIS = Mount(kind="tilt", facing=90.0, tilt_range=(-90.0, 90.0))


def cooper(day: int) -> float:
    return 23.45 * math.sin(math.radians(360.0 * (284 + day) / 365.0))


def zenith_and_azimuth(declination: float, hour_angle: float, latitude: float = LATITUDE) -> tuple[float, float]:
    d, h, p = math.radians(declination), math.radians(hour_angle), math.radians(latitude)
    south = math.cos(d) * math.cos(h) * math.sin(p) - math.sin(d) * math.cos(p)
    west = math.cos(d) * math.sin(h)
    up = math.cos(d) * math.cos(h) * math.cos(p) + math.sin(d) * math.sin(p)
    return math.degrees(math.acos(up)), math.degrees(math.atan2(west, south)) + 180.0


def incidence(mount: Mount, zenith: float, azimuth: float) -> tuple[float, float]:
    """Incidence angle and tilt after aiming."""
    setting = aim(mount, azimuth, 90.0 - zenith)
    assert setting is not None
    return float(lens_angles(mount, *setting, azimuth, 90.0 - zenith).incidence), setting.tilt


@pytest.mark.parametrize(("day", "hour_angle", "zenith", "azimuth", "ew", "ew_slope", "ns", "ns_slope"), CASES)
def test_level_axes(
    day: int,
    hour_angle: float,
    zenith: float,
    azimuth: float,
    ew: float,
    ew_slope: float,
    ns: float,
    ns_slope: float,
    published: Published,
) -> None:
    case = f"day {day}, hour angle {hour_angle:g} deg, latitude 40 deg"
    why = "four decimals computed from a declination of five digits"
    assert zenith_and_azimuth(cooper(day), hour_angle) == pytest.approx((zenith, azimuth), abs=1e-3)
    found, slope = incidence(EAST_WEST_AXIS, zenith, azimuth)
    published(AXES, f"E-W axis, incidence angle, {case} [deg]", found, ew, within=1e-3, why=why)
    published(AXES, f"E-W axis, slope, {case} [deg]", abs(slope), ew_slope, within=1e-3, why=why)
    assert (slope < 0.0) == (day == 172 and hour_angle == 100.0)  # late on a summer day it faces north
    found, slope = incidence(NORTH_SOUTH_AXIS, zenith, azimuth)
    published(AXES, f"N-S axis, incidence angle, {case} [deg]", found, ns, within=1e-3, why=why)
    # Afternoon: it leans west, away from its facing.
    published(AXES, f"N-S axis, slope, {case} [deg]", -slope, ns_slope, within=1e-3, why=why)


@pytest.mark.parametrize("hour_angle", [-60.0, -20.0, 15.0, 70.0])
@pytest.mark.parametrize("declination", [-23.45, 0.0, 14.0])
def test_closed_forms_of_level_axes(declination: float, hour_angle: float) -> None:
    # Braun and Mitchell, as above: E-W axis cos(theta)^2 = 1 - cos(d)^2 sin(w)^2, N-S axis cos(theta)^2 =
    # cos(theta_z)^2 + cos(d)^2 sin(w)^2.
    zenith, azimuth = zenith_and_azimuth(declination, hour_angle, latitude=10.0)
    sideways = math.cos(math.radians(declination)) * math.sin(math.radians(hour_angle))
    east_west = math.degrees(math.acos(math.sqrt(1.0 - sideways**2)))
    north_south = math.degrees(math.acos(math.sqrt(math.cos(math.radians(zenith)) ** 2 + sideways**2)))
    assert incidence(EAST_WEST_AXIS, zenith, azimuth)[0] == pytest.approx(east_west, abs=1e-6)
    assert incidence(NORTH_SOUTH_AXIS, zenith, azimuth)[0] == pytest.approx(north_south, abs=1e-6)


def test_duffie_and_beckman_example_1_7_1(published: Published) -> None:
    # Latitude 40, declination 21, E-W axis, hour angle 30: theta 27.8, slope 16.1 (from memory, computed 27.826 and
    # 16.095); hour angle 100: theta 66.8, slope 74.3, facing north (computed 66.838 and 74.341).
    for hour_angle, theta, slope in ((30.0, 27.8, 16.1), (100.0, 66.8, -74.3)):
        found, tilt = incidence(EAST_WEST_AXIS, *zenith_and_azimuth(21.0, hour_angle))
        case = f"E-W axis, hour angle {hour_angle:g} deg [deg]"
        published(EXAMPLE_1_7_1, f"incidence angle, {case}", found, theta, within=0.1, why="one decimal printed")
        published(EXAMPLE_1_7_1, f"slope, south positive, {case}", tilt, slope, within=0.1, why="one decimal printed")


@pytest.mark.parametrize("latitude", [-33.0, 0.0, 40.0])
@pytest.mark.parametrize(("declination", "hour_angle"), [(23.45, -40.0), (-23.45, 20.0), (9.0, 55.0)])
def test_polar_axis(latitude: float, declination: float, hour_angle: float) -> None:
    # Braun and Mitchell: an axis as steep as the latitude turns by the hour angle and leaves theta = |declination|;
    # with the declination set too nothing is left.
    zenith, azimuth = zenith_and_azimuth(declination, hour_angle, latitude)
    mount = Mount(kind="polar", latitude=latitude)
    setting = aim(mount, azimuth, 90.0 - zenith)
    assert setting == pytest.approx((declination, hour_angle), abs=1e-9)
    turned = lens_angles(mount, 0.0, hour_angle, azimuth, 90.0 - zenith)
    assert turned.incidence == pytest.approx(abs(declination), abs=1e-9)
    assert turned.transversal == pytest.approx(-declination, abs=1e-9)
    assert turned.longitudinal == pytest.approx(0.0, abs=1e-9)


def test_polar_axis_at_the_solstice(published: Published) -> None:
    """S. Kalogirou's share of full tracking at the solstices, 91.7 %, is the cosine of what a polar axis leaves."""
    azimuth_and = zenith_and_azimuth(23.45, 30.0)
    left = lens_angles(Mount(kind="polar", latitude=LATITUDE), 0.0, 30.0, azimuth_and[1], 90.0 - azimuth_and[0])
    found = 100.0 * math.cos(math.radians(float(left.incidence)))
    published(KALOGIROU, "polar axis at a solstice [% of full tracking]", found, 91.7, within=0.06, why="one decimal")


def test_vertical_axis_with_a_set_slope() -> None:
    # Braun and Mitchell: theta = |theta_z - slope| when a sloping surface follows the azimuth.
    mount = Mount(kind="swivel-tilt")
    for zenith, azimuth in ((20.0, 100.0), (70.0, 250.0)):
        assert lens_angles(mount, 45.0, azimuth, azimuth, 90.0 - zenith).incidence == pytest.approx(abs(zenith - 45.0))


def test_tilted_and_turned_sheet_of_duffie_and_beckman_example_1_6_1(published: Published) -> None:
    # Madison, 13 February, 10:30 solar time, slope 45, facing 15 west of south: theta 35 (inputs seen in the source,
    # answer from memory; recomputed 35.18 for the rounded declination of -14).
    zenith, azimuth = zenith_and_azimuth(-14.0, -22.5, latitude=43.0)
    mount = Mount(kind="fixed", facing=195.0, tilt=45.0)
    angle = float(lens_angles(mount, 45.0, 195.0, azimuth, 90.0 - zenith).incidence)
    why = "printed without decimals, recomputed 35.18"
    published(EXAMPLE_1_6_1, "incidence angle [deg]", angle, 35.0, within=0.2, why=why)
    # Example 1.8.1, the same case: ratio of the beam on the sheet to that on level ground.
    ratio = math.cos(math.radians(angle)) / math.cos(math.radians(zenith))
    why = "two decimals printed, recomputed 1.666"
    published(EXAMPLE_1_8_1, "beam on the slope over that on level ground", ratio, 1.66, within=0.01, why=why)
    assert angle == pytest.approx(35.18, abs=0.01)


def sun_positions() -> tuple[Floats, Floats]:
    azimuth, elevation = np.meshgrid(np.arange(2.5, 360.0, 15.0), np.array([6.0, 15.0, 40.0, 65.0, 88.0]))
    return azimuth.ravel(), elevation.ravel()


@pytest.mark.parametrize("grooves", ["level", "upslope"])
def test_north_south_axis_against_pvlib_single_axis(grooves: Grooves, published: Published) -> None:
    # pvlib.tracking.singleaxis, after W. Marion and A. Dobos, "Rotation angle for the optimum tracking of one-axis
    # trackers", NREL/TP-6A20-58891, 2013 (a general library, computed). Axis to the north, right-handed: positive east.
    from pvlib.tracking import singleaxis

    azimuth, elevation = sun_positions()
    reference = singleaxis(90.0 - elevation, azimuth, axis_tilt=0, axis_azimuth=0, max_angle=90, backtrack=False)
    mount = Mount(kind="tilt", facing=90.0, tilt_range=(-90.0, 90.0), grooves=grooves)
    settings = aim_path(mount, azimuth, elevation)
    tilt = np.array([setting.tilt for setting in settings if setting is not None])
    angles = lens_angles(mount, tilt, 90.0, azimuth, elevation)
    assert tilt == pytest.approx(np.asarray(reference["tracker_theta"]), abs=1e-4)
    assert angles.incidence == pytest.approx(np.asarray(reference["aoi"]), abs=1e-4)
    for place in (7, 40):
        case = f"N-S axis, grooves {grooves}, sun at {azimuth[place]:g} deg, {elevation[place]:g} deg up [deg]"
        value = float(np.asarray(reference["tracker_theta"])[place])
        published(SINGLE_AXIS, f"rotation, {case}", tilt[place], round(value, 4), within=1e-4, why="four decimals")
    nothing_left = angles.transversal if grooves == "level" else angles.longitudinal
    assert np.abs(nothing_left).max() < 1e-9


def test_limited_axis_against_pvlib_single_axis() -> None:
    from pvlib.tracking import singleaxis

    azimuth, elevation = sun_positions()
    reference = singleaxis(90.0 - elevation, azimuth, axis_tilt=0, axis_azimuth=0, max_angle=50, backtrack=False)
    mount = Mount(kind="tilt", facing=90.0, tilt_range=(-50.0, 50.0))
    tilt = np.array([setting.tilt for setting in aim_path(mount, azimuth, elevation) if setting is not None])
    assert tilt == pytest.approx(np.asarray(reference["tracker_theta"]), abs=1e-4)


@pytest.mark.parametrize("latitude", [20.0, 52.0])
def test_polar_axis_against_pvlib_single_axis(latitude: float) -> None:
    # An axis that slopes down to the south by the latitude, right-handed: positive is west, as the hour angle is.
    from pvlib.tracking import singleaxis

    azimuth, elevation = sun_positions()
    reference = singleaxis(
        90.0 - elevation, azimuth, axis_tilt=latitude, axis_azimuth=180, max_angle=180, backtrack=False
    )
    mount = Mount(kind="polar", latitude=latitude)
    hour_angle = np.array([setting.swivel for setting in aim_path(mount, azimuth, elevation) if setting is not None])
    difference = (hour_angle - np.asarray(reference["tracker_theta"]) + 180.0) % 360.0 - 180.0
    reached = np.abs(difference) < 90.0  # declinations beyond 90 deg are no sun's; pvlib's axis may turn over
    assert reached.mean() > 0.5
    assert np.abs(difference[reached]).max() < 1e-4
