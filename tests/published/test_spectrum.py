"""The direct solar spectrum of ASTM G173-03, and the lines of equal power that stand for it."""

import numpy as np
import pytest
from published_table import Published, Source
from pvlib.spectrum import get_reference_spectra

from raytrace.arrays import Floats
from raytrace.optics.materials import BOROSILICATE, MATERIALS, PMMA, Material, constant_material
from raytrace.optics.spectrum import direct_spectrum, line_optics, spectral_lines, wavelength_at

MOST_LINES = 2048
TOTAL = Source(text="ASTM G173-03, direct and circumsolar, whole irradiance", basis="memory")
ROWS = Source(text="ASTM G173-03, table, rows as a general library has them", basis="quoted")
BANDS = Source(text="ASTM G173-03, table, bands by the trapezoid rule", basis="computed")
QUANTILES = Source(text="ASTM G173-03, table, quantiles by the trapezoid rule", basis="computed")


# The standard's table as pvlib ships it, row by row: a general library's copy of the same published data.
def test_each_row_is_that_of_pvlib() -> None:
    wavelength, irradiance = direct_spectrum()
    published = get_reference_spectra(standard="ASTM G173-03")["direct"]
    assert np.array_equal(wavelength, published.index.to_numpy())
    assert irradiance == pytest.approx(published.to_numpy(), rel=1e-12, abs=0.0)


# Direct and circumsolar: 900.1 W/m2, the rounding that is usually printed (value from memory, to be confirmed);
# 900.139 computed with the trapezoid rule from pvlib's table.
def test_whole_irradiance(published: Published) -> None:
    wavelength, irradiance = direct_spectrum()
    assert wavelength.shape == irradiance.shape == (2002,)
    assert (wavelength[0], wavelength[-1]) == (280.0, 4000.0)
    whole = float(np.trapezoid(irradiance, wavelength))
    published(TOTAL, "whole direct irradiance [W/m2]", whole, 900.1, within=0.05, why="one decimal printed")
    assert np.trapezoid(irradiance, wavelength) == pytest.approx(900.139, abs=6e-4)


# Computed from pvlib's table with the trapezoid rule; three decimals printed.
@pytest.mark.parametrize(
    ("low", "high", "power", "share"),
    [
        (280.0, 400.0, 30.520, 0.03391),
        (400.0, 700.0, 374.815, 0.41640),
        (700.0, 1100.0, 305.075, 0.33892),
        (1100.0, 1400.0, 82.690, 0.09186),
        (1400.0, 1800.0, 67.164, 0.07462),
        (1800.0, 2500.0, 32.027, 0.03558),
        (2500.0, 4000.0, 7.849, 0.00872),
        (300.0, 2500.0, 892.290, 0.99128),
        (400.0, 1600.0, 794.100, 0.88220),
        (380.0, 780.0, 467.824, 0.51972),
    ],
)
def test_irradiance_of_a_band(low: float, high: float, power: float, share: float, published: Published) -> None:
    wavelength, irradiance = direct_spectrum()
    band = (wavelength >= low) & (wavelength <= high)
    found = float(np.trapezoid(irradiance[band], wavelength[band]))
    what = f"irradiance from {low:g} to {high:g} nm [W/m2]"
    published(BANDS, what, found, power, within=6e-4, why="three decimals given")
    # The same share by the inverse: both ends of the band stand at shares that differ by it.
    shares = np.linspace(0.0, 1.0, 100_001)
    inside = np.interp([low, high], wavelength_at(shares), shares)
    assert inside[1] - inside[0] == pytest.approx(share, abs=2e-5)  # a step of the shares at either end


# Computed from pvlib's table; one decimal printed.
def test_quantiles_mean_and_peak(published: Published) -> None:
    shares = np.array([0.05, 0.25, 0.50, 0.75, 0.95])
    expected = (416.1, 559.1, 741.2, 1038.8, 1752.0)
    for share, found, value in zip(shares, wavelength_at(shares), expected, strict=True):
        what = f"wavelength below which {100.0 * share:.0f} % of the power lies [nm]"
        published(QUANTILES, what, float(found), value, within=0.06, why="one decimal given")
    wavelength, irradiance = direct_spectrum()
    mean = np.trapezoid(irradiance * wavelength, wavelength) / np.trapezoid(irradiance, wavelength)
    assert mean == pytest.approx(880.0, abs=0.06)
    assert wavelength[irradiance.argmax()] == 531.0
    assert irradiance.max() == pytest.approx(1.4348, abs=5e-5)


