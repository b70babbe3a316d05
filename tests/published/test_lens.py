"""Facets, focus and image of a flat linear Fresnel lens, against published equations and values from Snell's law.

No publication with a complete set of numbers for a flat linear lens was found. "Derived" stands for correct mathematics
from Snell's law, Fresnel's equations and geometry: these checks hold the tracer against physics, not a measurement.
"""

import math

import numpy as np
import pytest
from published_table import Published, Source
from reference.callable_kernels import walk_sheet
from scipy.optimize import brentq

from raytrace.arrays import Floats
from raytrace.kernels.sheet import DOWN, Sheet
from raytrace.lens import facet_angle, groove_pitch_used, grooves_of, largest_half_width
from raytrace.optics.materials import constant_material
from raytrace.scene import GroovesSide, Lens, Scene, SunOptics, Tubes
from raytrace.trace import prepare, trace

INDEX = 1.49
SOLAR_RADIUS = 4.65e-3  # [rad], half-angle of the sun's disc; IAU 2015 nominal solar radius at 1 au gives 4.6505e-3
NO_SLOPES = np.zeros(3)
FACET_LAW = Source(text="Xie, Dai and Wang, Solar Energy 86 (2012) 2458, eq. 13", basis="seen")
SNELL = Source(text="Snell's law and Fresnel's equations", basis="derived")
DISPERSED = Source(
    text="Snell's law with the indices of Beadie et al., Applied Optics 54 (2015) F139", basis="computed"
)
DISPERSED_MORE = Source(
    text="Snell's law with the indices of Sultanova et al., Acta Physica Polonica A 116 (2009) 585", basis="computed"
)

# x / f, deflection [deg]; facet angle [deg] and transmittance of grooves toward the tubes; facet angle and two
# transmittances of grooves toward the sun. Derived for n = 1.49: two surfaces, unpolarised light, no absorption. The
# first one toward the sun takes each polarisation through both surfaces and averages then; the second starts every
# surface unpolarised, as the tracer does.
FACETS = [
    (0.10, 5.711, 11.3668, 0.92392, 11.5552, 0.92402, 0.92402),
    (0.20, 11.310, 21.0557, 0.92202, 22.3482, 0.92364, 0.92362),
    (0.30, 16.699, 28.3669, 0.91425, 31.8785, 0.92212, 0.92204),
    (0.50, 26.565, 36.9028, 0.85790, 46.7089, 0.91200, 0.91145),
    (0.75, 36.870, 41.0091, 0.65326, 58.7663, 0.88111, 0.87906),
    (1.00, 45.000, 42.0883, 0.24220, 66.2234, 0.83304, 0.82853),
]


def lens_of(**changes: object) -> Lens:
    """A lens of our own invention, of index 1.49 without absorption, slope error or draft."""
    values: dict[str, object] = {
        "width": 0.6,
        "length": 0.8,
        "focal_length": 0.7,
        "grooves_toward": "tubes",
        "draft_angle": 0.0,
        "slope_error": 0.0,
        "groove_pitch": 0.002,
        "thickness": 0.004,
        "material": constant_material(INDEX, 0.0),
    }
    values |= changes
    values.setdefault("cut_for", values["grooves_toward"])
    return Lens(**values)  # type: ignore[arg-type]


def scene_of(lens: Lens, *, lens_height: float | None = None, sunshape: str = "point") -> Scene:
    """The lens above one thin tube in one wavelength."""
    return Scene(
        lens=lens,
        tubes=Tubes(count=1, length=lens.length, absorber_diameter=0.004),
        sun=SunOptics(sunshape=sunshape, wavelength=587.6),  # type: ignore[arg-type]
        lens_height=lens.focal_length if lens_height is None else lens_height,
    )


def one_angle_sheet(angle: float, toward: GroovesSide) -> Sheet:
    """A sheet with forty grooves of the same facet angle [rad] in each half and upright risers."""
    lens = lens_of(width=0.04, length=2.0, groove_pitch=5e-4, thickness=0.003, grooves_toward=toward)
    sheet = prepare(scene_of(lens)).sheet
    even = np.ones_like(sheet.depth)
    depth = sheet.pitch * math.tan(angle)
    return sheet._replace(
        deepest=depth,
        depth=depth * even,
        tan_facet=math.tan(angle) * even,
        sin_facet=math.sin(angle) * even,
        cos_facet=math.cos(angle) * even,
    )


