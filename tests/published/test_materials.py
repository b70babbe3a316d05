"""Indices, Abbe numbers and absorption of the materials against the open data they were taken from.

The dispersion formulas were seen in the refractiveindex.info database (CC0); the indices at the spectral lines, the
Abbe numbers and the transmittances were computed from it apart from this code.
"""

import math

import numpy as np
import pytest
from published_table import Published, Source

from raytrace.arrays import Floats
from raytrace.optics.materials import (
    BOROSILICATE,
    PMMA,
    POLYCARBONATE,
    SILICONE,
    SODA_LIME,
    Dispersion,
    Material,
)
from raytrace.optics.spectrum import direct_spectrum

F_LINE, D_LINE, C_LINE = 486.133, 587.562, 656.273  # [nm], hydrogen F, helium d, hydrogen C
NEODYMIUM = 1064.0  # [nm]
LAST_DIGIT = 6e-6  # indices are printed with five decimals
_OPEN = "refractiveindex.info database"
CROWN = Source(text=f"{_OPEN}, borosilicate crown glass 517642", basis="seen")
CROWN_FORMULA = Source(text=f"{_OPEN}, Sellmeier formula of crown glass 517642", basis="computed")
DISPERSION = {
    "PMMA": "Beadie et al., Applied Optics 54 (2015) F139",
    "polycarbonate": "Sultanova et al., Acta Physica Polonica A 116 (2009) 585",
    "silicone": "Schneider et al. 2009",
    "soda-lime": "Rubin 1985",
    "borosilicate": "data sheet of 2021",
}
DATA_SHEET = Source(text=f"{_OPEN}, data sheet of borosilicate 3.3 glass, Abbe number", basis="seen")
ZHANG = Source(
    text="Zhang et al., Applied Optics 59 (2020) 2337 and JQSRT 252, 107063, absorption of PMMA", basis="computed"
)
WEIGHTED = Source(text=f"{_OPEN}, absorption, weighted by the direct beam of ASTM G173-03", basis="computed")
SLAB = Source(text=f"{_OPEN}, slabs under the direct beam of ASTM G173-03", basis="computed")
DENSITIES = Source(text="handbook densities (borosilicate 3.3: ISO 3585)", basis="memory")


def dispersion_of(material: Material) -> Source:
    """The published dispersion formula of a material."""
    return Source(text=f"{_OPEN}: {DISPERSION[material.name]}, formula", basis="computed")


def abbe_number(n_f: float, n_d: float, n_c: float) -> float:
    """V_d = (n_d - 1) / (n_F - n_C), the definition."""
    return (n_d - 1.0) / (n_f - n_c)


# The common borosilicate crown glass, code 517642, as a control of the Sellmeier formula: n_d 1.51680 and V_d 64.17
# seen in the database's entry, n at F, C and 1064 nm computed from it. The six coefficients are values from memory, to
# be confirmed; all printed digits agree.
def test_control_glass_has_its_published_index_and_abbe_number(published: Published) -> None:
    crown = Dispersion(
        constant=1.0,
        resonances=((1.03961212, 0.00600069867), (0.231792344, 0.0200179144), (1.01046945, 103.560653)),
        low=300.0,
        high=2500.0,
    )
    n_f, n_d, n_c, n_far = crown.index([F_LINE, D_LINE, C_LINE, NEODYMIUM])
    why = "five decimals printed"
    published(CROWN, "index of crown glass, d line", n_d, 1.51680, within=LAST_DIGIT, why=why)
    for name, found, value in (("F line", n_f, 1.52238), ("C line", n_c, 1.51432), ("1064 nm", n_far, 1.50663)):
        published(CROWN_FORMULA, f"index of crown glass, {name}", found, value, within=LAST_DIGIT, why=why)
    abbe = abbe_number(n_f, n_d, n_c)
    published(CROWN, "Abbe number of crown glass", abbe, 64.17, within=0.005, why="two decimals printed")


