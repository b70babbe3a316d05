"""The comparison of builds: coarser marks never make more energy, and the table says what it compares."""

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import Run, flat_table

from raytrace.response import ResponseTable
from tracking.paper.compare_figure import compare_picture
from tracking.plans.compare import BUILDS, Build, Compared, changed_build, compared_builds
from tracking.plans.marks import day_settings
from tracking.plans.moves import DEFAULT_SHARE
from tracking.response import response_table
from tracking.scenefile import SceneFile, read_scene


def test_a_changed_build_differs_in_grooves_and_tubes_alone(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    built = changed_build(file, BUILDS[-1])
    assert built.mount.grooves == "upslope"
    assert built.scene.tubes.angle_to_grooves == pytest.approx(90.0)
    assert built.scene.lens == file.scene.lens
    assert built.site == file.site


def test_tubes_that_come_to_lie_across_are_as_many_as_the_lens_is_long(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    across = changed_build(file, Build(grooves="level", angle_to_grooves=90.0))
    # 600 mm of lens, tubes of 38 mm and 2 mm between them: 15 of them, by hand.
    assert across.scene.tubes.count == 15
    assert across.scene.tubes.spacing == pytest.approx(0.040)
    along = changed_build(across, Build(grooves="level", angle_to_grooves=0.0))
    assert along.scene.tubes.count == 1
    own = changed_build(file, Build(grooves="level", angle_to_grooves=0.0))
    assert own.scene.tubes == file.scene.tubes


def short_table(file: SceneFile) -> ResponseTable:
    """A made-up table: the line is on the tubes within 3 deg across it and 20 deg along it, wherever they lie."""
    across = file.scene.tubes.angle_to_grooves > 45.0
    t, g = (12.0, 20.0) if across else (3.0, 20.0)
    nodes = [np.array([-90.0, -w, -0.5 * w, 0.0, 0.5 * w, w, 90.0]) for w in (t, g)]
    hill = np.array([0.0, 0.0, 0.8, 1.0, 0.8, 0.0, 0.0])
    count = file.scene.tubes.count
    values = np.zeros((7, 7, 1, 2 * count + 5))
    values[..., : 2 * count] = (0.5 / count * np.outer(hill, hill))[:, :, np.newaxis, np.newaxis]
    return replace(flat_table(tubes=count), transversal=nodes[0], longitudinal=nodes[1], values=values)


def test_coarser_marks_lose_more_and_all_is_told(
    simple_scene: Path, tmp_path: Path, focalrow: Callable[..., Run], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = read_scene(simple_scene)
    rows = compared_builds(file, dt.date(2026, 12, 21), short_table, spacings=(2.0, 10.0))
    assert len(rows) == 2 * len(BUILDS)
    for fine, coarse in zip(rows[::2], rows[1::2], strict=True):
        assert fine.build == coarse.build
        assert fine.plan.short_minutes <= coarse.plan.short_minutes
        assert fine.plan.loss < coarse.plan.loss + 0.02
    monkeypatch.setattr("tracking.cli.day_compare.compared_builds", lambda *_: rows)
    run = focalrow("day", simple_scene, "--compare", "--date", "2026-12-21", "--out", tmp_path)
    assert run.status == 0, run.err
    assert "grooves upslope, 15 tubes across" in run.out
    assert "A boiler of defaults" in run.out
    assert "Concentrated light" in run.out
    assert max(map(len, run.out.splitlines())) <= 100
    names = ["compare.csv", "compare.json", "compare.png", "compare.svg", "compare.txt"]
    assert sorted(path.name for path in tmp_path.iterdir() if path.name.startswith("compare")) == names
    told = json.loads((tmp_path / "compare.json").read_text(encoding="utf-8"))
    assert [row["moves"] for row in told["builds"]] == [row.plan.moves for row in rows]


@pytest.mark.long
def test_traced_builds_are_compared(simple_scene: Path) -> None:
    """Tubes across take the line wherever it wanders along them, so they never ask for more moves than one tube along.

    Both rows reach as far along the grooves: the tubes are as long as the lens. With two tubes along it would not hold:
    the line of a perfectly aimed lens falls between them, and a share of that little power is kept by a wide window.
    """
    text = simple_scene.read_text(encoding="utf-8").replace('length = "700 mm"', 'length = "600 mm"')
    simple_scene.write_text(text.replace('count = 2\nspacing = "40 mm"', "count = 1"), encoding="utf-8")
    rows = compared_builds(read_scene(simple_scene), dt.date(2026, 12, 21), response_table, spacings=(5.0,))
    moves = {(row.build.grooves, row.build.angle_to_grooves): row.plan.moves for row in rows}
    assert moves["level", 90.0] <= moves["level", 0.0]
    assert moves["upslope", 90.0] <= moves["upslope", 0.0]
    for row in rows:
        assert row.plan.moves == fewest_by_reach(row)
        assert row.plan.ahead_minutes == 0


def fewest_by_reach(row: Compared) -> int:
    """The fewest stretches by always taking the setting that lasts longest: no chain is shorter.

    A setting that serves from some minute to the farthest one serves from any later minute to there as well, so no
    other choice gets farther with as many settings.
    """
    day = day_settings(row.scene_file, row.plan.date, row.table)
    shares, margin = day.shares(), day.doubt
    best = shares.max(axis=0)
    last_minute, minute, count = len(best), 0, 0
    while minute < last_minute:
        reach = minute
        for own in shares:
            end = minute
            while end < last_minute and day.counts[end] and _serves(own[end], best[end], margin[end]):
                end += 1
            reach = max(reach, end)
        count += reach > minute
        minute = max(reach, minute + 1)  # a minute that is not worth a setting passes by itself
    return count


def _serves(share: float, best: float, margin: float) -> bool:
    return share >= (DEFAULT_SHARE if best >= DEFAULT_SHARE else best * (1.0 - 1e-12) - margin)


def test_a_build_that_gains_over_perfect_aiming_is_told_and_drawn(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    (row, *_) = compared_builds(file, dt.date(2026, 12, 21), short_table, spacings=(5.0,))
    gains = replace(row, plan=replace(row.plan, absorbed=1.2 * row.plan.perfect))
    picture = compare_picture([gains], ["one tube along"])
    assert "20 % more energy than perfect aiming" in picture.alt
    assert picture.figure.axes[1].get_ylim()[0] < -20.0
