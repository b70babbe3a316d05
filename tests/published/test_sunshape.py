"""The sun's profile against published values: disc, aureole, circumsolar ratio and rms radii.

D. Buie, A. G. Monger and C. J. Dey, "Sunshape distributions for terrestrial solar simulations", Solar Energy 74 (2003)
113. Its constants were seen in several public restatements that agree; the paper itself was not seen. All values of the
tables below were computed from the formula, apart from this code.
"""

import math

import numpy as np
import pytest
from published_table import Published, Source
from scipy.integrate import quad

from raytrace.optics.sunshape import (
    AUREOLE,
    CHI_HIGH,
    CHI_LOW,
    DISC,
    aureole_exponents,
    aureole_power,
    chi_for,
    disc_power,
    disc_radiance,
    radial_quantiles,
    radius_sq_at,
    realised_ratio,
)

_BUIE = "Buie, Monger and Dey, Solar Energy 74 (2003) 113"
DISC_FORMULA = Source(text=f"{_BUIE}, formula of the disc", basis="computed")
AUREOLE_FORMULA = Source(text=f"{_BUIE}, formula of the aureole", basis="computed")
IAU = Source(text="IAU 2015 resolution B3 and 2012 resolution B2, nominal radius and astronomical unit", basis="memory")
SIXTEEN = Source(text="Xie, Dai and Wang, Solar Energy 86 (2012) 2458, half-angle of 16 minutes", basis="seen")
UNIFORM = Source(text="moments of an even disc", basis="derived")
MRAD = 1e-3  # [rad]
CELLS = 1 << 16
SOLAR_RADIUS = 6.957e8  # [m], IAU 2015 resolution B3, nominal; value from memory, to be confirmed
ASTRONOMICAL_UNIT = 1.495978707e11  # [m], IAU 2012 resolution B2; value from memory, to be confirmed


def rms_radius(sunshape: str, circumsolar_ratio: float) -> float:
    """Rms angle from the centre [mrad] of a sun sampled from `radial_quantiles`: exact for linear interpolation."""
    square = radial_quantiles(sunshape, circumsolar_ratio, CELLS)
    return math.sqrt(float(np.mean(0.5 * (square[1:] + square[:-1])))) / MRAD


# asin(radius / distance) at the mean distance, computed from the IAU's nominal values.
def test_disc_is_the_mean_sun(published: Published) -> None:
    assert math.asin(SOLAR_RADIUS / ASTRONOMICAL_UNIT) / MRAD == pytest.approx(4.650484, abs=1e-6)
    why = "4.65 is the rounded value in use"
    mean = 4.650484
    published(IAU, "half-angle of the disc at the mean distance [mrad]", DISC, mean, relative=1e-3, why=why)
    # 16 arc minutes, as Xie et al. 2012 take it (seen in the source).
    sixteen = math.radians(16.0 / 60.0) / MRAD
    published(SIXTEEN, "half-angle of 16 minutes [mrad]", DISC, round(sixteen, 4), relative=1e-3, why="whole minutes")


# Derived: within 43.6 mrad the square of the angle stands for the solid angle to 2e-4.
def test_small_angles_stand_for_solid_angles() -> None:
    assert math.pi * (DISC * MRAD) ** 2 == pytest.approx(6.79290e-5, rel=1e-5)  # [sr], computed
    aureole = AUREOLE * MRAD
    assert math.pi * aureole**2 == pytest.approx(2.0 * math.pi * (1.0 - math.cos(aureole)), rel=2e-4)


# Computed from the formula; five decimals printed.
def test_radiance_of_the_disc(published: Published) -> None:
    assert disc_radiance([0.0])[0] == 1.0
    for radius, value in ((1.0, 0.99411), (2.0, 0.97387), (3.0, 0.92707), (4.0, 0.79326), (4.65, 0.39716)):
        what = f"radiance over that of the centre at {radius:g} mrad"
        found = float(disc_radiance([radius])[0])
        published(DISC_FORMULA, what, found, value, within=6e-6, why="five decimals given")
    assert disc_radiance([4.6501, 10.0]) == pytest.approx([0.0, 0.0], abs=0.0)


# Computed: integral over the disc 57.9608 mrad2, 0.85325 of a uniform disc; most power by radius at 3.8916 mrad.
def test_power_of_the_disc(published: Published) -> None:
    what = "integral of the radiance over the disc [mrad2]"
    published(DISC_FORMULA, what, disc_power(), 57.9608, within=6e-5, why="four decimals given")
    assert disc_power() / (math.pi * DISC**2) == pytest.approx(0.85325, abs=6e-6)
    radius = np.linspace(0.0, DISC, 465_001)
    assert radius[np.argmax(disc_radiance(radius) * radius)] == pytest.approx(3.8916, abs=6e-5)


