"""Flux that a flat linear lens makes, against the bounds that the conservation of radiance sets.

"Derived" stands for correct mathematics from first principles, no publication seen. C = 1 / sin(half-angle) for a line
focus is the standard limit (Winston; Rabl); value from memory, to be confirmed, and computed afresh here.
"""

import math

import numba
import numpy as np
import pytest
from published_table import Published, Source

from raytrace.arrays import Floats
from raytrace.kernels import path
from raytrace.lens import facet_angle
from raytrace.optics.materials import constant_material
from raytrace.points import replicates_for
from raytrace.profile import profile_window
from raytrace.scene import GroovesSide, Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import prepare, run_replicates, trace

LIMIT = Source(text="limit of concentration of a line focus, 1 / sin of the half-angle (Winston; Rabl)", basis="memory")
XIE = Source(
    text="Xie, Dai and Wang, Solar Energy 86 (2012) 2458, eqs 4 and 7, limit for a disc of 16 minutes", basis="seen"
)
RADIANCE = Source(text="conservation of radiance", basis="derived")
INDEX = 1.49
SOLAR_RADIUS = 4.65e-3  # [rad]
RAYS = 1 << 18
MANY_RAYS = pytest.mark.skipif(
    bool(numba.config.DISABLE_JIT), reason="too many rays for uncompiled kernels, which run for coverage"
)
CENTRE = 5e-4  # [m], either side: the disc's chord is 0.2 % shorter there on the mean


def scene_of(
    ratio: float, toward: GroovesSide = "tubes", *, sunshape: str = "uniform", diameter: float = 0.004
) -> Scene:
    """A lens of our own invention, `ratio` metres to either side and 1 m above its focal line; it loses light at its
    surfaces only.
    """
    return Scene(
        lens=Lens(
            width=2.0 * ratio,
            length=2.0,
            focal_length=1.0,
            grooves_toward=toward,
            cut_for=toward,
            thickness=5e-4,
            groove_pitch=5e-5,
            draft_angle=0.0,
            slope_error=0.0,
            material=constant_material(INDEX, 0.0),
        ),
        tubes=Tubes(count=1, length=5.0, absorber_diameter=diameter),
        sun=SunOptics(sunshape=sunshape, wavelength=587.6),  # type: ignore[arg-type]
        lens_height=1.0,
    )


def flux_profile(scene: Scene, *, transversal: float = 0.0, longitudinal: float = 0.0) -> tuple[Floats, Floats]:
    """Middle [m] of bins of 0.5 mm near the centre and the flux there over DNI, for an endlessly long lens.

    All light on a strip, wherever along it it lands, over the length of the lens: what the flux would be if the lens
    had no ends.
    """
    tangents = [math.tan(math.radians(angle)) for angle in (transversal, longitudinal)]
    window = profile_window(scene, tangents[0])
    inputs = prepare(scene).inputs(*tangents, RowPose.level(0.0), window)
    sums = run_replicates(inputs, plan=replicates_for(RAYS), seed=1, threads=2, with_flux=False)
    fine = sums.profile.sum(axis=0)[window.outer_bins : window.outer_bins + window.fine_bins]
    merged = fine.reshape(-1, 5).sum(axis=1)
    width = 5.0 * window.fine_width
    middle = window.centre + (np.arange(len(merged)) + 0.5 - 0.5 * len(merged)) * width
    cosine = 1.0 / math.sqrt(1.0 + tangents[0] ** 2 + tangents[1] ** 2)
    return middle, merged / sums.totals[:, path.STARTED].sum() * scene.lens.width * cosine / width


def radiance_bound(low: float, high: float, chord: float = 1.0) -> float:
    """Highest flux over DNI where light arrives between two angles to the normal, across the grooves, in [rad].

    Derived: radiance is conserved, DNI / (pi t^2) for an even disc of radius t; in each direction across the grooves at
    most the disc's chord 2 t shines, so the flux is 2 / (pi t) times the integral of the cosine. For -phi to phi that
    is 4 sin(phi) / (pi t). `chord`: mean radiance along the disc's central chord over the disc's mean.
    """
    return chord * 2.0 / (math.pi * SOLAR_RADIUS) * (math.sin(high) - math.sin(low))


