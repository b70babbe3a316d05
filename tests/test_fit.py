"""`focalrow fit`: what the command prints and refuses; the search itself on a small scene."""

import itertools
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


@pytest.mark.parametrize(
    ("over", "words"),
    [("summer", "no span of time"), ("2026-13", "not in the calendar"), ("1900-01", "out of range")],
)
def test_wrong_spans_are_told(focalrow: Callable[..., Any], simple_scene: Path, over: str, words: str) -> None:
    run = focalrow("fit", simple_scene, "--over", over)
    assert run.status == 2
    assert words in run.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--moved", "by-plan"], "nothing moves there"),
        (["--moved", "seasonal"], "nothing moves there"),
        (["--marks", "2026-06-21"], "the mount is fixed"),
    ],
)
def test_a_fixed_mount_is_not_moved(
    focalrow: Callable[..., Any], simple_scene: Path, arguments: list[str], words: str
) -> None:
    text = simple_scene.read_text(encoding="utf-8")
    fixed = 'kind = "fixed"\nfacing = "180 deg"\ntilt = "30 deg"'
    simple_scene.write_text(text.replace('kind = "swivel-tilt"', fixed), encoding="utf-8")
    run = focalrow("fit", simple_scene, *arguments)
    assert run.status == 2
    assert words in run.err


def test_a_span_without_sun(focalrow: Callable[..., Any], simple_scene: Path) -> None:
    text = simple_scene.read_text(encoding="utf-8")
    simple_scene.write_text(text.replace('"40 deg"', '"78 deg"'), encoding="utf-8")
    run = focalrow("fit", simple_scene, "--over", "2026-12-21", "--hours", "16", "--rays", "64")
    assert run.status == 0
    assert "No light reaches the tubes" in run.out


def test_a_day_as_json(focalrow: Callable[..., Any], simple_scene: Path) -> None:
    run = focalrow("fit", simple_scene, "--over", "2026-06-21", "--json", "--no-tilt", "--hours", "64", "--rays", "512")
    assert run.status == 0
    found = json.loads(run.out)
    height = found["height"]
    low, high = height["like_best_m"]
    assert low <= height["height_m"]["value"] <= high
    assert height["absorbed_kwh"]["value"] == max(each["absorbed_kwh"]["value"] for each in height["tried"])
    bands = [(band["low_m"]["value"], band["high_m"]["value"]) for band in height["bands"]]
    for inner, outer in itertools.pairwise(bands):
        assert outer[0] < inner[0] < height["height_m"]["value"] < inner[1] < outer[1]
