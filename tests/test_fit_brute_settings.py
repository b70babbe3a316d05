"""Tilts, facings, seasons, the reach of a frame and tolerances that `focalrow fit` finds, against brute force."""

import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from brute_force import FEWER_RAYS, MORE_HOURS, assert_nothing_better, brute_force, mean_and_error, random_numbers

from raytrace.arrays import Floats
from raytrace.response import ResponseTable
from tracking.energy.fit import tolerances
from tracking.energy.fit.hours import Hours, Span, Sunlight, aimed_settings, hours_of, sunlight
from tracking.energy.fit.judge import BIN_DAYS, Judge, tilts_to_try
from tracking.energy.fit.moving import aimed, standing_still
from tracking.energy.fit.reach import Reach, reaches
from tracking.energy.fit.sample import Effort
from tracking.energy.fit.seasons import SeasonalTilts, season_swivel, seasonal_tilts
from tracking.energy.fit.setting import ranges_of
from tracking.energy.fit.tilt import tilt_of
from tracking.scenefile import SceneFile, read_scene

SPAN = Span(year=2026)
SCENES = Path(__file__).parent.parent / "scenes"
Table = Callable[[Path], ResponseTable]


def judge_of(path: Path, shipped_table: Table) -> Judge:
    file = read_scene(path)
    return Judge(file, hours_of(file, SPAN), shipped_table(path))