# Formulas seen in the database, the numbers computed from it. PMMA: Beadie et al. 2015. Polycarbonate: Sultanova et al.
# 2009. Silicone: Schneider et al. 2009. Soda-lime: Rubin 1985. Borosilicate: a data sheet of 2021.
@pytest.mark.parametrize(
    ("material", "indices", "abbe"),
    [
        (PMMA, (1.49836, 1.49253, 1.49007), 59.4),
        (POLYCARBONATE, (1.59960, 1.58476, 1.57861), 27.9),
        (SILICONE, (1.43838, 1.43156, 1.42870), 44.6),
        (SODA_LIME, (1.52902, 1.52338, 1.52083), 64.0),
        (BOROSILICATE, (1.47642, 1.47149, 1.46928), 66.0),
    ],
    ids=lambda value: value.name if isinstance(value, Material) else "",
)
def test_index_at_three_lines_and_abbe_number(
    material: Material, indices: tuple[float, float, float], abbe: float, published: Published
) -> None:
    source, n = dispersion_of(material), material.refractive_index([F_LINE, D_LINE, C_LINE])
    for line, found, value in zip("FdC", n, indices, strict=True):
        what = f"index of {material.name}, {line} line"
        published(source, what, float(found), value, within=LAST_DIGIT, why="five decimals printed")
    what = f"Abbe number of {material.name}"
    published(source, what, float(abbe_number(*n)), abbe, within=0.06, why="one decimal printed")


# Computed from the same formulas; only materials whose source reaches 1064 nm.
@pytest.mark.parametrize(("material", "index"), [(PMMA, 1.48355), (SODA_LIME, 1.51291), (BOROSILICATE, 1.46213)])
def test_index_in_the_near_infrared(material: Material, index: float, published: Published) -> None:
    found = float(material.refractive_index(NEODYMIUM))
    what = f"index of {material.name}, 1064 nm"
    published(dispersion_of(material), what, found, index, within=LAST_DIGIT, why="five decimals printed")


# Three measurements of PMMA in the database (Beadie 2015, Sultanova 2009, Szczurowski 2013) lie in this band at the d
# line: computed from them. What makers mix in moves the index by as much.
def test_pmma_lies_in_the_band_of_three_measurements() -> None:
    assert 1.4906 <= PMMA.refractive_index(D_LINE) <= 1.4926


# The data sheet's own Abbe number of borosilicate 3.3 glass is 65.41 (seen in the source). Its dispersion
# formula, a fit, gives 66.0: one per cent apart, which moves n_F - n_C by 7e-5.
def test_borosilicate_abbe_number_against_the_data_sheet(published: Published) -> None:
    found = float(abbe_number(*BOROSILICATE.refractive_index([F_LINE, D_LINE, C_LINE])))
    why = "the fit of its dispersion is 7e-5 off in n_F - n_C"
    published(DATA_SHEET, "Abbe number of borosilicate 3.3, data sheet", found, 65.41, relative=0.011, why=why)


# Absorption of a PMMA sheet, 4 pi k / wavelength computed from k of the database's entry: Zhang et al. 2020 (Applied
# Optics 59, 2337 to 2 um; JQSRT 252, 107063 beyond). Three digits printed, so half a unit of the last.
@pytest.mark.parametrize(
    ("wavelength", "absorption", "half_digit"),
    [
        (400.0, 7.35, 0.006),
        (587.6, 3.88, 0.006),
        (800.0, 1.56, 0.006),
        (1000.0, 1.52, 0.006),
        (1180.0, 90.7, 0.06),
        (1400.0, 99.6, 0.06),
        (1500.0, 29.2, 0.06),
        (1600.0, 40.4, 0.06),
        (1700.0, 498.0, 0.6),
        (1900.0, 401.0, 0.6),
        (2000.0, 147.0, 0.6),
        (2200.0, 462.0, 0.6),
    ],
)
def test_absorption_of_pmma(wavelength: float, absorption: float, half_digit: float, published: Published) -> None:
    found = float(PMMA.absorption_coefficient(wavelength))
    what = f"absorption of PMMA at {wavelength:g} nm [1/m]"
    published(ZHANG, what, found, absorption, within=half_digit, why="three digits given")


# The same table's last entry: above 5e3 1/m at 2.4 um, nothing passes 3 mm.
def test_pmma_is_black_at_2400_nm() -> None:
    absorption = float(PMMA.absorption_coefficient(2400.0))
    assert absorption > 5e3
    assert math.exp(-absorption * 0.003) < 1e-6


