"""The grammar of quantities, and what its messages say."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracking.scenefile.units import (
    ABSORPTION,
    ANGLE,
    DURATION,
    IRRADIANCE,
    LENGTH,
    SMALL_ANGLE,
    WAVELENGTH,
    Kind,
    QuantityError,
    number,
    quantity,
    shown,
)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("600 mm", LENGTH, 0.6),
        ("0.6 m", LENGTH, 0.6),
        ("60 cm", LENGTH, 0.6),
        ("500 um", LENGTH, 0.0005),
        # 1 in = 25.4 mm and 1 ft = 0.3048 m exactly: international yard and pound agreement of 1959.
        ("24 in", LENGTH, 0.6096),
        ("2 ft", LENGTH, 0.6096),
        ("-3 deg", ANGLE, -3.0),
        ("+3.25 deg", ANGLE, 3.25),
        ("1e1 deg", ANGLE, 10.0),
        ("2 mrad", SMALL_ANGLE, 2.0),
        ("850 W/m^2", IRRADIANCE, 850.0),
        ("0.85 kW/m^2", IRRADIANCE, 850.0),
        ("5 1/m", ABSORPTION, 5.0),
        ("0.05 1/cm", ABSORPTION, 5.0),
        ("587.6 nm", WAVELENGTH, 587.6),
        ("0.5876 um", WAVELENGTH, 587.6),
        ("15 min", DURATION, 900.0),
        ("1 h", DURATION, 3600.0),
    ],
)
def test_quantity_in_base_units(text: str, kind: Kind, value: float) -> None:
    assert quantity(text, kind) == value  # exact: the product with the unit is rounded once


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("3.141592653589793 rad", ANGLE, 180.0),
        ("1000 mrad", ANGLE, math.degrees(1.0)),
        ("1 deg", SMALL_ANGLE, 1000.0 * math.radians(1.0)),
    ],
)
def test_angles_across_units(text: str, kind: Kind, value: float) -> None:
    assert quantity(text, kind) == pytest.approx(value, rel=1e-15)  # the last digit of pi


@given(st.integers(-100_000, 100_000), st.integers(0, 999))
def test_the_same_length_in_two_units_is_the_same_number(millimetres: int, thousandths: int) -> None:
    text = f"{millimetres}.{thousandths:03d}"
    assert quantity(f"{text} mm", LENGTH) == quantity(f"{text}e-3 m", LENGTH) == quantity(f"{text}e3 um", LENGTH)


@pytest.mark.parametrize(
    ("raw", "problem"),
    [
        (0.6, "0.6 is a bare number: write it with its unit, in quotes"),
        (6, "6 is a bare number: write it with its unit, in quotes"),
        (True, "true is no length"),
        (["600 mm"], '["600 mm"] is no length'),
        ("0,6 m", '"0,6 m" has a comma: write 0.6, not 0,6'),
        ("1,200.5 mm", '"1,200.5 mm" has a comma: write 1.200, not 1,200'),
        (", mm", '", mm" has a comma: a number has a decimal point or none'),
        ("600", '"600" has no unit'),
        ("600mm", '"600mm" has not exactly one space, between number and unit: write "600 mm"'),
        ("600  mm", '"600  mm" has not exactly one space, between number and unit: write "600 mm"'),
        (" 600 mm", '" 600 mm" has not exactly one space, between number and unit: write "600 mm"'),
        ("600 km", '"600 km" has the unit "km", which is none for this length'),
        ("600 MM", '"600 MM" has the unit "MM", which is none for this length'),
        ("600 deg", '"600 deg" has the unit "deg", which is none for this length'),
        ("nan m", '"nan m" is not a number, one space and a unit'),
        ("inf m", '"inf m" is not a number, one space and a unit'),
        ("1e999 m", '"1e999 m" is not a number, one space and a unit'),
        ("about 3 m", '"about 3 m" is not a number, one space and a unit'),
        ("3 m 2", '"3 m 2" is not a number, one space and a unit'),
        ("", '"" is not a number, one space and a unit'),
        ("\N{ARABIC-INDIC DIGIT THREE} m", '"\N{ARABIC-INDIC DIGIT THREE} m" is not a number, one space and a unit'),
        ("600 mm\n", "'600 mm\\n' has not exactly one space, between number and unit: write \"600 mm\""),
    ],
)
def test_what_is_wrong_with_a_quantity(raw: object, problem: str) -> None:
    with pytest.raises(QuantityError) as caught:
        quantity(raw, LENGTH)
    assert caught.value.problem == problem
    assert caught.value.allowed == (
        'a length, written as number, one space, unit (mm, cm, m, um, in or ft), such as "600 mm"'
    )


def test_an_endless_text_is_cut_in_the_message() -> None:
    with pytest.raises(QuantityError, match="is too long for a quantity") as caught:
        quantity("9" * 100_000 + " m", LENGTH)
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("text", ["20 mm", "2 cm", "0.02 m", "5 m", "5000 mm"])
def test_bounds_are_allowed_themselves(text: str) -> None:
    assert quantity(text, LENGTH, low="20 mm", high="5 m") in (0.02, 5.0)


@pytest.mark.parametrize(("text", "word"), [("19.999 mm", "small"), ("-1 m", "small"), ("5.001 m", "large")])
def test_out_of_bounds(text: str, word: str) -> None:
    with pytest.raises(QuantityError) as caught:
        quantity(text, LENGTH, low="20 mm", high="5 m")
    assert caught.value.problem == f'"{text}" is too {word}'
    assert caught.value.allowed.startswith("a length from 20 mm to 5 m, written as")


def test_plain_numbers() -> None:
    assert number(1, low=0.0, high=1.0) == 1.0
    assert number(0.94) == 0.94


@pytest.mark.parametrize(
    ("raw", "problem"),
    [
        ("0.94", '"0.94" is no plain number: write it without quotes'),
        ("0,94", '"0,94" has a comma: write 0.94, not 0,94'),
        ("94 %", '"94 %" is no plain number'),
        (True, "true is no plain number"),
        (math.nan, "nan is not a finite number"),
        (math.inf, "inf is not a finite number"),
        (-0.1, "-0.1 is too small"),
        (1.01, "1.01 is too large"),
        pytest.param(10**5000, "a number of too many digits is too large", id="5001 digits"),
    ],
)
def test_what_is_wrong_with_a_plain_number(raw: object, problem: str) -> None:
    with pytest.raises(QuantityError) as caught:
        number(raw, low=0.0, high=1.0)
    assert caught.value.problem == problem
    assert caught.value.allowed == "a plain number from 0 to 1, without quotes and without a unit"


def test_values_are_shown_as_they_are_written() -> None:
    assert shown({"index": 1.49, "absorption": "5 1/m"}) == '{ index = 1.49, absorption = "5 1/m" }'
    assert shown([["0 deg", 1], True]) == '[["0 deg", 1], true]'
    assert len(shown(["deg"] * 100_000)) < 200
