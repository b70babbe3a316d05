"""What holds for all materials and sunshapes and the spectrum: ranges, inverses, samplers, messages, light imports."""

import pickle
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import chi2

from raytrace.arrays import Floats
from raytrace.optics.materials import MATERIALS, PMMA, POLYCARBONATE, Material, constant_material, material_named
from raytrace.optics.spectrum import direct_spectrum, line_optics, spectral_lines, wavelength_at
from raytrace.optics.sunshape import (
    AUREOLE,
    DISC,
    aureole_exponents,
    chi_for,
    density,
    disc_radiance,
    radial_quantiles,
    radius_sq_at,
    realised_ratio,
    share_within,
)
from raytrace.optics.tables import two_columns

TABLES = sorted(
    {material.absorption_table for material in MATERIALS.values() if material.absorption_table} | {"astm-g173-direct"}
)
SUNS = [("uniform", 0.0), ("limb-darkened", 0.0), ("limb-darkened", 0.02), ("limb-darkened", 0.4)]
every_material = pytest.mark.parametrize("material", MATERIALS.values(), ids=MATERIALS.keys())


# Materials


@every_material
def test_index_falls_with_wavelength_and_absorption_is_never_negative(material: Material) -> None:
    wavelength = np.linspace(280.0, 4000.0, 1001)
    index = material.refractive_index(wavelength)
    assert np.all((index > 1.3) & (index < 1.8))
    assert np.all(np.diff(index) <= 0.0)  # clear materials disperse normally between their absorptions
    assert np.all(np.isfinite(material.absorption_coefficient(wavelength)))
    assert np.all(material.absorption_coefficient(wavelength) >= 0.0)


@every_material
def test_end_values_hold_beyond_the_range(material: Material) -> None:
    low, high = material.dispersion.low, material.dispersion.high
    assert np.array_equal(material.refractive_index([100.0, 9000.0]), material.refractive_index([low, high]))
    assert material.absorption_table is not None
    where, value = two_columns(material.absorption_table)
    assert np.array_equal(material.absorption_coefficient([100.0, 9000.0]), value[[0, -1]])
    assert np.array_equal(material.absorption_coefficient(where), value)


@every_material
@pytest.mark.parametrize("shape", [(), (1,), (2, 3)])
def test_answers_are_shaped_as_the_wavelengths(material: Material, shape: tuple[int, ...]) -> None:
    wavelength = np.full(shape, 600.0)
    assert material.refractive_index(wavelength).shape == shape
    assert material.absorption_coefficient(wavelength).shape == shape


def test_range_notes_speak_only_where_an_end_value_stands_for_data() -> None:
    assert PMMA.range_notes(420.0, 1620.0) == ()
    assert PMMA.range_notes(410.0, 1620.0) == (
        "PMMA: the refractive index is known from 420 to 1620 nm; beyond, the value at the end of that range holds.",
    )
    index, absorption = POLYCARBONATE.range_notes(280.0, 4000.0)
    assert index.startswith("polycarbonate: the refractive index is known from 437 to 1052 nm;")
    assert absorption.startswith("polycarbonate: the absorption is known from 400 to 3988 nm;")
    assert constant_material(1.5, 2.0).range_notes(280.0, 4000.0) == ()


@every_material
def test_sources_are_named(material: Material) -> None:
    assert "database" in material.source
    assert "database" in material.absorption_source
    assert MATERIALS[material.name] is material


@pytest.mark.parametrize("material", [*MATERIALS.values(), constant_material(1.5, 2.0)], ids=lambda m: m.name)
def test_materials_are_values(material: Material) -> None:
    twin = pickle.loads(pickle.dumps(material))  # noqa: S301 (our own bytes)
    assert twin == material
    assert hash(twin) == hash(material)
    assert twin is not material


def test_constant_materials_compare_by_value() -> None:
    assert constant_material(1.49, 3.0) == constant_material(1.49, 3.0)
    assert len({constant_material(1.49, 3.0), constant_material(1.49, 3.0), constant_material(1.49, 4.0)}) == 2