def limb_darkened_chord() -> float:
    """Mean radiance along a diameter over the disc's mean.

    Buie, Monger and Dey, Solar Energy 74 (2003) 113; constants seen in several public restatements, the paper not seen.
    """
    edge = SOLAR_RADIUS * 1e3  # [mrad], as the formula has it
    r = (np.arange(100_000) + 0.5) / 100_000 * edge
    radiance = np.cos(0.326 * r) / np.cos(0.308 * r)
    return float(radiance.mean() / np.average(radiance, weights=r))


def test_line_focus_limits(published: Published) -> None:
    """1 / sin of the half-angle (value from memory, to be confirmed); the bound of the flux at f/1 and at most."""
    why = "two decimals given"
    published(LIMIT, "limit for a disc of 4.65 mrad", 1.0 / math.sin(SOLAR_RADIUS), 215.05, within=0.01, why=why)
    found = 1.0 / (2.0 * math.tan(SOLAR_RADIUS))
    why = "16 minutes are 4.654 mrad, ours is 4.65"
    published(XIE, "limit of a flat receiver, one zone", found, 107.4, relative=0.002, why=why)
    bound = radiance_bound(-math.atan(0.5), math.atan(0.5))
    published(RADIANCE, "highest flux over DNI at f/1", bound, 122.0, within=0.5, why="rounded")
    bound = radiance_bound(-math.pi / 2.0, math.pi / 2.0)
    published(RADIANCE, "highest flux over DNI at all", bound, 273.8, within=0.05, why="one decimal given")
    # Computed by quadrature of the published formula.
    assert limb_darkened_chord() == pytest.approx(1.0675, abs=1e-4)


@MANY_RAYS
@pytest.mark.parametrize("sunshape", ["uniform", "limb-darkened"])
@pytest.mark.parametrize(
    ("ratio", "toward", "transversal", "longitudinal"),
    [
        (0.1, "tubes", 0.0, 0.0),
        (0.25, "sun", 0.0, 0.0),
        (0.5, "tubes", 0.0, 0.0),
        (0.5, "sun", 0.0, 0.0),
        (0.25, "tubes", 0.0, 12.0),
        (0.25, "sun", 3.0, 0.0),
        (0.5, "tubes", -2.0, 20.0),
    ],
)
def test_flux_never_exceeds_the_radiance_bound(
    ratio: float, toward: GroovesSide, transversal: float, longitudinal: float, sunshape: str
) -> None:
    """Light comes from nowhere but the lens, so its two edges, seen from the place, give the bound at every place.

    Losses at two surfaces keep the flux 7 % below it; the rays leave a scatter of a per cent or so.
    """
    scene = scene_of(ratio, toward, sunshape=sunshape)
    x, flux = flux_profile(scene, transversal=transversal, longitudinal=longitudinal)
    chord = 1.0 if sunshape == "uniform" else limb_darkened_chord()
    bound = np.array([radiance_bound(math.atan(a - ratio), math.atan(a + ratio), chord) for a in x])
    assert (flux <= bound).all()
    assert flux.max() > 0.02 * bound.max()


def surface_share(deflection: float) -> float:
    """Share of light that passes flat face and facet of grooves toward the tubes at normal incidence (Fresnel)."""
    a = float(facet_angle(np.array([deflection]), INDEX, "tubes")[0])
    flat = ((INDEX - 1.0) / (INDEX + 1.0)) ** 2
    if a == 0.0:
        return (1.0 - flat) ** 2
    out = a + deflection
    perpendicular = math.sin(a - out) ** 2 / math.sin(a + out) ** 2
    parallel = math.tan(a - out) ** 2 / math.tan(a + out) ** 2
    return (1.0 - flat) * (1.0 - 0.5 * (perpendicular + parallel))


def filled_share(deflection: float) -> float:
    """Share of the lens, seen from the focal line, that shines: 1 - tan a tan b.

    Derived: light leaves the facet, over one pitch p, at up to p tan a above the tips, and heads inward by tan b, so it
    crosses the plane of the tips in a strip narrower than the pitch by p tan a tan b.
    """
    a = float(facet_angle(np.array([deflection]), INDEX, "tubes")[0])
    return 1.0 - math.tan(a) * math.tan(deflection)