def through(
    sheet: Sheet, x: float, *, across: float = 0.0, along: float = 0.0, index: float = INDEX
) -> tuple[float, ...]:
    """Fate, weight, place and direction of one ray that starts at x; the sun's angles across and along in [rad]."""
    tangents = np.array([math.tan(across), math.tan(along), 1.0])
    px, py, pz = -tangents / np.linalg.norm(tangents)
    return walk_sheet(sheet, index, 0.0, NO_SLOPES, 0.0, 0, 0, x, 0.0, px, py, pz)[:8]


def tangent_after(sheet: Sheet, **how: float) -> float:
    """Tangent, in the plane across the grooves, by which a ray that met no riser heads towards the axis."""
    fate, _, _, _, _, px, _, pz = through(sheet, 20.9 * sheet.pitch, **how)
    assert fate == DOWN
    return px / pz


def facet_for(ratio: float, toward: GroovesSide = "tubes", index: float = INDEX) -> float:
    """Facet angle for x / f [rad]."""
    return float(facet_angle(np.array([math.atan(ratio)]), index, toward)[0])


@pytest.mark.parametrize(
    ("ratio", "deflection", "to_tubes", "to_sun"), [(row[0], row[1], row[2], row[4]) for row in FACETS]
)
def test_facet_angles(ratio: float, deflection: float, to_tubes: float, to_sun: float, published: Published) -> None:
    assert math.degrees(math.atan(ratio)) == pytest.approx(deflection, abs=5e-4)
    at, why = f"x / f = {ratio:g} [deg]", "four decimals given"
    found = math.degrees(facet_for(ratio))
    published(FACET_LAW, f"facet angle, grooves toward the tubes, {at}", found, to_tubes, within=1e-4, why=why)
    found = math.degrees(facet_for(ratio, "sun"))
    published(SNELL, f"facet angle, grooves toward the sun, {at}", found, to_sun, within=1e-4, why=why)


@pytest.mark.parametrize("ratio", [row[0] for row in FACETS])
def test_facet_law_for_grooves_toward_the_tubes(ratio: float) -> None:
    """tan a = sin b / (n - cos b), seen in the source: Xie, Dai and Wang, Solar Energy 86 (2012) 2458, eq. 13."""
    deflection = math.atan(ratio)
    assert math.tan(facet_for(ratio)) == pytest.approx(math.sin(deflection) / (INDEX - math.cos(deflection)), rel=1e-12)
    # Derived: Snell's law at the facet, n sin a = sin(a + b).
    a = facet_for(ratio)
    assert INDEX * math.sin(a) == pytest.approx(math.sin(a + deflection), rel=1e-12)


@pytest.mark.parametrize("ratio", [row[0] for row in FACETS])
def test_facet_law_for_grooves_toward_the_sun(ratio: float) -> None:
    """n sin(a - asin(sin a / n)) = sin b: derived from Snell's law at the facet and at the flat face."""
    a = facet_for(ratio, "sun")
    after = INDEX * math.sin(a - math.asin(math.sin(a) / INDEX))
    assert after == pytest.approx(math.sin(math.atan(ratio)), rel=1e-12)


@pytest.mark.parametrize(("ratio", "to_tubes", "to_sun"), [(row[0], row[3], row[6]) for row in FACETS])
def test_light_through_one_facet(ratio: float, to_tubes: float, to_sun: float, published: Published) -> None:
    """Deflection and transmittance of a ray at normal incidence, by the tracer's rule; five decimals given."""
    for toward, transmitted in (("tubes", to_tubes), ("sun", to_sun)):
        sheet = one_angle_sheet(facet_for(ratio, toward), toward)  # type: ignore[arg-type]
        for side in (1.0, -1.0):
            fate, weight, _, _, _, px, py, pz = through(sheet, side * 20.9 * sheet.pitch)
            assert fate == DOWN
            assert weight == pytest.approx(transmitted, abs=1e-5)
            assert side * px / pz == pytest.approx(ratio, rel=1e-12)
            assert px * px + py * py + pz * pz == pytest.approx(1.0, abs=1e-14)
        what = f"transmittance of a facet toward the {toward}, x / f = {ratio:g}"
        published(SNELL, what, weight, transmitted, within=1e-5, why="five decimals given")


