"""The comparison of builds: coarser marks never make more energy, and the table says what it compares."""

import datetime as dt
from pathlib import Path

import pytest

from tracking.cli.day_compare import compare_object, compare_text
from tracking.plans.compare import BUILDS, changed_build, compared_builds
from tracking.response import response_table
from tracking.scenefile import read_scene


def test_a_changed_build_differs_in_grooves_and_tubes_alone(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    built = changed_build(file, BUILDS[-1])
    assert built.mount.grooves == "upslope"
    assert built.scene.tubes.angle_to_grooves == pytest.approx(90.0)
    assert built.scene.lens == file.scene.lens
    assert built.site == file.site


@pytest.mark.hours
def test_marks_further_apart_lose_more(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    rows = compared_builds(file, dt.date(2026, 3, 20), response_table, spacings=(2.0, 10.0))
    assert len(rows) == 2 * len(BUILDS)
    for fine, coarse in zip(rows[::2], rows[1::2], strict=True):
        assert fine.build == coarse.build
        assert fine.plan.short_minutes <= coarse.plan.short_minutes
    text = compare_text(rows, width=100)
    assert "grooves upslope, tubes across" in text
    assert max(map(len, text.splitlines())) <= 100
    assert len(compare_object(rows)) == len(rows)
