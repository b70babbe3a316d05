"""Which lens was it: the file of widths, closed forms of an image of the sun, and traces from other seeds."""

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from raytrace.optics.materials import constant_material
from raytrace.scene import GroovesSide, Lens, Scene, SunOptics, Tubes
from raytrace.trace import trace
from tracking.energy.fit.bought import bought_lens
from tracking.energy.fit.lens_found import chance_of_larger
from tracking.energy.fit.widths import MeasuredWidth, MeasuredWidths, WidthKind, read_widths
from tracking.energy.fit.wrong_way import wrong_way
from tracking.errors import InputError
from tracking.mount import Mount
from tracking.scenefile import read_scene

HEADER = "height_mm,fwhm_mm,height_uncertainty_mm,fwhm_uncertainty_mm\n"
INDEX = 1.49


def slow_lens(*, width: float = 0.2, focal_length: float = 1.2, slope_error: float = 1.0) -> Scene:
    """A slow sheet without colours: one wavelength, the index 1.49, a uniform sun; invented."""
    lens = Lens(
        width=width,
        length=0.3,
        focal_length=focal_length,
        groove_pitch=0.0002,
        grooves_toward="tubes",
        cut_for="tubes",
        draft_angle=0.0,
        slope_error=slope_error,
        material=constant_material(INDEX, 0.0),
    )
    sun = SunOptics(sunshape="uniform", wavelength=587.6)
    return Scene(lens=lens, tubes=Tubes(count=1, length=0.2, absorber_diameter=0.02), sun=sun, lens_height=1.0)


SUN = 4.65e-3
"""Half-angle of the sun's disc [rad]: 4.65 mrad from the IAU's nominal solar radius and the astronomical unit."""


def widths_of_an_image_of_the_sun(
    width: float, focal_length: float, slope_error: float, height: float
) -> dict[WidthKind, float]:
    """Widths on a target out of focus, without any ray [m].

    A thin lens spreads each of its zones at x over x (1 - h / f): a box W |1 - h / f| wide. Each point of it is a piece
    of the sun's disc, whose light across a line has the half-ellipse of an even disc of half-width h tan 4.65 mrad, and
    a facet off by an angle e throws its light (n - 1) e h aside. Their convolution is the profile. Geometry and Snell's
    law for small angles; derived, no publication seen.
    """
    step = 2e-5
    x = np.arange(-0.2, 0.2 + step / 2, step)
    box = (np.abs(x) <= 0.5 * width * abs(1.0 - height / focal_length) + step / 2).astype(float)
    disc = np.sqrt(np.maximum(0.0, 1.0 - (x / (height * SUN)) ** 2))
    spread = max((INDEX - 1.0) * slope_error * 1e-3 * height, step / 4)
    profile = np.convolve(np.convolve(box, disc, mode="same"), np.exp(-0.5 * (x / spread) ** 2), mode="same")
    share = np.cumsum(profile) / profile.sum()
    above = x[profile >= 0.5 * profile.max()]
    low, high = (float(np.interp(p, share, x)) for p in (0.05, 0.95))
    lower, upper = (float(np.interp(p, share, x)) for p in (0.25, 0.75))
    return {"fwhm": float(above[-1] - above[0]), "w90": high - low, "w50": upper - lower}


def measured(
    lines: list[tuple[float, float, GroovesSide]], *, kind: WidthKind, width_error: float, height_error: float
) -> MeasuredWidths:
    """Lines of height, width and side, as a file would hold them."""
    return MeasuredWidths(
        path=Path("widths.csv"),
        kind=kind,
        lines=tuple(
            MeasuredWidth(
                height=height,
                width=width,
                height_uncertainty=height_error,
                width_uncertainty=width_error,
                grooves_toward=side,
            )
            for height, width, side in lines
        ),
    )


def test_the_chance_of_a_misfit_is_that_of_chi_square() -> None:
    for freedom in range(1, 9):
        for squares in (0.0, 0.1, 1.0, 3.84, 12.0, 60.0):
            assert chance_of_larger(squares, freedom) == pytest.approx(stats.chi2.sf(squares, freedom), rel=1e-9)