@pytest.mark.parametrize(("ratio", "facet", "kept_apart"), [(row[0], row[4], row[5]) for row in FACETS])
def test_what_starting_every_surface_unpolarised_neglects(ratio: float, facet: float, kept_apart: float) -> None:
    """The other column toward the sun, from Fresnel's equations; the tracer's neglect is at most 0.5 % of the light."""
    a = math.radians(facet)
    inside = math.asin(math.sin(a) / INDEX)
    flat, deflection = a - inside, math.atan(ratio)
    shares = []
    for polarisation in ("perpendicular", "parallel"):
        share = 1.0
        for before, after in ((a, inside), (flat, deflection)):
            if polarisation == "perpendicular":
                r = math.sin(before - after) ** 2 / math.sin(before + after) ** 2
            else:
                r = math.tan(before - after) ** 2 / math.tan(before + after) ** 2
            share *= 1.0 - r
        shares.append(share)
    assert np.mean(shares) == pytest.approx(kept_apart, abs=1e-5)
    sheet = one_angle_sheet(facet_for(ratio, "sun"), "sun")
    assert through(sheet, 20.9 * sheet.pitch)[1] == pytest.approx(kept_apart, abs=5e-3)


def test_hard_limit_of_grooves_toward_the_tubes() -> None:
    """Derived: the deflection ends at 90 deg - asin(1 / n) = 47.845 deg, x / f = sqrt(n^2 - 1) = 1.10458, f/0.4527."""
    lens = lens_of()
    ratio = largest_half_width(lens, INDEX) / lens.focal_length
    assert ratio == pytest.approx(1.10458, abs=5e-6)
    assert ratio == pytest.approx(math.tan(math.radians(90.0) - math.asin(1.0 / INDEX)), rel=1e-12)
    assert math.degrees(math.atan(ratio)) == pytest.approx(47.845, abs=5e-4)
    assert 1.0 / (2.0 * ratio) == pytest.approx(0.4527, abs=5e-5)
    assert facet_for(ratio) == pytest.approx(math.asin(1.0 / INDEX), rel=1e-9)
    # No light is left there: it leaves the facet along the facet.
    sheet = one_angle_sheet(facet_for(ratio * (1.0 - 1e-6)), "tubes")
    assert through(sheet, 20.9 * sheet.pitch)[1] < 1e-4


def test_too_fast_a_lens_is_refused_at_its_limit() -> None:
    """The outermost whole groove decides, half a pitch inside the rim."""
    limit = math.sqrt(INDEX * INDEX - 1.0)
    outermost = 0.3 - 0.5 * 0.002
    grooves_of(lens_of(focal_length=outermost / limit * 1.0001, thickness=0.02))
    with pytest.raises(ValueError, match=r"stop working at a half-width of 0\.29\d\d m"):
        grooves_of(lens_of(focal_length=outermost / limit * 0.9999, thickness=0.02))
    # Grooves toward the sun know no such limit.
    grooves_of(lens_of(focal_length=0.2, thickness=0.02, grooves_toward="sun"))


def test_a_groove_as_deep_as_the_sheet_is_refused() -> None:
    deepest = float(grooves_of(lens_of()).depth.max())
    grooves_of(lens_of(thickness=deepest * 1.0001))
    with pytest.raises(ValueError, match=r"makes groove 150 from the middle, at x = 0\.2990 m"):
        grooves_of(lens_of(thickness=deepest * 0.9999))


def test_a_whole_number_of_grooves_fills_each_half() -> None:
    """The pitch used is W / (2 round(W / 2p)): 0.6 m with 7 mm asked for makes 43 grooves of 6.977 mm."""
    lens = lens_of(groove_pitch=0.007, thickness=0.01)
    assert groove_pitch_used(lens) == pytest.approx(0.3 / 43.0, rel=1e-14)
    grooves = grooves_of(lens)
    assert grooves.count == 43
    assert grooves.centre[[0, -1]] == pytest.approx([0.15 / 43.0, 0.3 - 0.15 / 43.0], rel=1e-12)


def test_depth_of_a_groove_with_draft() -> None:
    """d = p tan a / (1 + tan a tan q): where facet and riser meet. Derived."""
    grooves = grooves_of(lens_of(draft_angle=5.0))
    tangent = np.tan(grooves.facet_angle)
    valley = grooves.depth / tangent  # along x, from the start of the facet
    assert valley + grooves.depth * math.tan(math.radians(5.0)) == pytest.approx(np.full(150, grooves.pitch), rel=1e-12)


