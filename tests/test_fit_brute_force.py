"""Lens heights and ways to build that `focalrow fit` finds, against brute force on every shipped scene."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from brute_force import HEIGHTS, HOURS, assert_nothing_better, brute_force, mean_and_error, random_hours, random_numbers

from raytrace.arrays import Floats
from raytrace.response import ResponseTable
from tracking.energy.fit import builds
from tracking.energy.fit.builds import as_built, ways_to_build
from tracking.energy.fit.fit import fit_of
from tracking.energy.fit.height import best_height
from tracking.energy.fit.hours import Span, aimed_settings, hours_of, sunlight
from tracking.energy.fit.sample import Effort
from tracking.scenefile import read_scene

SPAN = Span(year=2026)


@pytest.mark.long
def test_no_height_of_a_grid_is_better(scene_path: Path) -> None:
    file = read_scene(scene_path)
    hours = hours_of(file, SPAN)
    found = best_height(file.scene, file.mount, sunlight(file, hours, *aimed_settings(file.mount, hours)))
    few = random_hours(hours, seed=11)
    light = sunlight(file, few, *aimed_settings(file.mount, few))
    focal = file.scene.lens.focal_length

    def at(height: float) -> Floats:
        return brute_force(replace(file.scene, lens_height=height), file.mount, light)

    grid = np.linspace(0.6 * focal, 1.2 * focal, HEIGHTS).tolist()
    best, others = at(found.height.value), [at(height) for height in grid]
    assert_nothing_better(best, others, [found.possible_gain] * HEIGHTS)
    # The band says which heights lose more than 5 %: none of those outside loses less, none of those inside more.
    band = found.bands[-1]
    for height, other in zip(grid, others, strict=True):
        gain, error = mean_and_error(other - 0.95 * best)
        low = -math.inf if band.low is None else band.low.value
        high = found.tried[-1].height if band.high is None else band.high.value
        doubt = 3.0 * max(0.0 if end is None else end.standard_error for end in (band.low, band.high))
        if low + doubt < height < high - doubt:
            assert gain >= -3.0 * error
        elif height < low - doubt or (height > high + doubt and band.high is not None):
            assert gain <= 3.0 * error


@pytest.mark.long
def test_no_way_to_build_is_better_than_the_first(scene_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Each way stands at the height that its search has found; a shorter search leaves the ranking to be checked.
    monkeypatch.setattr(builds, "HEIGHTS", 6)
    monkeypatch.setattr(builds, "ROUNDS", 1)
    file = read_scene(scene_path)
    hours = hours_of(file, SPAN)
    rows = ways_to_build(file, hours, effort=Effort(draws=3, rays=1 << 9)).rows
    few = random_hours(hours, seed=13)

    def of(number: int) -> Floats:
        built = as_built(file, rows[number].option)
        light = sunlight(built, few, *aimed_settings(built.mount, few))
        return brute_force(replace(built.scene, lens_height=rows[number].height), built.mount, light)

    best = rows[0].absorbed.value
    picked = [1, 3, 5, len(rows) // 2]
    allowed = [max(0.0, 2.0 * rows[k].shortfall.standard_error - rows[k].shortfall.value) / best for k in picked]
    assert_nothing_better(of(0), [of(k) for k in picked], allowed)


@pytest.mark.long
def test_no_height_is_better_for_a_lens_moved_by_its_plan(
    scene_path: Path, shipped_table: Callable[[Path], ResponseTable]
) -> None:
    """On one day, whose plan is made from the table at the scene's own height: the plan is the same for all heights."""
    file = read_scene(scene_path)
    fitted = fit_of(
        file,
        Span(year=2026, month=5, day=15),
        table_of=lambda _file, _progress: shipped_table(scene_path),
        moved="by-plan",
        with_tilt=False,
    )
    assert len(fitted.fit.moves) == 1
    found, light = fitted.fit.height, fitted.moved.light
    light = light.only(random_numbers(len(light.energy), 19, HOURS))
    focal = file.scene.lens.focal_length

    def at(height: float) -> Floats:
        return brute_force(replace(file.scene, lens_height=height), file.mount, light, 1 << 12)

    others = [at(height) for height in np.linspace(0.6 * focal, 1.2 * focal, HEIGHTS).tolist()]
    assert_nothing_better(at(found.height.value), others, [found.possible_gain] * HEIGHTS)


@pytest.mark.long
def test_no_month_is_worse_than_the_worst_one(scene_path: Path) -> None:
    file = read_scene(scene_path)
    effort = Effort(rays=1 << 10)
    fitted = fit_of(
        file, SPAN, table_of=lambda _file, _progress: pytest.fail("no table needed"), worst_month=True,
        with_tilt=False, effort=effort,
    )  # fmt: skip
    built = replace(file.scene, lens_height=fitted.fit.height.height.value)
    hours = hours_of(file, SPAN)
    a_day = {}
    for month in range(1, 13):
        part = hours.of_month(month)
        few = random_hours(part, month, 40)
        energies = brute_force(built, file.mount, sunlight(file, few, *aimed_settings(file.mount, few)), 1 << 11)
        mean, error = mean_and_error(energies)
        a_day[month] = np.array([mean, error]) * len(part) / part.days
    worst, error = a_day.pop(fitted.fit.span.month or 0)
    assert all(worst <= mean + 3.0 * math.hypot(error, other) for mean, other in a_day.values())