def test_widths_of_an_image_of_the_sun_tell_the_lens() -> None:
    scene = slow_lens(focal_length=0.9)  # what the scene says must not matter
    lines: list[tuple[float, float, GroovesSide]] = [
        (height, widths_of_an_image_of_the_sun(0.2, 1.2, 6.0, height)["fwhm"], "tubes")
        for height in (0.9, 1.2, 1.3)
    ]
    found = bought_lens(scene, measured(lines, kind="fwhm", width_error=4e-4, height_error=0.0), last_rays=1 << 14)
    best = found.best
    # No noise was added: the misfit is the closed form's own neglect of second order, small against the errors given.
    assert best.fits
    assert best.focal_length.uncertainty < 0.01
    assert abs(best.focal_length.value - 1.2) < 2.0 * best.focal_length.uncertainty
    low, high = best.slope_error.low, best.slope_error.high
    assert 6.0 - (high - low) < best.slope_error.value < 6.0 + (high - low)
    assert high < 10.0
    # So slow a lens looks the same from both sides, and that is said.
    assert found.ratio is not None
    assert not found.side_is_told


@pytest.mark.long
def test_far_out_of_focus_the_width_is_the_box(tmp_path: Path) -> None:
    # W |1 - h / f| for W = 200 mm, f = 1200 mm: 100 mm at 600 mm, 50 mm at 900 and 1500 mm, 100 mm at 1800 mm.
    for height, width in ((0.6, 0.1), (0.9, 0.05), (1.5, 0.05), (1.8, 0.1)):
        assert widths_of_an_image_of_the_sun(0.2, 1.2, 0.0, height)["fwhm"] == pytest.approx(width, abs=1e-4)
    path = tmp_path / "widths.csv"
    path.write_text(HEADER + "600,100,1,1\n900,50,1,1\n1500,50,1,1\n1800,100,1,1\n", encoding="utf-8")
    found = bought_lens(slow_lens(), read_widths(path, "tubes"), last_rays=1 << 14)
    assert found.best.fits
    assert found.best.focal_length.value == pytest.approx(1.2, abs=2.0 * found.best.focal_length.uncertainty)


# A sheet that is fast enough to show on which side its grooves were cut.
def fast_lens(cut_for: GroovesSide, toward: GroovesSide) -> Lens:
    return replace(slow_lens(width=0.6, focal_length=0.7, slope_error=3.0).lens, cut_for=cut_for, grooves_toward=toward)


def simulated(
    *,
    cut_for: GroovesSide,
    kind: WidthKind,
    seed: int,
    heights: tuple[float, ...],
    both_ways: bool = False,
    width_error: float = 1.5e-3,
    height_error: float = 1e-3,
) -> tuple[Scene, MeasuredWidths]:
    """Measurements with noise, from traces with another seed than the fit uses."""
    noise = np.random.default_rng(seed)
    scene = slow_lens(width=0.6, focal_length=0.9)
    lines: list[tuple[float, float, GroovesSide]] = []
    for k, height in enumerate(heights):
        toward: GroovesSide = "sun" if both_ways and k % 2 else "tubes"
        real = replace(
            scene, lens=fast_lens(cut_for, toward), lens_height=height + height_error * float(noise.normal())
        )
        line = trace(real, rays=1 << 17, seed=1000 + seed).focal_line
        width = {"fwhm": line.fwhm, "w50": line.w50, "w90": line.w90}[kind]
        assert width is not None
        lines.append((height, width + width_error * float(noise.normal()), toward))
    return scene, measured(lines, kind=kind, width_error=width_error, height_error=height_error)


NEAR_FOCUS = (0.57, 0.65, 0.69, 0.73, 0.82)


CASES: tuple[tuple[GroovesSide, WidthKind, bool], ...] = (
    ("tubes", "w90", False),
    ("tubes", "fwhm", False),
    ("tubes", "w50", True),
    ("sun", "w90", False),
    ("sun", "fwhm", True),
    ("sun", "w50", False),
)