# Derived for grooves toward the tubes, n = 1.49: d(deflection) / d(angle of incidence) = cos a / cos(a + b).
@pytest.mark.parametrize(("ratio", "magnification"), [(1e-4, 1.0), (0.25, 1.1669), (0.5, 1.7901), (0.75, 3.5937)])
def test_angular_magnification(ratio: float, magnification: float, published: Published) -> None:
    sheet = one_angle_sheet(facet_for(ratio), "tubes")
    turn = 1e-6
    low, high = (math.atan(tangent_after(sheet, across=t)) for t in (-turn, turn))
    what, found = f"angular magnification, x / f = {ratio:g}", abs(high - low) / (2.0 * turn)
    published(SNELL, what, found, magnification, within=1e-4, why="four decimals given")


# Derived, likewise: distance on the focal plane, over f, by which light from the sun's two limbs lands beside that
# from its centre. Six decimals given.
@pytest.mark.parametrize(
    ("ratio", "inner", "outer"),
    [(1e-6, 0.004650, 0.004650), (0.25, 0.005749, 0.005782), (0.5, 0.010290, 0.010525), (0.75, 0.024902, 0.027539)],
)
def test_half_widths_of_the_suns_image(ratio: float, inner: float, outer: float) -> None:
    sheet = one_angle_sheet(facet_for(ratio), "tubes")
    shifts = [tangent_after(sheet, across=t) - ratio for t in (SOLAR_RADIUS, -SOLAR_RADIUS)]
    assert sorted(abs(shift) for shift in shifts) == pytest.approx([inner, outer], abs=1e-6)
    assert shifts[0] * shifts[1] < 0.0


# Derived, likewise, for a lens cut for the d line, between the F and C lines; indices of PMMA at the d, F and C lines
# computed from Beadie et al., Applied Optics 54 (2015) F139, and, in the last column, from Sultanova et al., Acta
# Physica Polonica A 116 (2009) 585, coefficients seen in the open refractiveindex.info dataset.
@pytest.mark.parametrize(
    ("ratio", "beadie", "sultanova"),
    [(0.25, 0.004775, 0.005333), (0.5, 0.013931, 0.015586), (0.75, 0.041499, 0.046752)],
)
def test_chromatic_spread(ratio: float, beadie: float, sultanova: float, published: Published) -> None:
    for (d, f, c), spread, source in (
        ((1.49253, 1.49836, 1.49007), beadie, DISPERSED),
        ((1.49062, 1.49710, 1.48788), sultanova, DISPERSED_MORE),
    ):
        sheet = one_angle_sheet(facet_for(ratio, index=d), "tubes")
        blue, red = (tangent_after(sheet, index=index) for index in (f, c))
        assert blue > ratio > red
        what = f"spread of F and C lines over f, x / f = {ratio:g}, index {d:.5f}"
        published(source, what, blue - red, spread, relative=0.01, why="the indices have five decimals")


def effective_index(skew: float) -> float:
    """Index in the plane across the grooves for light skewed along them by an angle in [deg].

    n_eff = sqrt(n^2 - sin^2 g) / cos g: derived, as the component of n times the direction along the grooves stays the
    same at every surface; no publication seen.
    """
    sine, cosine = math.sin(math.radians(skew)), math.cos(math.radians(skew))
    return math.sqrt(INDEX * INDEX - sine * sine) / cosine


# Derived: vertical distance to the focus over that at normal incidence, near the axis and from two zones.
SKEW = [
    (0.0, 1.49000, 1.0, 1.0, 1.0),
    (5.0, 1.49313, 0.99365, 0.99280, 0.98952),
    (10.0, 1.50268, 0.97478, 0.97138, 0.95810),
    (23.45, 1.56514, 0.86704, 0.84828, 0.76653),
    (30.0, 1.62074, 0.78938, 0.75845, 0.60013),
    (50.0, 1.98821, 0.49585, 0.39711, None),
]


@pytest.mark.parametrize(("skew", "index", "paraxial", "quarter", "half"), SKEW)
def test_skew_shortens_the_focus(
    skew: float, index: float, paraxial: float, quarter: float, half: float | None
) -> None:
    assert effective_index(skew) == pytest.approx(index, abs=5e-6)
    assert (INDEX - 1.0) / (index - 1.0) == pytest.approx(paraxial, abs=2e-5)
    for ratio, fraction in ((1e-4, paraxial), (0.25, quarter), (0.5, half)):
        if fraction is not None:
            sheet = one_angle_sheet(facet_for(ratio), "tubes")
            for sign in (1.0, -1.0):
                along = math.radians(sign * skew)
                assert ratio / tangent_after(sheet, along=along) == pytest.approx(fraction, abs=2e-5)