# Exact: rms of a uniform disc is its radius over sqrt 2, along a line its radius over 2 (derived).
def test_moments_of_the_uniform_disc(published: Published) -> None:
    radial = rms_radius("uniform", 0.0)
    assert radial == pytest.approx(DISC / math.sqrt(2.0), rel=1e-12)
    published(UNIFORM, "rms radius of an even disc [mrad]", radial, 3.2880, within=6e-5, why="four decimals given")
    assert radial / math.sqrt(2.0) == pytest.approx(2.325, abs=1e-9)
    # Fourth moment: mean of t^4 = R^4 / 3, from nodes between which t^2 runs straight (derived).
    square = radial_quantiles("uniform", 0.0, CELLS)
    fourth = np.mean((square[1:] ** 2 + square[1:] * square[:-1] + square[:-1] ** 2) / 3.0)
    assert fourth == pytest.approx((DISC * MRAD) ** 4 / 3.0, rel=1e-12)


# Computed; four decimals printed.
def test_rms_radius_of_the_disc_alone(published: Published) -> None:
    radial = rms_radius("limb-darkened", 0.0)
    what = "rms radius of the limb-darkened disc [mrad]"
    published(DISC_FORMULA, what, radial, 3.1401, within=6e-5, why="four decimals given")
    assert radial / math.sqrt(2.0) == pytest.approx(2.2204, abs=6e-5)


def test_point_sun_has_no_radius() -> None:
    assert rms_radius("point", 0.0) == 0.0


# Computed from the formula; chi is the paper's parameter, the ratio what the profile then has from 4.65 to 43.6 mrad.
@pytest.mark.parametrize(
    ("chi", "gamma", "kappa", "at_ten", "ratio", "radial", "line"),
    [
        (0.02, -1.96809, -3.81052, 2.38e-4, 0.00581, 3.5062, 2.4793),
        (0.05, -2.31428, -0.86894, 2.034e-3, 0.04313, 4.9060, 3.4690),
        (0.10, -2.51659, 0.53891, 5.217e-3, 0.10027, 6.1844, 4.3730),
        (0.30, -2.53561, 1.80649, 1.7740e-2, 0.27426, 9.2942, 6.5720),
    ],
)
def test_aureole(
    *,
    chi: float,
    gamma: float,
    kappa: float,
    at_ten: float,
    ratio: float,
    radial: float,
    line: float,
    published: Published,
) -> None:
    assert aureole_exponents(chi) == pytest.approx((kappa, gamma), abs=6e-6)
    assert math.exp(kappa) * 10.0**gamma == pytest.approx(at_ten, rel=3e-3)  # three digits printed at the least
    realised = realised_ratio(chi)
    what = f"circumsolar ratio that a chi of {chi:g} makes"
    published(AUREOLE_FORMULA, what, realised, ratio, within=6e-6, why="five decimals given")
    assert chi_for(realised) == pytest.approx(chi, abs=1e-10)
    what = f"rms radius with a chi of {chi:g} [mrad]"
    found = rms_radius("limb-darkened", realised)
    published(AUREOLE_FORMULA, what, found, radial, within=1e-4, why="four decimals given, 65536 nodes")
    assert rms_radius("limb-darkened", realised) / math.sqrt(2.0) == pytest.approx(line, abs=1e-4)


# Computed: the paper's chi is not the ratio that results, 0.4 gives 0.373.
def test_chi_is_not_the_circumsolar_ratio() -> None:
    assert realised_ratio(0.4) == pytest.approx(0.373, abs=6e-4)


# Slow twin: adaptive quadrature of the formula as printed, written out here once more.
@pytest.mark.parametrize("chi", [0.02, 0.1, 0.3, 0.6])
def test_powers_against_quadrature(chi: float) -> None:
    kappa = 0.9 * math.log(13.5 * chi) * chi ** (-0.3)
    gamma = 2.2 * math.log(0.52 * chi) * chi**0.43 - 0.1
    disc, _ = quad(lambda t: 2.0 * math.pi * t * math.cos(0.326 * t) / math.cos(0.308 * t), 0.0, 4.65, epsabs=1e-11)
    halo, _ = quad(lambda t: 2.0 * math.pi * t * math.exp(kappa) * t**gamma, 4.65, 43.6, epsabs=1e-11)
    assert disc_power() == pytest.approx(disc, rel=1e-9)
    assert aureole_power(chi) == pytest.approx(halo, rel=1e-9)
    assert realised_ratio(chi) == pytest.approx(halo / (halo + disc), rel=1e-9)


# Derived: the ratio asked for is the share of the sampled power beyond the disc. Half a node and rounding: 1 / CELLS.
@pytest.mark.parametrize("ratio", [0.001, 0.05, 0.10, 0.30, 0.60])
def test_ratio_asked_for_is_the_ratio_sampled(ratio: float) -> None:
    square = radial_quantiles("limb-darkened", ratio, CELLS)
    assert np.mean(square > (DISC * MRAD) ** 2) == pytest.approx(ratio, abs=1.5 / CELLS)
    assert math.sqrt(float(square[-1])) == pytest.approx(AUREOLE * MRAD, rel=1e-12)
    assert radius_sq_at(1.0 - ratio, "limb-darkened", ratio) == pytest.approx(DISC**2, rel=1e-9)


# Computed: the ratio rises with chi over the whole range in which it is solved for, so the solution is the only one.
def test_ratio_rises_with_chi() -> None:
    ratios = [realised_ratio(chi) for chi in np.linspace(CHI_LOW, CHI_HIGH, 900)]
    assert np.all(np.diff(ratios) > 0.0)