@pytest.mark.long
def test_several_simulated_measurements_agree_with_the_truth_within_their_uncertainties() -> None:
    pulls, slopes_held = [], 0
    for number, (cut_for, kind, both_ways) in enumerate(CASES):
        scene, widths = simulated(cut_for=cut_for, kind=kind, seed=20 + number, heights=NEAR_FOCUS, both_ways=both_ways)
        found = bought_lens(scene, widths, last_rays=1 << 14)
        best = next(side for side in found.sides if side.cut_for == cut_for)
        assert best.fits
        if found.side_is_told:
            assert found.best.cut_for == cut_for
        pulls.append((best.focal_length.value - 0.7) / best.focal_length.uncertainty)
        slopes_held += best.slope_error.low_95 <= 3.0 <= best.slope_error.high_95
    assert max(map(abs, pulls)) < 3.5
    # Chi-square with as many degrees as cases, both tails at one in a thousand: neither too small nor too large errors.
    assert stats.chi2.ppf(0.001, len(pulls)) < float(np.square(pulls).sum()) < stats.chi2.ppf(0.999, len(pulls))
    # Of six intervals of 95 % two or more miss the truth in 3 % of all series.
    assert slopes_held >= len(CASES) - 1


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", None, "nothing in this file"),
        ("height_mm,fwhm_mm\n700,10\n", "header", '"height_uncertainty_mm" is missing'),
        ("height,fwhm_mm,height_uncertainty_mm,fwhm_uncertainty_mm\n1,1,1,1\n", "header", "does not name a unit"),
        ("height_mm,height_uncertainty_mm\n700,10\n", "header", "there is none"),
        ("height_mm,w50_mm,w90_mm\n700,10,20\n", "header", "there is w50 and w90"),
        (HEADER.strip() + ",colour\n700,10,1,1,2\n", "header", '"colour" is not known'),
        (HEADER + "700,10,1,1\n800,ten,1,1\n", "line 3, column fwhm_mm", '"ten" is no number'),
        (HEADER + "700,10,1,1\n800,,1,1\n", "line 3, column fwhm_mm", "empty"),
        (HEADER + "# remark\n\n7000,10,1,1\n-800,1,1,1\n", "line 5, column height_mm", "out of range"),
        (HEADER + "700,10,1,0\n", "line 2, column fwhm_uncertainty_mm", "0 is out of range"),
        (HEADER + "700,10,1,nan\n", "line 2, column fwhm_uncertainty_mm", "no number"),
        (HEADER + "700,10,5,1,1\n", "line 2", "decimal point"),
        (HEADER + "700,10,1,1\n800,12,1,1\n700,11,1,1\n", None, "2 different heights"),
        (HEADER.strip() + ",grooves_toward\n700,10,1,1,left\n", "line 2, column grooves_toward", "no side"),
        ("a,a\n1,2\n", "line 1", "twice"),
    ],
)
def test_wrong_files_are_told_with_line_and_column(tmp_path: Path, text: str, place: str | None, words: str) -> None:
    path = tmp_path / "widths.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_widths(path, "tubes")
    assert caught.value.file == str(path)
    assert caught.value.key == place
    assert words in str(caught.value)
    assert "Allowed: " in str(caught.value)


def test_units_and_sides_are_read(tmp_path: Path) -> None:
    path = tmp_path / "widths.csv"
    path.write_text(
        "grooves_toward, height_cm, w90_in, height_uncertainty_mm, w90_uncertainty_mm\n"
        "tubes, 70, 1, 2, 3\nsun, 80, 2, 2, 3\ntubes, 90, 1, 0, 3\n",
        encoding="utf-8",
    )
    found = read_widths(path, "sun")
    assert found.kind == "w90"
    assert [line.grooves_toward for line in found.lines] == ["tubes", "sun", "tubes"]
    assert found.lines[0].height == pytest.approx(0.7)
    assert found.lines[1].width == pytest.approx(0.0508)
    assert found.lines[2].height_uncertainty == 0.0


def fresnel_pass(first: float, second: float, index_ratio: float) -> float:
    """Share of unpolarised light that a surface lets through; Fresnel's equations. Angles in [rad] on both sides."""
    if first < 1e-9:
        return 1.0 - ((1.0 - index_ratio) / (1.0 + index_ratio)) ** 2
    across = (math.sin(first - second) / math.sin(first + second)) ** 2
    along = (math.tan(first - second) / math.tan(first + second)) ** 2
    return 1.0 - 0.5 * (across + along)


def test_the_wrong_way_round_costs_what_snell_says() -> None:
    # Point sun on the normal, one wavelength, perfect facets without draft, one bare black tube: which zones hit it is
    # plane trigonometry. Right: all of them. Wrong: the facet meets the light first, asin(sin a / n) in the glass from
    # its normal, a less that from the vertical, asin(n sin(...)) below. Snell and Fresnel; derived.
    scene = slow_lens(width=0.6, focal_length=0.7, slope_error=0.0)
    tubes = Tubes(count=1, length=1.0, absorber_diameter=0.03, absorptance=1.0)
    scene = replace(scene, sun=SunOptics(sunshape="point", wavelength=587.6), tubes=tubes, lens_height=0.7)
    x = (np.arange(1500) + 0.5) * 0.0002
    aim = np.arctan(x / 0.7)
    facet = np.arctan2(np.sin(aim), INDEX - np.cos(aim))
    right = np.array(
        [fresnel_pass(0.0, 0.0, INDEX) * fresnel_pass(a, a + b, INDEX) for a, b in zip(facet, aim, strict=True)]
    )
    bent = facet - np.arcsin(np.sin(facet) / INDEX)
    below = np.arcsin(INDEX * np.sin(bent))
    hits = np.abs(x - 0.7 * np.tan(below)) * np.cos(below) < 0.015
    wrong = np.array(
        [
            fresnel_pass(a, a - c, INDEX) * fresnel_pass(c, d, INDEX)
            for a, c, d in zip(facet, bent, below, strict=True)
        ]
    )
    expected = 1.0 - float((wrong * hits).sum()) / float(right.sum())
    found = wrong_way(scene, Mount(kind="swivel-tilt"), last_rays=1 << 16)
    assert expected > 0.2
    # Light that meets a riser, or hits the facet off its middle height, is what the trigonometry leaves out.
    assert found.loss == pytest.approx(expected, abs=0.02)
    assert found.right.absorbed.value == pytest.approx(float(right.mean()), abs=0.01)
    assert 0.0 <= found.least_loss <= found.loss + 0.01


