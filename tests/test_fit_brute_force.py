"""The answers of `focalrow fit` against brute force on every shipped scene: grids of candidates by random hours.

The hours are drawn evenly from all daylight hours of the year, not by the fit's own way; every candidate is traced at
the same hours with the same random numbers, and the traces share nothing with those of the fit but the tracer.
"""

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from raytrace.arrays import Floats
from raytrace.compiling import default_threads
from raytrace.kernels import path
from raytrace.points import Replicates
from raytrace.profile import profile_window
from raytrace.scene import Scene
from raytrace.trace import prepare, run_replicates
from tracking.energy.fit import builds
from tracking.energy.fit.builds import as_built, ways_to_build
from tracking.energy.fit.height import best_height
from tracking.energy.fit.hours import Hours, Span, Sunlight, aimed_settings, hours_of, sunlight
from tracking.energy.fit.judge import Judge, tilts_to_try
from tracking.energy.fit.sample import Effort
from tracking.energy.fit.seasons import season_swivel, seasonal_tilts
from tracking.mount import Mount, row_pose
from tracking.response import response_table
from tracking.scenefile import read_scene

SCENES = Path(__file__).parent.parent / "scenes"

HOURS, HEIGHTS, RAYS = 200, 12, 1 << 14
MORE_HOURS, FEWER_RAYS = 600, 1 << 11
"""For a lens that stands still: the sun is on its row for a few of the hours only."""

SPAN = Span(year=2026)


def random_hours(hours: Hours, seed: int) -> Hours:
    """Random daylight hours: evenly drawn, without DNI or aim playing a part."""
    return hours.only(np.sort(np.random.default_rng(seed).choice(len(hours), HOURS, replace=False)))


def brute_force(scene: Scene, mount: Mount, light: Sunlight, rays: int = RAYS) -> Floats:
    """Energy absorbed in each hour (n,) [J], by a trace of its own, numbered by the hour."""
    prepared = prepare(scene)
    plan = Replicates(count=1, rays_each=rays, groups=1)

    def one(k: int) -> float:
        if light.energy[k] <= 0.0:
            return 0.0
        tan_t, tan_l = (math.tan(math.radians(float(angle[k]))) for angle in (light.transversal, light.longitudinal))
        row = row_pose(mount, float(light.tilt[k]), scene.tubes.angle_to_grooves)
        inputs = prepared.inputs(tan_t, tan_l, row, profile_window(scene, tan_t))
        sums = run_replicates(inputs, plan=plan, first=k, seed=1_000_003, threads=1, with_flux=False)
        return float(light.energy[k] * sums.totals[0, path.ABSORBED] / sums.totals[0, path.STARTED])

    with ThreadPoolExecutor(max_workers=default_threads()) as pool:
        return np.array(list(pool.map(one, range(len(light.energy)))))


def mean_and_error(values: Floats) -> tuple[float, float]:
    return float(values.mean()), float(values.std(ddof=1)) / math.sqrt(len(values))


def assert_nothing_better(best: Floats, others: Sequence[Floats], allowed: Sequence[float]) -> None:
    """No candidate beats the best one by more than is allowed (a share) and three errors of the brute force.

    One in 370 of such differences lies beyond three errors by chance; they are far from independent here.
    """
    whole = float(best.mean())
    assert whole > 0.0
    for other, share in zip(others, allowed, strict=True):
        gain, error = mean_and_error(other - best)
        assert gain <= share * whole + 3.0 * error


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
@pytest.mark.parametrize("name", ["north", "south"])
def test_no_tilt_left_for_the_year_is_better(name: str) -> None:
    """Of the marks of the mounts whose tilt is set by the season; the third scene has no answer of that kind."""
    file = read_scene(SCENES / f"{name}.toml")
    judge = Judge(file, hours_of(file, SPAN), response_table(file))
    swivel = season_swivel(judge)
    one = seasonal_tilts(judge, swivel, (1,))[0].seasons[0].tilt
    few = np.sort(np.random.default_rng(17).choice(len(judge.hours), MORE_HOURS, replace=False))
    hours = judge.hours.only(few)
    there = swivel if isinstance(swivel, float) else np.asarray(swivel)[few]

    def at(tilt: float) -> Floats:
        return brute_force(file.scene, file.mount, sunlight(file, hours, tilt, there), FEWER_RAYS)

    tilts = tilts_to_try(file.mount)
    tilts = tilts[:: max(1, len(tilts) // HEIGHTS)]
    others = [at(float(tilt)) for tilt in tilts]
    assert_nothing_better(at(one), others, [2.0 * judge.table.error.where_lit] * len(tilts))
