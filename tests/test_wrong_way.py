"""What the wrong side of the sheet costs over a span: against one trace, and against a fit of a turned sheet."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from raytrace.result import Estimate
from raytrace.scene import GroovesSide
from tracking.cli.fit_wrong_way import wrong_way_words
from tracking.cli.report_more import wrong_way_section
from tracking.energy.fit.fit import fit_of
from tracking.energy.fit.hours import Span
from tracking.energy.fit.sample import Effort
from tracking.energy.fit.wrong_way import Mounted, WrongWay, wrong_way
from tracking.energy.fit.wrong_way_span import Side, WrongWaySpan, wrong_way_span
from tracking.scenefile import SceneFile, read_scene

if TYPE_CHECKING:
    from raytrace.response import ResponseTable
    from tracking.energy.fit.result import Fit

EFFORT = Effort(draws=2, rays=1 << 10)
SPAN = Span(year=2026, month=6)


def best(scene_file: SceneFile) -> "Fit":
    def no_table(*_: object) -> "ResponseTable":
        raise AssertionError("a lens kept aimed needs no table")

    return fit_of(scene_file, SPAN, table_of=no_table, with_tilt=False, effort=EFFORT).fit


def test_over_a_span_the_wrong_side_costs_what_it_does_at_the_normal_where_the_sun_is_kept_there(
    simple_scene: Path,
) -> None:
    # A lens that is turned and tilted has the sun on its normal all the time: hours with any weights give the same
    # share as one trace, which is held against Snell's law in test_bought_lens.py.
    scene_file = read_scene(simple_scene)
    found = wrong_way_span(scene_file, best(scene_file), EFFORT)
    at_normal = wrong_way(scene_file.scene, scene_file.mount, last_rays=1 << 16)
    assert found is not None
    assert found.right.grooves_toward == "tubes"
    # Its tubes lie so low that light a little out of focus suits them better: there the wrong side gains.
    assert at_normal.loss < -0.01
    assert at_normal.least_loss > 0.01
    assert found.loss.value == pytest.approx(at_normal.loss, abs=4.0 * found.loss.standard_error + 0.003)
    # Each at its own best height: that of the one trace is a step of its search, 12 mm, off at most.
    assert found.least_loss.value == pytest.approx(at_normal.least_loss, abs=0.02)


def test_a_sheet_that_hangs_wrong_has_the_same_two_sides(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    lens = replace(scene_file.scene.lens, grooves_toward="sun")
    turned = replace(scene_file, scene=replace(scene_file.scene, lens=lens))
    fit, fit_turned = best(scene_file), best(turned)
    first, second = wrong_way_span(scene_file, fit, EFFORT), wrong_way_span(turned, fit_turned, EFFORT)
    assert first is not None
    assert first == second
    assert fit.height.own is not None
    assert fit_turned.height.own is not None
    assert first.right.absorbed == fit.height.own.absorbed
    assert first.wrong.absorbed == fit_turned.height.own.absorbed
    assert first.wrong.best_height == fit_turned.height.height
    assert first.loss.value == pytest.approx(1.0 - first.wrong.absorbed.value / first.right.absorbed.value)


@pytest.mark.parametrize(
    ("mounted", "least", "advised"), [("tubes", 0.1, False), ("sun", 0.1, True), ("sun", -0.1, False)]
)
def test_turning_the_sheet_over_is_advised_where_that_gains(
    simple_scene: Path, mounted: str, least: float, *, advised: bool
) -> None:
    scene_file = read_scene(simple_scene)
    lens = replace(scene_file.scene.lens, grooves_toward=mounted)  # type: ignore[arg-type]
    scene_file = replace(scene_file, scene=replace(scene_file.scene, lens=lens))
    some = Estimate(value=3.6e6, standard_error=3.6e4)
    right, wrong = (
        Side(grooves_toward=side, absorbed=some, best_height=some, absorbed_at_best=some)
        for side in ("tubes", "sun")  # type: ignore[arg-type]
    )
    found = WrongWaySpan(
        height=0.49, right=right, wrong=wrong, loss=Estimate(value=-0.2, standard_error=0.01),
        least_loss=Estimate(value=least, standard_error=0.01),
    )  # fmt: skip
    told = wrong_way_section(scene_file, 2026, found).paragraphs[0]
    assert "the other way round absorbs 20.00 % (+- 1.00) more at the scene's height of 490 mm" in told
    assert ("turn it over" in told) == advised


@pytest.mark.parametrize(("here", "best", "words"), [
    (0.4, 0.5, ("loses 20.0 % of", "loses 16.7 % with", "turn it over")),
    (0.6, 0.5, ("gains 20.0 % of", "loses 16.7 % with", "turn it over")),
    (0.6, 0.63, ("gains 20.0 % of", "gains 5.0 % with", "mounts it that way round")),
])  # fmt: skip
def test_a_wrong_side_that_gains_is_told_as_a_gain(here: float, best: float, words: tuple[str, ...]) -> None:
    def mounted(side: GroovesSide, absorbed: float, at_best: float) -> Mounted:
        values = (Estimate(value=value, standard_error=0.001) for value in (absorbed, at_best))
        return Mounted(grooves_toward=side, absorbed=next(values), best_height=0.7, absorbed_at_best=next(values))

    found = WrongWay(height=0.8, right=mounted("tubes", 0.5, 0.6), wrong=mounted("sun", here, best))
    told = wrong_way_words(found, "sun")
    assert all(part in told for part in words)
    assert "-" not in told
