"""The shadow of a pin: closed forms, positions of the sun from the library itself, and published worked examples."""

import dataclasses
import datetime as dt
import math

import numpy as np
import pytest
from conftest import flat_table
from hypothesis import given
from hypothesis import strategies as st
from pvlib import solarposition

from raytrace.arrays import Floats
from tracking.mount import Mount, lens_angles, lens_axes, sun_vector
from tracking.plans.shadow_clock import clock_spans, day_curve, level_shadow, noon_shadow, noon_shadows
from tracking.plans.shadow_gauge import (
    RelativePower,
    loss_bands,
    loss_rings,
    narrowest_tangent,
    pin_shadow,
    relative_power,
    sun_of_shadow,
)
from tracking.sky.site import Site
from tracking.sky.sunpath import sun_events

SITE = Site(latitude=40.0, longitude=-3.0, timezone="Europe/Madrid")
angles = st.floats(-75.0, 75.0)


@given(angles, angles)
def test_shadow_of_a_pin_by_projecting_its_tip(transversal: float, longitudinal: float) -> None:
    # A plain projection: from the tip (0, 0, h) along the light, against the sun vector, down to the plane z = 0.
    h = 80.0
    sun = np.array([math.tan(math.radians(transversal)), math.tan(math.radians(longitudinal)), 1.0])
    landed = np.array([0.0, 0.0, h]) - sun * h / sun[2]
    x, y = pin_shadow(h, transversal, longitudinal)
    assert (float(x), float(y)) == pytest.approx((landed[0], landed[1]), abs=1e-9)
    back = sun_of_shadow(h, x, y)
    assert (float(back[0]), float(back[1])) == pytest.approx((transversal, longitudinal), abs=1e-9)


def test_pin_shadow_in_the_frame_of_a_tilted_lens() -> None:
    # The same in world coordinates: a pin along the normal of a lens, its shadow where the light meets the sheet.
    mount = Mount(kind="swivel-tilt", grooves="upslope")
    tilt, swivel, azimuth, elevation, h = 35.0, 120.0, 131.0, 49.0, 0.1
    x, y, n = (np.asarray(axis) for axis in lens_axes(mount, tilt, swivel))
    sun = sun_vector(azimuth, elevation)
    landed = h * n - sun * h / float(sun @ n)
    found = lens_angles(mount, tilt, swivel, azimuth, elevation)
    shadow = pin_shadow(h, found.transversal, found.longitudinal)
    assert float(landed @ n) == pytest.approx(0.0, abs=1e-12)
    assert (float(shadow[0]), float(shadow[1])) == pytest.approx((float(landed @ x), float(landed @ y)), abs=1e-12)


def test_upright_pin_at_noon_of_the_equinox() -> None:
    # Geometry: on a day when the sun stands over the equator its noon shadow is h tan(latitude) long, to the north.
    east, north = level_shadow(50.0, 180.0, 90.0 - 40.0)
    assert float(east) == pytest.approx(0.0, abs=1e-9)
    assert float(north) == pytest.approx(50.0 * math.tan(math.radians(40.0)), abs=1e-9)


def parabola(across: float, along: float) -> RelativePower:
    """A power of closed form: it has fallen by all at these tangents of the sun's angles."""

    def power(transversal: Floats, longitudinal: Floats) -> Floats:
        t, g = np.tan(np.radians(transversal)), np.tan(np.radians(longitudinal))
        return np.array([np.maximum(0.0, 1.0 - (t / across) ** 2 - (g / along) ** 2)])

    return power


def test_rings_of_a_power_of_closed_form() -> None:
    # 1 - (x / (h a))^2 - (y / (h b))^2 = 1 - loss is an ellipse with half-axes h a sqrt(loss) and h b sqrt(loss).
    across, along, h = 0.05, 0.4, 100.0
    for ring in loss_rings(parabola(across, along), pin_height=h, reach=60.0):
        a, b = h * across * math.sqrt(ring.loss), h * along * math.sqrt(ring.loss)
        turn = np.radians(ring.directions)
        expected = 1.0 / np.hypot(np.cos(turn) / a, np.sin(turn) / b)
        # Between two places on a way out the power is taken as straight: they lie 0.1 to 0.3 mm apart.
        assert np.abs(ring.radii - expected).max() < 0.02
        assert ring.is_closed
        assert ring.radius_at(0.0) == pytest.approx(a, abs=0.02)


def test_a_ring_is_open_where_so_much_is_never_lost() -> None:
    rings = loss_rings(parabola(0.05, 1e6), pin_height=100.0, reach=60.0)
    assert all(not ring.is_closed for ring in rings)
    assert all(ring.radius_at(90.0) is None for ring in rings)
    assert rings[0].radius_at(0.0) == pytest.approx(100.0 * 0.05 * math.sqrt(0.05), abs=0.02)