@pytest.mark.parametrize("toward", ["tubes", "sun"])
@pytest.mark.parametrize("skew", [10.0, 30.0, 45.0])
def test_paraxial_focus_under_skew(toward: GroovesSide, skew: float) -> None:
    """f / f0 = (n - 1) / (n_eff - 1), for both orientations, near the axis. Derived."""
    sheet = one_angle_sheet(facet_for(1e-4, toward), toward)
    expected = (INDEX - 1.0) / (effective_index(skew) - 1.0)
    assert 1e-4 / tangent_after(sheet, along=math.radians(skew)) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("toward", ["tubes", "sun"])
@pytest.mark.parametrize("skew", [10.0, 30.0, 45.0])
def test_focal_line_under_skew_of_a_whole_narrow_lens(toward: GroovesSide, skew: float) -> None:
    """The same from the widths of a whole trace: at height h the line is W |1 - h / f| wide, less a tenth either end.

    The lens is a twentieth as wide as its focal length, so its rim focuses 0.1 % nearer than its middle. The sheet puts
    the focus up to its thickness lower, where grooves lie toward the sun: 0.5 mm.
    """
    lens = lens_of(width=0.05, focal_length=1.0, length=5.0, groove_pitch=5e-5, thickness=5e-4, grooves_toward=toward)
    shortened = (INDEX - 1.0) / (effective_index(skew) - 1.0)
    height = 0.5 * shortened
    result = trace(scene_of(lens, lens_height=height), longitudinal_angle=skew, rays=1 << 13)
    assert result.focal_line.w90 is not None
    focal_length = height / (1.0 - result.focal_line.w90 / (0.9 * lens.width))
    assert focal_length == pytest.approx(shortened, rel=0.003)


# Derived: a facet turns all light back where n_eff sin a reaches 1.
@pytest.mark.parametrize(("ratio", "lost", "kept"), [(0.75, 20.0, 15.0), (0.5, 40.0, 33.0)])
def test_skew_turns_light_back_in_steep_zones(ratio: float, lost: float, kept: float) -> None:
    a = facet_for(ratio)
    sheet = one_angle_sheet(a, "tubes")
    limit = float(brentq(lambda skew: effective_index(skew) * math.sin(a) - 1.0, 1.0, 60.0))
    assert kept < limit < lost
    for skew in (kept, limit - 1e-3):
        along = math.radians(skew)
        bent = math.asin(effective_index(skew) * math.sin(a)) - a
        assert tangent_after(sheet, along=along) == pytest.approx(math.tan(bent), rel=1e-9)
    for skew in (limit + 1e-3, lost):
        # Turned back, the ray goes on inside the sheet and leaves it elsewhere than from its own groove.
        _, _, x, _, _, _, _, _ = through(sheet, 20.9 * sheet.pitch, along=math.radians(skew))
        assert not 20.0 * sheet.pitch <= x <= 21.0 * sheet.pitch


def landing(ray: tuple[float, ...], depth: float) -> float:
    """Where a ray meets the plane z = -depth [m]."""
    _, _, x, _, z, px, _, pz = ray
    return x - (z + depth) / pz * px


def starts(pitch: float, grooves: int, per_groove: int) -> Floats:
    """Evenly spaced starts in every groove of both halves, away from the grooves' ends [m]."""
    local = (np.arange(per_groove) + 0.5) / per_groove
    x = ((np.arange(grooves)[:, None] + local[None, :]) * pitch).ravel()
    return np.concatenate([-x[::-1], x])


def test_grooves_toward_the_tubes_make_a_spot_one_pitch_wide() -> None:
    """Point sun, one wavelength, normal incidence. Derived: x - xc - z_f tan b, at most half a pitch off the axis."""
    lens = lens_of()
    grooves, sheet = grooves_of(lens), prepare(scene_of(lens)).sheet
    places = []
    for x in starts(grooves.pitch, grooves.count, 9):
        number = int(abs(x) / grooves.pitch)
        local = abs(x) - number * grooves.pitch
        at = landing(through(sheet, float(x)), lens.focal_length)
        met = local * math.tan(grooves.facet_angle[number])
        expected = local - 0.5 * grooves.pitch - met * grooves.centre[number] / lens.focal_length
        assert at == pytest.approx(math.copysign(1.0, x) * expected, abs=1e-9)
        places.append(at)
    assert max(places) <= 0.5 * grooves.pitch
    assert min(places) >= -0.5 * grooves.pitch
    assert max(places) - min(places) > 0.85 * grooves.pitch  # eight ninths of a pitch are sampled