def test_the_command_tells_lens_safety_and_cost(focalrow: Callable[..., Any], tmp_path: Path) -> None:
    scene = Path(__file__).parent.parent / "scenes" / "north.toml"
    widths = tmp_path / "widths.csv"
    widths.write_text(HEADER + "602,108,1,2\n720,9.1,1,2\n799,52.8,1,2\n", encoding="utf-8")
    folder = tmp_path / "out"
    run = focalrow("fit", scene, "--widths", widths, "--json", "--out", folder)
    assert run.status == 0
    found = json.loads(run.out)
    focal = found["sides"][0]["focal_length_m"]
    assert 0.72 < focal["low"] < focal["value"] < focal["high"] < 0.75
    assert found["sides"][0]["degrees_of_freedom"] == 1
    assert found["wrong_way"]["loss"] > 0.1
    text = (folder / "fit_widths.txt").read_text(encoding="utf-8")
    for words in ("Do not look at the line", "water at hand", "matt", "The other way round it loses", "Slope error"):
        assert words in " ".join(text.split())
    assert read_scene(scene).scene.lens.focal_length == 0.75


@pytest.mark.long
def test_heights_on_one_side_leave_two_lenses(focalrow: Callable[..., Any], simple_scene: Path, tmp_path: Path) -> None:
    # W |1 - h / f| = 76 mm at h = 500 mm for W = 400 mm: f = 420 mm, or 617 mm, and 10 mm of height do not tell which.
    path = tmp_path / "widths.csv"
    path.write_text(HEADER + "500,76,1,8\n505,77,1,8\n510,76,1,8\n", encoding="utf-8")
    folder = tmp_path / "out"
    run = focalrow("fit", simple_scene, "--widths", path, "--json", "--out", folder)
    assert run.status == 0
    found = json.loads(run.out)
    same_side = [side for side in found["sides"] + found["other_focal_lengths"] if side["cut_for"] == "tubes"]
    assert len(same_side) == 2
    for side, focal in zip(
        sorted(same_side, key=lambda side: side["focal_length_m"]["value"]), (0.420, 0.617), strict=True
    ):
        assert side["focal_length_m"]["low_95"] < focal < side["focal_length_m"]["high_95"]
        assert side["focal_length_m"]["value"] == pytest.approx(focal, abs=0.03)
    assert "cannot tell" in (folder / "fit_widths.txt").read_text(encoding="utf-8")


def test_a_fit_says_what_the_wrong_way_round_costs(focalrow: Callable[..., Any], simple_scene: Path) -> None:
    arguments = ("fit", simple_scene, "--over", "2026-06-21", "--no-tilt", "--hours", "16", "--rays", "64")
    run = focalrow(*arguments, "--json")
    assert run.status == 0
    found = json.loads(run.out)["wrong_way"]
    assert found["right"]["grooves_toward"] == "tubes"
    assert found["height_m"] == pytest.approx(json.loads(run.out)["height"]["height_m"]["value"], abs=5e-4)
    assert found["loss"] > 0.0
    # The same sheet hung the wrong way round in the scene: the same two mountings, and the advice to turn it over.
    text = simple_scene.read_text(encoding="utf-8")
    turned = 'grooves_toward = "sun"\ncut_for = "tubes"'
    simple_scene.write_text(text.replace('grooves_toward = "tubes"', turned), encoding="utf-8")
    run = focalrow(*arguments)
    assert run.status == 0
    assert "turn it over" in " ".join(run.out.split())


def test_widths_and_frame_are_asked_for_one_at_a_time(focalrow: Callable[..., Any], simple_scene: Path) -> None:
    run = focalrow("fit", simple_scene, "--frame", "--widths", simple_scene)
    assert run.status == 2
    assert "--widths" in run.err
    missing = focalrow("fit", simple_scene, "--widths", simple_scene.parent / "none.csv")
    assert missing.status == 2
    assert "none.csv" in missing.err