def test_bands_hold_the_share_of_the_line_they_lie_beside() -> None:
    # On the line x = 0 the power is 1 - g^2 / b^2: what is lost there by skew is not counted again.
    across, along, h = 0.05, 0.8, 100.0
    for band in loss_bands(parabola(across, along), pin_height=h, reach=40.0, half_length=60.0, sets_transversal=True):
        kept = 1.0 - (band.along / (h * along)) ** 2
        expected = h * across * np.sqrt(band.loss * kept)
        assert np.abs(band.high - expected).max() < 0.02
        assert np.abs(band.low + expected).max() < 0.02


def test_narrowest_shift_of_either_axis() -> None:
    power = parabola(0.05, 0.4)
    assert narrowest_tangent(power, transversal=True, longitudinal=True) == pytest.approx(
        0.05 * math.sqrt(0.05), rel=0.01
    )
    assert narrowest_tangent(power, transversal=False, longitudinal=True) == pytest.approx(
        0.4 * math.sqrt(0.05), rel=0.01
    )


def test_power_falls_with_the_cosine_of_the_incidence_angle() -> None:
    # Where the tubes take an even share, the ring is where the cosine alone has lost it: acos(0.95) = 18.19 deg.
    power = relative_power(flat_table(tubes=2))
    found = power(np.array([0.0, 20.0]), np.array([25.0, 0.0]))[0]
    assert found == pytest.approx([math.cos(math.radians(25.0)), math.cos(math.radians(20.0))], abs=1e-12)
    (ring,) = loss_rings(power, pin_height=1.0, reach=3.0, losses=(0.05,))
    assert ring.radius_at(90.0) == pytest.approx(math.tan(math.acos(0.95)), rel=1e-4)


def test_a_lens_without_power_has_no_rings() -> None:
    lit = flat_table(tubes=2)
    dark = dataclasses.replace(lit, values=np.zeros_like(lit.values))
    with pytest.raises(ValueError, match="no aim"):
        relative_power(dark)


def sun_of_the_almanac(site: Site, moment: dt.datetime) -> tuple[float, float]:
    """Azimuth and apparent elevation [deg] by the low-precision formulas of the Astronomical Almanac, page C5.

    Good to 0.01 deg from 1950 to 2050. Sidereal time after J. Meeus, Astronomical Algorithms, 2nd ed. 1998, eq. 12.4;
    refraction after T. Saemundsson, Sky and Telescope 72, 1986. Constants from memory, to be confirmed.
    """
    n = (moment - dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)) / dt.timedelta(days=1)
    mean, anomaly = math.radians(280.460 + 0.9856474 * n), math.radians(357.528 + 0.9856003 * n)
    ecliptic = mean + math.radians(1.915 * math.sin(anomaly) + 0.020 * math.sin(2.0 * anomaly))
    tilt = math.radians(23.439 - 4e-7 * n)
    right = math.atan2(math.cos(tilt) * math.sin(ecliptic), math.cos(ecliptic))
    declination = math.asin(math.sin(tilt) * math.sin(ecliptic))
    hour = math.radians(280.46061837 + 360.98564736629 * n + site.longitude) - right
    latitude = math.radians(site.latitude)
    up = math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(declination) * math.cos(hour)
    east = -math.cos(declination) * math.sin(hour)
    north = math.cos(latitude) * math.sin(declination) - math.sin(latitude) * math.cos(declination) * math.cos(hour)
    elevation = math.degrees(math.asin(up))
    refraction = 1.02 / 60.0 / math.tan(math.radians(elevation + 10.3 / (elevation + 5.11)))
    return math.degrees(math.atan2(east, north)) % 360.0, elevation + refraction


@pytest.mark.parametrize(("month", "hour"), [(3, 10), (6, 17), (12, 12)])
def test_hours_of_the_level_target_against_the_almanac(month: int, hour: int) -> None:
    date, h = dt.date(2026, month, 21), 50.0
    curve = day_curve(SITE, date, pin_height=h, offset=dt.timedelta(hours=1))
    azimuth, elevation = sun_of_the_almanac(SITE, dt.datetime(2026, month, 21, hour - 1, tzinfo=dt.UTC))
    length = h / math.tan(math.radians(elevation))
    expected = (-length * math.sin(math.radians(azimuth)), -length * math.cos(math.radians(azimuth)))
    # 0.02 deg, from both formulas, at elevations above 20 deg: h / sin(elevation)^2 x 3.5e-4 = 0.15 mm at most.
    assert dict(curve.hours)[hour] == pytest.approx(expected, abs=0.15)