def test_grooves_toward_the_sun_land_by_the_uncorrected_law() -> None:
    """Point sun, one wavelength, normal incidence: |x| - z_f tan(asin(sin d / n)) - f tan d, to 1e-9 m.

    Derived; z_f is the height of the facet where it was met. The law is not corrected for the run through the sheet, so
    the spot is several grooves wide. Light that meets the riser of the next groove inward is left out.
    """
    lens = lens_of(grooves_toward="sun", groove_pitch=5e-4)
    grooves, sheet = grooves_of(lens), prepare(scene_of(lens)).sheet
    x = starts(grooves.pitch, grooves.count, 5)
    number = (np.abs(x) / grooves.pitch).astype(int)
    local = np.abs(x) - number * grooves.pitch
    deflection = np.arctan(grooves.centre[number] / lens.focal_length)
    inside = np.tan(np.arcsin(np.sin(deflection) / INDEX))
    met = local * np.tan(grooves.facet_angle[number])  # below the plane of the tips
    # Where the ray passes under the tip between its groove and the next one inward it must be below that riser.
    clear = (number == 0) | (met + local / inside > grooves.depth[np.maximum(number - 1, 0)])
    assert 0.8 < clear.mean() < 0.97
    height = lens.thickness - met
    expected = np.sign(x) * (np.abs(x) - height * inside - lens.focal_length * np.tan(deflection))
    places = np.array([landing(through(sheet, float(start)), lens.focal_length) for start in x[clear]])
    assert places == pytest.approx(expected[clear], abs=1e-9)
    assert np.ptp(places) > 3.0 * grooves.pitch
    # What meets a riser goes elsewhere: it is traced, not booked as lost.
    stray = [through(sheet, float(start)) for start in x[~clear]]
    assert all(ray[1] > 0.0 for ray in stray)


def semicircle_half_width(share: float) -> float:
    """Half-width, over the radius, of the strip in the middle of an even disc that holds a share of it. Exact."""
    return float(brentq(lambda u: 2.0 / math.pi * (u * math.sqrt(1.0 - u * u) + math.asin(u)) - share, 0.0, 1.0))


def line_half_width(share: float) -> float:
    """The same for the limb-darkened disc, in [rad].

    Buie, Monger and Dey, Solar Energy 74 (2003) 113: cos(0.326 t) / cos(0.308 t), t in [mrad]; constants seen in
    several public restatements, the paper itself not seen. By quadrature over the disc.
    """
    edge = SOLAR_RADIUS * 1e3
    radius = (np.arange(2000) + 0.5) / 2000 * edge
    turn = (np.arange(720) + 0.5) / 720 * 2.0 * np.pi
    weight = np.cos(0.326 * radius) / np.cos(0.308 * radius) * radius
    across = np.abs(radius[:, None] * np.cos(turn)[None, :]).ravel()
    order = np.argsort(across)
    held = np.cumsum(np.repeat(weight, len(turn))[order])
    return float(across[order][np.searchsorted(held, share * held[-1])]) * 1e-3


@pytest.mark.parametrize("toward", ["tubes", "sun"])
@pytest.mark.parametrize("sunshape", ["uniform", "limb-darkened"])
def test_width_of_the_image_of_the_solar_disc(toward: GroovesSide, sunshape: str) -> None:
    """A narrow lens images the disc: widths f times those of the disc's strips.

    Its rim, x / f = 0.0125, magnifies by 0.04 % and its grooves blur by 0.05 mm of 9.3 mm: tolerance half a per cent.
    """
    lens = lens_of(width=0.025, focal_length=1.0, length=5.0, groove_pitch=5e-5, thickness=5e-4, grooves_toward=toward)
    line = trace(scene_of(lens, sunshape=sunshape), rays=1 << 15).focal_line
    assert line.w50 is not None
    assert line.w90 is not None
    assert line.w95 is not None
    for share, width in ((0.5, line.w50), (0.9, line.w90), (0.95, line.w95)):
        half = SOLAR_RADIUS * semicircle_half_width(share) if sunshape == "uniform" else line_half_width(share)
        assert width == pytest.approx(2.0 * half, rel=5e-3)
    assert line.centroid == pytest.approx(0.0, abs=2e-5)
    if sunshape == "uniform":
        # A half circle is at half its height at sqrt(3) / 2 of its radius. Exact; bins of 0.5 mm blur it.
        assert line.fwhm == pytest.approx(math.sqrt(3.0) * SOLAR_RADIUS, rel=0.02)