# The same table: internal transmittance of 3 mm, three digits printed.
def test_internal_transmittance_of_pmma_at_single_wavelengths() -> None:
    at = [400.0, 587.6, 800.0, 1000.0, 1180.0, 1400.0, 1500.0, 1600.0, 1700.0, 1900.0, 2000.0, 2200.0]
    passed = np.exp(-PMMA.absorption_coefficient(at) * 0.003)
    published = [0.978, 0.988, 0.995, 0.995, 0.762, 0.742, 0.916, 0.886, 0.224, 0.300, 0.643, 0.250]
    assert passed == pytest.approx(published, abs=6e-4)


def weighted(low: float, high: float, transmittance: Floats) -> float:
    """Mean of `transmittance`, given at each row of the spectrum, over the direct beam from `low` to `high` [nm]."""
    wavelength, irradiance = direct_spectrum()
    band = (wavelength >= low) & (wavelength <= high)
    whole = np.trapezoid(irradiance[band], wavelength[band])
    return float(np.trapezoid((transmittance * irradiance)[band], wavelength[band]) / whole)


# Computed from the database's k and the direct spectrum of ASTM G173-03, without this code; four digits printed. The
# band of soda-lime is not stated with its value; that of borosilicate is taken. The other PMMA sheet of the same
# authors has 0.9229: sheets differ by far more than the arithmetic.
@pytest.mark.parametrize(
    ("material", "thickness", "low", "internal"),
    [
        (PMMA, 0.003, 400.0, 0.9311),
        (POLYCARBONATE, 0.003, 400.0, 0.9270),
        (BOROSILICATE, 0.0016, 350.0, 0.9980),
        (SODA_LIME, 0.003, 350.0, 0.9809),
    ],
    ids=lambda value: value.name if isinstance(value, Material) else "",
)
def test_internal_transmittance_of_the_direct_beam(
    material: Material, thickness: float, low: float, internal: float, published: Published
) -> None:
    wavelength, _ = direct_spectrum()
    passed = np.exp(-material.absorption_coefficient(wavelength) * thickness)
    what = f"internal transmittance of {1e3 * thickness:g} mm of {material.name}"
    published(WEIGHTED, what, weighted(low, 2500.0, passed), internal, within=6e-5, why="four decimals given")


# Computed likewise for a slab at normal incidence, with all its inner reflections: T = (1 - R)^2 t / (1 - R^2 t^2) and
# R = ((n - 1) / (n + 1))^2, the textbook sum (derived: geometric series). Index and absorption work together here. The
# index behind these values is not stated; that of the d line instead of each wavelength's own moves them by 1.5e-3.
@pytest.mark.parametrize(
    ("material", "thickness", "low", "slab"),
    [(PMMA, 0.003, 400.0, 0.8619), (POLYCARBONATE, 0.003, 400.0, 0.8368), (BOROSILICATE, 0.0016, 350.0, 0.9278)],
    ids=lambda value: value.name if isinstance(value, Material) else "",
)
def test_transmittance_of_a_slab(
    material: Material, thickness: float, low: float, slab: float, published: Published
) -> None:
    wavelength, _ = direct_spectrum()
    index = material.refractive_index(wavelength)
    reflected = ((index - 1.0) / (index + 1.0)) ** 2
    inside = np.exp(-material.absorption_coefficient(wavelength) * thickness)
    passed = (1.0 - reflected) ** 2 * inside / (1.0 - (reflected * inside) ** 2)
    what = f"transmittance of a slab of {1e3 * thickness:g} mm of {material.name}"
    why = "the index behind the value is not stated: d line or each wavelength's own"
    published(SLAB, what, weighted(low, 2500.0, passed), slab, within=1.5e-3, why=why)


# Handbook densities: PMMA 1190, polycarbonate 1200, silicone 1030, borosilicate 3.3 2230 (ISO 3585), soda-lime 2500
# kg/m3. Values from memory, to be confirmed; makers differ by about one per cent.
def test_densities(published: Published) -> None:
    materials = (PMMA, POLYCARBONATE, SILICONE, BOROSILICATE, SODA_LIME)
    for material, density in zip(materials, (1190.0, 1200.0, 1030.0, 2230.0, 2500.0), strict=True):
        what = f"density of {material.name} [kg/m3]"
        why = "makers differ by about as much"
        published(DENSITIES, what, material.density, density, relative=0.01, why=why)