def mean_over_directions(ratio: float, *, cosine: bool = True) -> float:
    """Integral over the directions from which the lens shines on the focal line, by the midpoint rule."""
    rim = math.atan(ratio)
    angles = (np.arange(400) + 0.5) / 400 * rim
    shares = [filled_share(b) * surface_share(b) * (math.cos(b) if cosine else 1.0) for b in angles]
    return 2.0 * rim * float(np.mean(shares))


@MANY_RAYS
def test_flux_at_the_centre_reaches_the_bound_but_for_its_losses() -> None:
    """A narrow lens with grooves toward the tubes: all but 1 % of it shines, 7.6 % is reflected at its two surfaces.

    So the flux at the centre is within a few per cent of the bound once the reflections are taken out.
    """
    ratio = 0.1
    x, flux = flux_profile(scene_of(ratio))
    centre = float(flux[np.abs(x) < CENTRE].mean())
    bound = radiance_bound(-math.atan(ratio), math.atan(ratio))
    assert bound == pytest.approx(27.25, abs=0.01)
    assert 0.97 * bound < centre / surface_share(0.5 * math.atan(ratio)) <= bound
    # And the wider lens, where the shining share is smaller: derived, to the scatter of the rays.
    for wider in (0.1, 0.25, 0.5):
        x, flux = flux_profile(scene_of(wider))
        expected = 2.0 / (math.pi * SOLAR_RADIUS) * mean_over_directions(wider)
        assert float(flux[np.abs(x) < CENTRE].mean()) == pytest.approx(expected, rel=0.01)


@MANY_RAYS
def test_limb_darkening_raises_the_centre() -> None:
    """By the central chord's mean radiance over the disc's; derived."""
    x, even = flux_profile(scene_of(0.1))
    _, darkened = flux_profile(scene_of(0.1, sunshape="limb-darkened"))
    centre = np.abs(x) < CENTRE
    assert float(darkened[centre].mean() / even[centre].mean()) == pytest.approx(limb_darkened_chord(), rel=0.01)


@MANY_RAYS
@pytest.mark.parametrize("ratio", [0.1, 0.5])
def test_mean_flux_on_a_thin_tube(ratio: float) -> None:
    """A tube much thinner than the image: light from every direction b falls on its whole breadth, so the mean over its
    surface is 1 / pi of the integral without the cosine; at most 4 b / (pi^2 t). Derived.
    """
    scene = scene_of(ratio, diameter=0.001)
    result = trace(scene, rays=RAYS)
    concentration = result.intercepted_fraction.value * scene.lens.width / (math.pi * 0.001)
    expected = 2.0 / (math.pi * SOLAR_RADIUS) * mean_over_directions(ratio, cosine=False) / math.pi
    assert concentration == pytest.approx(expected, rel=0.01)
    assert concentration < 4.0 * math.atan(ratio) / (math.pi**2 * SOLAR_RADIUS)


@MANY_RAYS
def test_full_capture_keeps_within_the_limit_of_an_imaging_concentrator() -> None:
    """sin(rim angle) / (pi sin t), at most 68.45: mean concentration of a tube that all light meets. Derived.

    The tube here is as wide as the widest part of the image needs and a little more.
    """
    assert 1.0 / (math.pi * math.sin(SOLAR_RADIUS)) == pytest.approx(68.45, abs=0.005)
    ratio = 0.5
    limit = ratio / math.sqrt(1.0 + ratio * ratio) / (math.pi * math.sin(SOLAR_RADIUS))
    # The whole image of the rim, 1.0525 % of the focal length to one side, seen along its light.
    diameter = 2.0 * 0.010525 * math.cos(math.atan(ratio)) * 1.02
    result = trace(scene_of(ratio, diameter=diameter), rays=RAYS)
    assert result.intercept_factor.value == pytest.approx(1.0, abs=1e-3)
    assert 2.0 * ratio / (math.pi * diameter) < limit