def test_level_shadow_of_the_spa_report() -> None:
    # I. Reda and A. Andreas, NREL/TP-560-34302, 2008, Table A5.1: zenith 50.11162, azimuth 194.34024 deg at 12:30:30.
    east, north = level_shadow(1.0, 194.34024, 90.0 - 50.11162)
    assert math.hypot(float(east), float(north)) == pytest.approx(math.tan(math.radians(50.11162)), abs=1e-9)
    assert math.degrees(math.atan2(float(east), float(north))) == pytest.approx(194.34024 - 180.0, abs=1e-9)


def test_true_noon_of_the_spa_report() -> None:
    # The same report prints the transit of that day: 18:46:04.97 UT, and an equation of time of 14.641503 min.
    site = Site(latitude=39.742476, longitude=-105.1786, altitude=1830.14, timezone="America/Denver")
    shadow = noon_shadow(site, dt.date(2003, 10, 17))
    assert shadow.state == "shows"
    assert shadow.azimuth == 0.0
    assert shadow.time is not None
    assert abs((shadow.time - dt.datetime(2003, 10, 17, 18, 46, 4, 970000, tzinfo=dt.UTC)).total_seconds()) <= 1.0
    # Noon by hand: 12 h less the longitude in time less the equation of time, which changes by 0.01 min in 45 min.
    minutes = 12 * 60.0 + 105.1786 * 4.0 - 14.641503
    seconds = (shadow.time.astimezone(dt.UTC) - dt.datetime(2003, 10, 17, tzinfo=dt.UTC)).total_seconds()
    assert seconds == pytest.approx(60.0 * minutes, abs=1.5)


@pytest.mark.parametrize("date", [dt.date(2026, 2, 11), dt.date(2026, 5, 14), dt.date(2026, 11, 3)])
def test_true_noon_against_the_equation_of_time(date: dt.date) -> None:
    # J. W. Spencer's series of 1971 (pvlib): its equation of time is good to half a minute.
    shadow = noon_shadow(SITE, date)
    assert shadow.time is not None
    equation = float(solarposition.equation_of_time_spencer71(date.timetuple().tm_yday))
    noon = dt.datetime.combine(date, dt.time(12), tzinfo=dt.UTC) + dt.timedelta(minutes=3.0 * 4.0 - equation)
    assert abs((shadow.time - noon).total_seconds()) < 45.0


def test_shadow_turns_through_the_zenith_in_the_tropics() -> None:
    # At 10 N the sun passes the zenith when its declination is 10 deg, about 16 April and 27 August.
    site = Site(latitude=10.0, longitude=0.0, timezone="UTC")
    march, april, june = (noon_shadow(site, dt.date(2026, month, day)) for month, day in ((3, 1), (4, 16), (6, 21)))
    assert (march.state, march.azimuth) == ("shows", 0.0)
    assert (june.state, june.azimuth) == ("shows", 180.0)
    assert april.state == "short"
    # The turn in a minute: 0.25 deg of hour angle, times cos(declination) over the sine of the zenith distance.
    expected = 0.25 * math.cos(math.radians(23.44)) / math.sin(math.radians(23.44 - 10.0))
    assert june.drift == pytest.approx(expected, rel=0.01)
    assert june.length == pytest.approx(math.tan(math.radians(23.44 - 10.0)), rel=0.003)


def test_no_sun_and_a_low_sun() -> None:
    tromso = Site(latitude=69.65, longitude=18.96, timezone="Europe/Oslo")
    assert noon_shadow(tromso, dt.date(2026, 12, 21)).state == "dark"
    assert noon_shadow(tromso, dt.date(2026, 1, 28)).state == "low"
    assert noon_shadow(tromso, dt.date(2026, 12, 21)).time is None


def test_spans_of_a_clock_that_is_changed() -> None:
    # Directive 2000/84/EC: summer time from the last Sunday of March to the last Sunday of October.
    spans = clock_spans(SITE, 2026)
    assert [(span.first, span.last) for span in spans] == [
        (dt.date(2026, 1, 1), dt.date(2026, 3, 28)),
        (dt.date(2026, 3, 29), dt.date(2026, 10, 24)),
        (dt.date(2026, 10, 25), dt.date(2026, 12, 31)),
    ]
    assert [span.offset for span in spans] == [dt.timedelta(hours=hours) for hours in (1, 2, 1)]


@pytest.mark.parametrize(("longitude", "zone"), [(-3.0, "Europe/Madrid"), (179.9, "UTC"), (-171.8, "Pacific/Apia")])
def test_true_noon_is_the_transit_of_the_days_events(longitude: float, zone: str) -> None:
    """The same noon as from the search for sunrise and sunset over the whole day, on any clock."""
    site = Site(latitude=20.0, longitude=longitude, timezone=zone)
    dates = [dt.date(2026, month, 14) for month in (2, 4, 5, 7, 11)]
    for shadow in noon_shadows(site, dates):
        transit = sun_events(site, shadow.date).transit
        assert transit is not None
        assert shadow.time is not None
        assert abs((shadow.time - transit).total_seconds()) <= 0.6  # rounded to a second
