"""The magnetic declination against the test values published with the World Magnetic Model 2025."""

import datetime as dt

import pytest
from published_table import Published, Source

from tracking.sky.magnetic import declination_at, magnetic_declination
from tracking.sky.site import Site

# WMM2025 test values, NOAA NCEI and British Geological Survey, file of 100 rows: height above the ellipsoid [km],
# latitude, longitude, declination [deg], printed to two decimals. Values seen in the source as stored in a public
# repository. Year 2025.0.
ROWS = (
    (28, 89, -121, -99.77),
    (48, 80, -96, -29.91),
    (54, 82, 87, 54.89),
    (65, 43, 93, 0.50),
    (51, -33, 109, -5.49),
    (39, -59, -8, -15.75),
    (3, -50, -103, 27.96),
    (94, -29, -110, 15.74),
    (66, 14, 143, -0.19),
    (18, 0, 21, 1.29),
)
ROUNDING = 0.0055  # [deg], two decimals printed
FILE = Source(
    text="World Magnetic Model 2025, NOAA NCEI and British Geological Survey, file of test values", basis="quoted"
)
REPORT = Source(text="World Magnetic Model 2025, report, table 6", basis="quoted")


@pytest.mark.parametrize(("height", "latitude", "longitude", "declination"), ROWS)
def test_declination_of_the_published_rows(
    height: int, latitude: int, longitude: int, declination: float, published: Published
) -> None:
    found = declination_at(latitude, longitude, 1e3 * height, 2025.0)
    what = f"declination, 2025.0, {height} km, {latitude} N, {longitude} E [deg]"
    published(FILE, what, found.value, declination, within=ROUNDING, why="two decimals printed")


# WMM2025 report, table of test values (table 6), as quoted in public tests: year, height [km], latitude, longitude
# east, declination [deg].
@pytest.mark.parametrize(
    ("year", "height", "latitude", "longitude", "declination"),
    [
        (2025.0, 0, 80, 0, 1.28),
        (2025.0, 0, 0, 120, -0.16),
        (2025.0, 0, -80, 240, 68.78),
        (2025.0, 100, 80, 0, 0.85),
        (2025.0, 100, 0, 120, -0.15),
        (2025.0, 100, -80, 240, 68.21),
        (2027.5, 0, 80, 0, 2.59),
        (2027.5, 0, 0, 120, -0.24),
        (2027.5, 0, -80, 240, 68.49),
    ],
)
def test_declination_of_the_report(
    year: float, height: int, latitude: int, longitude: int, declination: float, published: Published
) -> None:
    found = declination_at(latitude, longitude, 1e3 * height, year).value
    what = f"declination, {year}, {height} km, {latitude} N, {longitude} E [deg]"
    published(REPORT, what, found, declination, within=ROUNDING, why="two decimals printed")


def test_level_field_of_a_published_row(published: Published) -> None:
    # The row (65 km, 43 N, 93 E) prints H = 24300.764692 nT.
    found = declination_at(43, 93, 65e3, 2025.0).level_field
    what = "level field, 2025.0, 65 km, 43 N, 93 E [nT]"
    published(FILE, what, found, 24300.764692, within=1e-3, why="six decimals printed, coefficients have one")


def test_compass_reads_less_where_the_needle_points_east_of_true_north() -> None:
    east = declination_at(43, 93, 65e3, 2025.0)
    assert east.magnetic_azimuth(90.0) == pytest.approx(90.0 - east.value)
    assert 0.26 < east.standard_error < 0.5


def test_beyond_the_model_years_a_message_says_so() -> None:
    site = Site(latitude=40.0, longitude=-3.0, timezone="Europe/Madrid")
    assert magnetic_declination(site, dt.date(2029, 12, 31)).value == pytest.approx(0.0, abs=5.0)
    for year in (2024, 2030):
        with pytest.raises(ValueError, match="from 2025 to the end of 2029 only"):
            magnetic_declination(site, dt.date(year, 6, 1))