@pytest.mark.long
def test_no_setting_of_a_lens_that_stands_still_is_better(scene_path: Path, shipped_table: Table) -> None:
    """Settings close to the one that was found, and settings from all that may be tried."""
    judge = judge_of(scene_path, shipped_table)
    file = judge.scene_file
    still = standing_still(judge)
    assert still.setting is not None
    few = judge.hours.only(random_numbers(len(judge.hours), 23, MORE_HOURS // 2))

    def at(tilt: float, swivel: float) -> Floats:
        return brute_force(file.scene, still.mount, sunlight(file, few, tilt, swivel), FEWER_RAYS // 2)

    best = at(*still.setting)
    ranges = ranges_of(file.mount)
    rng = np.random.default_rng(29)
    rivals = []
    for k in range(18):
        tilt, swivel = float(rng.choice(ranges.tilts)), float(rng.choice(ranges.swivels))
        if k < 12:  # the nearest ones of all, as far as three marks away
            tilt = _neighbour(ranges.tilts, still.setting.tilt, int(rng.integers(-3, 4)))
            swivel = _neighbour(ranges.swivels, still.setting.swivel, int(rng.integers(-3, 4)))
        rivals.append(at(tilt, swivel))
    # The table is wrong by so much of the light on the aperture, of which this lens uses a small part.
    light = judge.light(*still.setting)
    doubt = 2.0 * judge.table.error.where_lit * float(light.energy[np.abs(light.transversal) < judge.window].sum())
    share = doubt / float(judge.absorbed(light).sum())
    assert_nothing_better(best, rivals, [share] * len(rivals))


def _neighbour(values: Floats, value: float, steps: int) -> float:
    at = int(np.argmin(np.abs(values - value)))
    return float(values[min(max(at + steps, 0), len(values) - 1)])


@pytest.mark.long
@pytest.mark.parametrize("name", ["north", "south"])
def test_no_tilts_set_some_times_a_year_are_better(name: str, shipped_table: Table) -> None:
    """One, two, four and twelve tilts a year of the mounts that have them, against other days and other tilts.

    Each tilt is traced once at all hours; the energy of any plan is then a matter of which tilt holds when.
    """
    judge = judge_of(SCENES / f"{name}.toml", shipped_table)
    file = judge.scene_file
    swivel = season_swivel(judge)
    found = seasonal_tilts(judge, swivel)
    assert [len(each.seasons) for each in found] == [1, 2, 4, 12]
    numbers = random_numbers(len(judge.hours), 31, MORE_HOURS)
    few = judge.hours.only(numbers)
    there = swivel if isinstance(swivel, float) else np.asarray(swivel)[numbers]
    marks = tilts_to_try(file.mount)
    used = {season.tilt for each in found for season in each.seasons}
    tilts = sorted(used | set(marks[:: max(1, len(marks) // 12)].tolist()))
    traced = np.array(
        [brute_force(file.scene, file.mount, sunlight(file, few, tilt, there), FEWER_RAYS // 2) for tilt in tilts]
    )
    rng = np.random.default_rng(37)
    for each in found:
        best = traced[[tilts.index(tilt) for tilt in each.tilt[numbers].tolist()], np.arange(len(numbers))]
        rivals = [traced[_changed(each, few, tilts, rng), np.arange(len(numbers))] for _ in range(24)]
        whole = sunlight(file, judge.hours, each.tilt, each.swivel)
        lit = float(whole.energy[np.abs(whole.transversal) < judge.window].sum())
        share = 2.0 * judge.table.error.where_lit * lit / float(judge.absorbed(whole).sum())
        assert_nothing_better(best, rivals, [share] * len(rivals))


def _changed(plan: SeasonalTilts, hours: Hours, tilts: list[float], rng: np.random.Generator) -> np.ndarray:
    """Numbers of the tilts (n,) of a plan whose days and some of whose tilts are changed; as many seasons as before.

    The days of twelve tilts are those of the calendar and stay.
    """
    first = hours.span.limits()[0]
    starts = np.array([(season.start - first).days for season in plan.seasons])
    if len(starts) < 12:
        starts = (starts + rng.integers(-6, 7, len(starts)) * BIN_DAYS) % hours.days
    chosen = np.array([tilts.index(season.tilt) for season in plan.seasons])
    other = rng.random(len(chosen)) < 1.0 / len(chosen)
    steps = rng.integers(-3, 4, len(chosen))
    chosen = np.where(other, np.clip(chosen + steps, 0, len(tilts) - 1), chosen)
    order = np.argsort(starts)
    part = np.searchsorted(starts[order], hours.day, side="right") - 1
    return np.asarray(chosen[order][part])


@pytest.mark.long
def test_what_a_short_frame_loses(scene_path: Path, shipped_table: Table) -> None:
    """The loss 10 and 30 deg short of each end, by traces of the hours that it concerns at settings all over."""
    judge = judge_of(scene_path, shipped_table)
    file, hours = judge.scene_file, judge.hours
    settings = aimed_settings(file.mount, hours)
    some = random_numbers(len(hours), 41)
    light = sunlight(file, hours, *settings)
    total, total_error = (
        len(hours) * x for x in mean_and_error(brute_force(file.scene, file.mount, light.only(some), FEWER_RAYS))
    )
    found = reaches(judge)
    assert len(found) == (2 if file.mount.kind == "tilt" else 4)
    for reach, short in itertools.product(found, (1, 5)):
        if short >= len(reach.short):
            continue
        values = settings[0 if reach.axis == "tilt" else 1]
        limit = reach.short[short].limit
        beyond = np.flatnonzero(values < limit if reach.end == "lowest" else values > limit)
        picked = beyond[random_numbers(len(beyond), 43, 60)]
        lost = brute_force(file.scene, file.mount, light.only(picked), FEWER_RAYS)
        other = float(values.max() if reach.end == "lowest" else values.min())
        there = [each[picked] for each in settings]
        lost = lost - _best_within(file, hours.only(picked), reach, limit, other, there)
        mean, error = (len(beyond) * x / total for x in mean_and_error(lost))
        # Settings 4 deg apart miss the best one by little.
        doubt = 3.0 * (error + abs(mean) * total_error / total) + 2.0 * judge.table.error.where_lit + 0.05 * mean
        assert reach.short[short].loss <= mean + doubt
        if reach.axis == "tilt" or file.mount.kind == "polar":
            # A swivel that may go past whole turns has better settings than those tried here, between its two ends.
            assert reach.short[short].loss >= mean - doubt


def _best_within(
    file: SceneFile, hours: Hours, reach: Reach, limit: float, other: float, settings: list[Floats]
) -> Floats:
    """Energies (n,) [J] of a lens whose frame ends at a limit, at the best setting for each hour of many within it.

    One axis stands at its limit, or a turn back before its `other` end, and the other axis anywhere. The setting is
    chosen by one trace and told by another.
    """
    mount = file.mount
    steps = np.arange(-92.0, 93.0, 4.0)
    tried = []
    for step in steps.tolist():
        if reach.axis == "tilt":
            swivel = settings[1] + step
            limits = mount.swivel_limits
            tried.append((np.full(len(hours), limit), swivel if limits is None else np.clip(swivel, *limits)))
        else:
            tilt = np.clip(settings[0] + step, *mount.tilt_limits)
            tried.append((tilt, np.full(len(hours), limit)))
            if mount.kind == "swivel-tilt":  # a turn further back, where the frame reaches that far
                back = settings[1] + (360.0 if reach.end == "lowest" else -360.0)
                within = back <= other if reach.end == "lowest" else back >= other
                tried.append((tilt, np.where(within, back, limit)))
    chosen = np.argmax([brute_force(file.scene, mount, sunlight(file, hours, *each), 1 << 9) for each in tried], axis=0)
    tilt, swivel = (np.array([tried[k][axis][n] for n, k in enumerate(chosen.tolist())]) for axis in (0, 1))
    return brute_force(file.scene, mount, sunlight(file, hours, tilt, swivel), FEWER_RAYS)


@pytest.mark.long
def test_what_tilts_and_perfect_aim_absorb(scene_path: Path, shipped_table: Table) -> None:
    """The energies that the tables of tilts tell, from traces of other hours."""
    judge = judge_of(scene_path, shipped_table)
    file, hours = judge.scene_file, judge.hours
    found = tilt_of(judge, file.scene, Effort(draws=12, rays=1 << 10), seasons=True)
    few = random_numbers(len(hours), 47, MORE_HOURS // 2)
    plans = seasonal_tilts(judge, season_swivel(judge))
    told: list[tuple[Sunlight, object]] = [(judge.light(*aimed_settings(file.mount, hours)), found.aimed)]
    told += [(judge.light(p.tilt, p.swivel), row.absorbed) for p, row in zip(plans, found.seasonal, strict=True)]
    for light, energy in told:
        traced = brute_force(file.scene, file.mount, light.only(few), FEWER_RAYS // 2)
        mean, error = (len(hours) * x for x in mean_and_error(traced))
        assert energy.value == pytest.approx(mean, abs=4.0 * np.hypot(error, energy.standard_error))


@pytest.mark.long
def test_errors_that_take_five_per_cent(scene_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each size that is said to take 5 % of the year takes 5 % at random hours, traced with the error in it."""
    monkeypatch.setattr(tolerances, "SCALES", ())  # one error at a time
    file = read_scene(scene_path)
    hours = hours_of(file, SPAN)
    found = tolerances.tolerances_of(file.scene, aimed(file, hours), effort=Effort(draws=16, rays=1 << 10))
    few = hours.only(random_numbers(len(hours), 53))
    light = sunlight(file, few, *aimed_settings(file.mount, few))
    own = brute_force(file.scene, file.mount, light, 1 << 12)
    checked = 0
    for row in found.sensitivities:
        size = row.sizes[-1]
        if size is None:
            continue
        checked += 1
        signs = (1.0, -1.0) if row.key in {"aim_across", "aim_along", "tube_offset"} else (1.0,)
        losses = [own - _with_error(file, light, row.key, sign * size.value) for sign in signs]
        loss, error = (x / float(own.mean()) for x in mean_and_error(max(losses, key=lambda each: float(each.sum()))))
        # Twice the error of the size times the steepness, which is about 2 x 5 % a size where the loss is quadratic;
        # a size is read off a chord between two that were tried, one of which has a tenth more or less of that loss.
        doubt = 3.0 * error + 2.0 * 0.1 * size.standard_error / size.value + 0.004
        assert loss == pytest.approx(0.05, abs=doubt), row.key
    assert checked >= 5


def _with_error(file: SceneFile, light: Sunlight, key: str, size: float) -> Floats:
    """Energies (n,) [J] with an error of this size."""
    scene, lens = file.scene, file.scene.lens
    if key in {"slope_error", "sag_down", "sag_up"}:
        sag = lens.sag + (size if key == "sag_down" else -size)
        lens = replace(lens, slope_error=size) if key == "slope_error" else replace(lens, sag=sag)
        scene = replace(scene, lens=lens)
    elif key in {"too_high", "too_low"}:
        scene = replace(scene, lens_height=scene.lens_height + (size if key == "too_high" else -size))
    elif key == "aiming_error":
        scene = replace(scene, aiming_error=size)
    elif key != "tube_offset":
        light = _turned(light, np.radians(size), axis=0 if key == "aim_across" else 1)
    return brute_force(scene, file.mount, light, 1 << 12, aside=size if key == "tube_offset" else 0.0)


def _turned(light: Sunlight, turn: float, axis: int) -> Sunlight:
    """The light on a lens that is turned off its aim [rad], by turning the sun's vector in a plane with n."""
    sun = np.stack([np.tan(np.radians(light.transversal)), np.tan(np.radians(light.longitudinal))], axis=1)
    sun = np.concatenate([sun, np.ones((len(sun), 1))], axis=1)
    sun /= np.linalg.norm(sun, axis=1)[:, None]
    after = sun.copy()
    after[:, axis] = np.cos(turn) * sun[:, axis] + np.sin(turn) * sun[:, 2]
    after[:, 2] = np.cos(turn) * sun[:, 2] - np.sin(turn) * sun[:, axis]
    behind = after[:, 2] <= 1e-3
    ratio = np.where(behind, 0.0, after[:, 2] / sun[:, 2])
    ahead = np.where(behind, 1.0, after[:, 2])
    return replace(
        light,
        transversal=np.degrees(np.arctan(after[:, 0] / ahead)),
        longitudinal=np.degrees(np.arctan(after[:, 1] / ahead)),
        energy=light.energy * ratio,
    )