@given(index=st.floats(1.0, 2.0), absorption=st.floats(0.0, 1000.0), wavelength=st.floats(1.0, 1e5))
def test_constant_material_is_constant(index: float, absorption: float, wavelength: float) -> None:
    material = constant_material(index, absorption)
    assert material.refractive_index(wavelength) == index
    assert material.absorption_coefficient(wavelength) == absorption


@pytest.mark.parametrize(
    ("index", "absorption", "message"),
    [
        (0.9, 1.0, "index must lie between 1 and 2, got 0.9."),
        (2.1, 1.0, "index must lie between 1 and 2, got 2.1."),
        (float("nan"), 1.0, "index must lie between 1 and 2, got nan."),
        (1.5, -1.0, "absorption must lie between 0 and 1000 1/m, got -1.0 1/m."),
        (1.5, 1e4, "absorption must lie between 0 and 1000 1/m, got 10000.0 1/m."),
    ],
)
def test_constant_material_refuses(index: float, absorption: float, message: str) -> None:
    with pytest.raises(ValueError, match="must lie between") as error:
        constant_material(index, absorption)
    assert str(error.value) == message


def test_unknown_material_lists_those_known() -> None:
    assert material_named("PMMA") is PMMA
    with pytest.raises(ValueError, match="No material") as error:
        material_named("window pane")
    known = "PMMA, polycarbonate, silicone, borosilicate, soda-lime"
    assert str(error.value) == f"No material is named 'window pane'; known: {known}."


# Data


@pytest.mark.parametrize("name", TABLES)
def test_tables_rise_in_wavelength_and_cannot_be_changed(name: str) -> None:
    where, value = two_columns(name)
    assert np.all(np.diff(where) > 0.0)
    assert np.all(value >= 0.0)
    for column in (where, value):
        with pytest.raises(ValueError, match="read-only"):
            column[0] = 1.0
        with pytest.raises(ValueError, match="WRITEABLE"):
            column.flags.writeable = True


def test_materials_cannot_be_changed() -> None:
    with pytest.raises(TypeError, match="does not support item assignment"):
        MATERIALS["PMMA"] = POLYCARBONATE  # type: ignore[index]
    with pytest.raises(AttributeError, match="cannot assign to field"):
        PMMA.name = "glass"  # type: ignore[misc]


@given(shares=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=20))
def test_wavelength_rises_with_share_of_power(shares: list[float]) -> None:
    wavelength = wavelength_at(np.sort(np.array(shares)))
    assert np.all(np.diff(wavelength) >= 0.0)
    assert np.all((wavelength >= 280.0) & (wavelength <= 4000.0))


# The tracer starts in a fraction of a second only while nothing here needs the slow libraries.
def test_optics_needs_no_slow_library() -> None:
    program = (
        "import sys\n"
        "from raytrace.optics import materials, spectrum, sunshape\n"
        "spectrum.line_optics(materials.PMMA, None, 16)\n"
        "sunshape.radial_quantiles('limb-darkened', 0.05, 16)\n"
        "slow = {'pandas', 'pvlib', 'matplotlib', 'trimesh', 'scipy', 'numba'}\n"
        "print(sorted(slow & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# Sunshape


@given(ratio=st.floats(1e-6, 0.8))
def test_realised_ratio_is_the_one_asked_for(ratio: float) -> None:
    assert realised_ratio(chi_for(ratio)) == pytest.approx(ratio, rel=1e-10)


@pytest.mark.parametrize(("sunshape", "ratio"), SUNS)
@given(share=st.floats(0.0, 1.0))
def test_share_within_the_radius_of_a_share_is_that_share(sunshape: str, ratio: float, share: float) -> None:
    radius = np.sqrt(radius_sq_at(share, sunshape, ratio))
    assert share_within(radius, sunshape, ratio) == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize(("sunshape", "ratio"), SUNS)
def test_share_runs_from_none_to_all(sunshape: str, ratio: float) -> None:
    share = share_within(np.linspace(0.0, 50.0, 5001), sunshape, ratio)
    assert share[0] == 0.0
    assert share[-1] == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.diff(share) >= 0.0)