# Rows of the standard, seen in pvlib's table.
@pytest.mark.parametrize(("at", "value"), [(500.0, 1.3391), (550.0, 1.3648), (1000.0, 0.69159)])
def test_single_rows(at: float, value: float, published: Published) -> None:
    wavelength, irradiance = direct_spectrum()
    found = float(irradiance[wavelength == at][0])
    published(ROWS, f"irradiance at {at:g} nm [W/(m2 nm)]", found, value, within=5e-6, why="five digits printed")


# Derived: n lines of equal power stand for the power between k / n and (k + 1) / n each, and lie in its middle.
@pytest.mark.parametrize("count", [1, 4, 1000])
def test_lines_stand_in_the_middle_of_bins_of_equal_power(count: int) -> None:
    wavelength, irradiance = direct_spectrum()
    steps = 0.5 * (irradiance[1:] + irradiance[:-1]) * np.diff(wavelength)
    below = np.concatenate([[0.0], np.cumsum(steps)]) / np.sum(steps)
    lines = spectral_lines(count)
    assert lines.shape == (count,)
    assert np.interp(lines, wavelength, below) == pytest.approx((np.arange(count) + 0.5) / count, abs=1e-12)


# Computed from the table: one line lies at the median, 741.2 nm; the mean of many is the mean wavelength, 880.0 nm.
def test_one_line_is_the_median_and_many_have_the_mean_wavelength() -> None:
    assert spectral_lines(1) == pytest.approx([741.2], abs=0.06)
    assert spectral_lines(MOST_LINES).mean() == pytest.approx(880.0, abs=0.1)


def whole_spectrum(values: Floats) -> float:
    """Mean over the direct beam of values given at each row of the spectrum, by the trapezoid rule."""
    wavelength, irradiance = direct_spectrum()
    return float(np.trapezoid(values * irradiance, wavelength) / np.trapezoid(irradiance, wavelength))


# The slow twin is the trapezoid rule over all 2002 rows. On 3 mm, for which the lines are made, 16 points a bin leave
# less than 3e-5; on other paths one absorption for a whole bin is an approximation that errs by up to 2e-4 (silicone),
# ten times less than two sheets of one kind differ. For PMMA the docstring promises 1e-4.
@pytest.mark.parametrize("material", MATERIALS.values(), ids=MATERIALS.keys())
def test_lines_let_the_whole_spectrum_pass_as_the_table_does(material: Material) -> None:
    wavelength, _ = direct_spectrum()
    index, absorption = line_optics(material, None, MOST_LINES)
    assert index.shape == absorption.shape == (MOST_LINES,)
    assert np.all(np.isfinite(absorption))
    assert np.all(absorption >= 0.0)
    assert index.mean() == pytest.approx(whole_spectrum(material.refractive_index(wavelength)), abs=1e-6)
    of_path = {0.001: 2e-4, 0.003: 3e-5, 0.010: 2e-4}  # [m]
    if material is PMMA:
        of_path = {0.001: 1e-4, 0.003: 3e-5, 0.010: 1e-4}
    for path, error in of_path.items():
        table = whole_spectrum(np.exp(-material.absorption_coefficient(wavelength) * path))
        assert np.exp(-absorption * path).mean() == pytest.approx(table, abs=error), path


# Derived: more lines come closer to the table, on a path other than that for which they are made.
def test_more_lines_come_closer() -> None:
    wavelength, _ = direct_spectrum()
    table = whole_spectrum(np.exp(-PMMA.absorption_coefficient(wavelength) * 0.010))
    errors = [abs(np.exp(-line_optics(PMMA, None, count)[1] * 0.010).mean() - table) for count in (16, 256, 2048)]
    assert errors[0] > 10.0 * errors[1] > 50.0 * errors[2]


# Derived: with one wavelength all lines are that one, bit for bit.
def test_one_wavelength_gives_equal_lines() -> None:
    index, absorption = line_optics(BOROSILICATE, 587.562, 5)
    assert np.array_equal(index, np.full(5, BOROSILICATE.refractive_index(587.562)))
    assert np.array_equal(absorption, np.full(5, BOROSILICATE.absorption_coefficient(587.562)))


# Derived: a material without colour has the same index and absorption in each bin; log of exp costs a few last digits.
@pytest.mark.parametrize("absorption", [0.0, 3.0, 1000.0])
def test_lines_of_a_colourless_material(absorption: float) -> None:
    index, lines = line_optics(constant_material(1.49, absorption), None, 64)
    assert index == pytest.approx(np.full(64, 1.49), abs=1e-14)
    assert lines == pytest.approx(np.full(64, absorption), rel=1e-12, abs=1e-12)


# Derived: light that no sheet passes stays finite, though exp underflows.
def test_lines_stay_finite_where_nothing_passes() -> None:
    _, absorption = line_optics(PMMA, None, MOST_LINES)
    assert absorption.max() > 1e3
    assert np.all(np.isfinite(absorption))