@pytest.mark.parametrize(("sunshape", "ratio"), [*SUNS, ("point", 0.0)])
@pytest.mark.parametrize("cells", [1, 7, 4096])
def test_quantiles_are_the_exact_inverse_at_each_node(sunshape: str, ratio: float, cells: int) -> None:
    square = radial_quantiles(sunshape, ratio, cells)
    assert square.shape == (cells + 1,)
    assert square[0] == 0.0
    assert np.all(np.diff(square) >= 0.0)
    assert square == pytest.approx(radius_sq_at(np.arange(cells + 1) / cells, sunshape, ratio) * 1e-6, rel=1e-12)


def test_point_sun_lies_within_any_radius() -> None:
    assert np.array_equal(share_within([0.0, 1.0], "point", 0.0), [1.0, 1.0])


def test_unknown_sunshape_is_refused() -> None:
    with pytest.raises(ValueError, match="sunshape must be") as error:
        radial_quantiles("square", 0.0, 16)
    assert str(error.value) == 'sunshape must be "limb-darkened", "uniform" or "point", got \'square\'.'


@pytest.mark.parametrize("ratio", [-0.1, 1e-15, 0.9, float("nan")])
def test_ratio_out_of_reach_is_refused(ratio: float) -> None:
    with pytest.raises(ValueError, match="circumsolar_ratio must be 0 or lie between") as error:
        radial_quantiles("limb-darkened", ratio, 16)
    assert str(error.value) == (
        f"circumsolar_ratio must be 0 or lie between 2.1e-13 and 0.849, got {ratio!r}: the profile of the aureole is "
        "used for a chi from 0.001 to 0.9 only."
    )


@pytest.mark.parametrize("sunshape", ["uniform", "point"])
@pytest.mark.parametrize("answer", [radius_sq_at, share_within, density])
def test_ratio_without_an_aureole_is_refused(answer: Callable[..., Floats], sunshape: str) -> None:
    with pytest.raises(ValueError, match="circumsolar_ratio must be 0") as error:
        answer([0.5], sunshape, 0.1)
    assert str(error.value) == (
        f'circumsolar_ratio must be 0 with the sunshape "{sunshape}", got 0.1: only "limb-darkened" has an aureole.'
    )


def test_density_of_a_point_is_refused() -> None:
    with pytest.raises(ValueError, match="a point has no density"):
        density([0.0], "point", 0.0)


@pytest.mark.parametrize("count", [0, -3])
def test_counts_below_one_are_refused(count: int) -> None:
    with pytest.raises(ValueError, match=f"cells must be at least 1, got {count}"):
        radial_quantiles("uniform", 0.0, count)
    with pytest.raises(ValueError, match=f"count must be at least 1 line, got {count}"):
        spectral_lines(count)
    for wavelength in (None, 587.6):
        with pytest.raises(ValueError, match=f"count must be at least 1 line, got {count}"):
            line_optics(PMMA, wavelength, count)


# The density integrates to the cumulative share: adaptive quadrature, with a break at the limb.
@pytest.mark.parametrize(("sunshape", "ratio"), SUNS)
@pytest.mark.parametrize("radius", [1.0, 4.0, DISC, 6.0, 20.0, AUREOLE, 60.0])
def test_density_integrates_to_the_share(sunshape: str, ratio: float, radius: float) -> None:
    breaks = [0.0, *(edge for edge in (DISC, AUREOLE) if edge < radius), radius]
    parts = [
        quad(lambda t: 2.0 * np.pi * t * float(density(t, sunshape, ratio)), *pair, epsabs=1e-12)[0]
        for pair in pairwise(breaks)
    ]
    assert sum(parts) == pytest.approx(float(share_within(radius, sunshape, ratio)), abs=1e-8)


# As the docstring says: between the nodes the share within any radius is off by less than a cell, and by 4.6e-4 where
# an aureole of 0.001 has two of 2048 cells.
@pytest.mark.parametrize("ratio", [0.0, 1e-4, 0.001, 0.003, 0.01, 0.05, 0.3, 0.6])
def test_sampled_share_is_off_by_less_than_a_cell(ratio: float) -> None:
    cells = 2048
    radius = np.concatenate([np.linspace(0.0, DISC, 1001), np.geomspace(DISC, AUREOLE, 2001)])
    square = radial_quantiles("limb-darkened", ratio, cells) * 1e6
    drawn = np.interp(radius**2, square, np.arange(cells + 1) / cells)
    error = np.max(np.abs(drawn - share_within(radius, "limb-darkened", ratio)))
    assert error < 1.0 / cells
    if ratio == 0.0:
        assert error < 1e-6
    if ratio == 0.001:
        assert error == pytest.approx(4.6e-4, abs=1e-5)


SAMPLES = 200_000
SAMPLER_CELLS = 4096
LEVEL = 0.01 / len(SUNS)  # 1 % for all of them together (Bonferroni)


def expected_shares(edges: Floats, sunshape: str, ratio: float) -> Floats:
    """Share of the power in each ring, by quadrature of the radiance over solid angle: the slow, obvious twin."""

    def radiance(t: float) -> float:
        if sunshape == "uniform":
            return 1.0 if t <= DISC else 0.0
        if t <= DISC:
            return float(disc_radiance(t))
        kappa, gamma = aureole_exponents(chi_for(ratio)) if ratio > 0.0 else (-np.inf, 0.0)
        return float(np.exp(kappa) * t**gamma)

    rings = [quad(lambda t: t * radiance(t), *pair)[0] for pair in pairwise(edges)]
    return np.array(rings, dtype=np.float64) / float(sum(rings))


def chance(square: Floats, sunshape: str, ratio: float) -> float:
    """Probability of a chi-square as large as these squared radii [rad2] have, were they drawn from the profile."""
    edges = np.linspace(0.0, DISC, 21)
    if ratio > 0.0:
        edges = np.concatenate([edges, np.geomspace(DISC, AUREOLE, 13)[1:]])
    expected = expected_shares(edges, sunshape, ratio) * len(square)
    assert expected.min() > 20.0  # so that the statistic follows its distribution
    inside = np.clip(np.sqrt(square) * 1e3, edges[0], edges[-1])
    counts, _ = np.histogram(inside, edges)
    return float(chi2.sf(np.sum((counts - expected) ** 2 / expected), len(expected) - 1))


def sampled(sunshape: str, ratio: float) -> Floats:
    nodes = radial_quantiles(sunshape, ratio, SAMPLER_CELLS)
    u = np.random.default_rng(20030113).random(SAMPLES)
    return np.asarray(np.interp(u * SAMPLER_CELLS, np.arange(SAMPLER_CELLS + 1), nodes), dtype=np.float64)


@pytest.mark.parametrize(("sunshape", "ratio"), SUNS)
def test_sampled_radii_follow_the_profile(sunshape: str, ratio: float) -> None:
    assert chance(sampled(sunshape, ratio), sunshape, ratio) > LEVEL


# The test must be able to fail: a ratio that is off by a twentieth, or a disc without limb darkening, is found out.
def test_wrong_profiles_are_found_out() -> None:
    assert chance(sampled("limb-darkened", 0.38), "limb-darkened", 0.4) < 1e-6
    assert chance(sampled("uniform", 0.0), "limb-darkened", 0.0) < 1e-6


@pytest.mark.parametrize(("sunshape", "ratio"), SUNS)
def test_mean_of_sampled_squares_lies_within_four_standard_errors(sunshape: str, ratio: float) -> None:
    square = sampled(sunshape, ratio)
    nodes = radial_quantiles(sunshape, ratio, SAMPLER_CELLS)
    mean = np.mean(0.5 * (nodes[1:] + nodes[:-1]))
    assert abs(square.mean() - mean) < 4.0 * square.std() / np.sqrt(SAMPLES)


def test_spectrum_is_the_same_object_each_time() -> None:
    assert direct_spectrum()[0] is direct_spectrum()[0]
