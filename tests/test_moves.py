"""The fewest settings for a day, held against a search of all chains on made-up days."""

import datetime as dt
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from raytrace.arrays import Floats
from tracking.mount import Setting
from tracking.plans.marks import FAINT, DaySettings
from tracking.plans.moves import LEAST_COVERED, best_with_moves, fewest_moves, lazy_plan

START = dt.datetime(2026, 3, 20, 9, 0, tzinfo=dt.UTC)


def made_up_day(power: Floats, perfect: Floats) -> DaySettings:
    nodes = len(perfect)
    return DaySettings(
        date=START.date(),
        times=tuple(START + dt.timedelta(minutes=k) for k in range(nodes)),
        settings=tuple(Setting(float(k), 0.0) for k in range(len(power))),
        power=power,
        perfect=perfect,
        linked=np.ones(nodes - 1, dtype=bool),
        tilt_step=1.0,
        swivel_step=None,
    )


def hill_day(width: float, settings_count: int, nodes: int = 60) -> DaySettings:
    """Settings whose power falls off on both sides of a minute of their own, evenly spaced over the day."""
    minute = np.arange(nodes)
    centres = np.linspace(0, nodes - 1, settings_count)
    power = 100.0 * np.clip(1.0 - 0.1 * np.abs(minute - centres[:, np.newaxis]) / width, 0.0, 1.0)
    return made_up_day(power, np.full(nodes, 100.0))


def every_chain(day: DaySettings, share: float) -> tuple[int, float]:
    """Fewest settings, and most energy with so many, by trying every setting in every minute."""
    cells = len(day.times) - 1
    ratio = day.power / day.perfect
    cell_share = np.minimum(ratio[:, :-1], ratio[:, 1:])
    wanted = np.minimum(share, cell_share.max(axis=0))
    best = (math.inf, 0.0)
    for chain in itertools.product(range(len(day.settings)), repeat=cells):
        if all(cell_share[setting, cell] >= wanted[cell] * (1.0 - 1e-9) for cell, setting in enumerate(chain)):
            count = 1 + sum(a != b for a, b in itertools.pairwise(chain))
            energy = sum(30.0 * (day.power[s, c] + day.power[s, c + 1]) for c, s in enumerate(chain))
            best = min(best, (count, -energy))
    return int(best[0]), -best[1]


@given(st.integers(min_value=0, max_value=2**32 - 1))
@settings(max_examples=30)
def test_no_chain_of_settings_is_better_than_the_plan(seed: int) -> None:
    random = np.random.default_rng(seed)
    perfect = random.uniform(50.0, 100.0, 6)
    day = made_up_day(perfect * random.uniform(0.5, 1.0, (3, 6)), perfect)
    count, energy = every_chain(day, 0.7)
    plan = fewest_moves(day, 0.7)
    assert plan.moves == count
    assert plan.absorbed == pytest.approx(energy, rel=1e-9)


def test_settings_lead_the_sun_and_are_best_in_the_middle_of_their_stretch() -> None:
    day = hill_day(width=10.0, settings_count=60)  # one setting a minute: as free as can be
    plan = fewest_moves(day, 0.9)
    assert plan.moves == 3  # each holds 90 % for 10 min either way: 20 of 59 minutes
    for stretch in plan.stretches:
        middle = (stretch.start - START + (stretch.until - stretch.start) / 2) / dt.timedelta(minutes=1)
        assert stretch.setting.tilt == pytest.approx(middle, abs=1.0)


def test_stretches_join_without_a_gap_and_keep_the_share() -> None:
    plan = fewest_moves(hill_day(width=6.0, settings_count=30), 0.9)
    assert all(before.until == after.start for before, after in itertools.pairwise(plan.stretches))
    assert plan.stretches[0].start == START
    assert plan.stretches[-1].until == START + dt.timedelta(minutes=59)
    assert min(stretch.least_share for stretch in plan.stretches) >= 0.9 - 1e-9
    assert plan.short_minutes == 0


def test_where_no_mark_reaches_the_share_the_best_serves_and_the_plan_says_so() -> None:
    day = hill_day(width=4.0, settings_count=3)  # 29.5 min apart, 90 % holds for 4 min either way
    plan = fewest_moves(day, 0.9)
    assert plan.moves == 3
    assert plan.short_minutes > 0
    assert min(stretch.least_share for stretch in plan.stretches) < 0.9


def test_a_minute_that_a_mark_surely_serves_is_never_left_to_a_worse_one() -> None:
    """Where the table's error is large, the best mark may be just above the share and another just below it."""
    power = np.array([[92.0, 92.0, 92.0, 70.0, 70.0], [70.0, 70.0, 92.0, 92.0, 92.0], [88.0] * 5])
    day = replace(made_up_day(power + 5.0, np.full(5, 100.0)), margin=np.full(5, 0.05))
    plan = fewest_moves(day, 0.9)
    assert plan.short_minutes == 0
    assert plan.moves == 2
    assert min(stretch.least_share for stretch in plan.stretches) == pytest.approx(0.92)
    # Where no mark surely keeps the share, those serve that the table cannot tell from the best one.
    assert fewest_moves(day, 0.925).moves == 1


def test_minutes_in_which_a_setting_absorbs_more_than_perfect_aiming_are_counted() -> None:
    """As where the line falls between two tubes when the lens is aimed at the middle of the row."""
    day = made_up_day(np.array([[90.0, 100.0, 100.5, 120.0, 125.0]]), np.full(5, 100.0))
    plan = fewest_moves(day, 0.9)
    assert plan.ahead_minutes == 1  # the last one: the lesser of its two ends counts, and half a per cent does not
    assert plan.loss == pytest.approx(1.0 - (0.5 * (90.0 + 125.0) + 100.0 + 100.5 + 120.0) / 400.0)


def test_more_moves_never_lose_energy_and_a_lazy_plan_takes_as_few_as_it_can() -> None:
    day = hill_day(width=2.0, settings_count=30)
    energies = [best_with_moves(day, most).absorbed for most in range(1, 12)]
    assert energies == sorted(energies)
    lazy = lazy_plan(day, 0.8)
    assert lazy.absorbed >= 0.8 * lazy.perfect
    assert best_with_moves(day, lazy.moves - 1).absorbed < 0.8 * lazy.perfect


def test_a_day_without_sun_has_an_empty_plan() -> None:
    day = made_up_day(np.zeros((0, 2)), np.zeros(2))
    assert fewest_moves(day).moves == 0
    assert lazy_plan(day).moves == 0
    assert fewest_moves(day).weakest is None


def test_a_plan_is_held_against_a_move_each_quarter_of_an_hour() -> None:
    plan = fewest_moves(hill_day(width=10.0, settings_count=60), 0.9)
    assert plan.habit_moves == 4
    assert plan.loss_against_habit == pytest.approx(1.0 - plan.absorbed / plan.habit)
    assert 0.0 < plan.loss < 0.1


def every_covered_chain(day: DaySettings, most: int) -> float:
    """Most energy with at most so many settings, by trying every setting and the cover in every minute."""
    cells = len(day.times) - 1
    ratio = day.power / day.perfect
    share = np.minimum(ratio[:, :-1], ratio[:, 1:])
    lowest = np.minimum(FAINT, share.max(axis=0))
    covered = len(day.settings)
    best = 0.0
    for chain in itertools.product(range(covered + 1), repeat=cells):
        runs = [(setting, len(list(group))) for setting, group in itertools.groupby(chain)]
        if sum(setting != covered for setting, _ in runs) > most:
            continue
        if any(setting == covered and length < LEAST_COVERED for setting, length in runs[1:-1]):
            continue
        if any(s != covered and share[s, c] < lowest[c] * (1.0 - 1e-9) for c, s in enumerate(chain)):
            continue
        energy = sum(30.0 * (day.power[s, c] + day.power[s, c + 1]) for c, s in enumerate(chain) if s != covered)
        best = max(best, energy)
    return best


@given(st.integers(min_value=0, max_value=2**32 - 1), st.integers(min_value=1, max_value=3))
@settings(max_examples=8)
def test_no_covered_chain_of_so_many_settings_is_better_than_the_plan(seed: int, most: int) -> None:
    random = np.random.default_rng(seed)
    perfect = random.uniform(50.0, 100.0, 9)
    day = made_up_day(perfect * random.choice([0.02, 0.1, 0.5, 1.0], (2, 9)), perfect)
    plan = best_with_moves(day, most)
    assert plan.moves <= most
    assert plan.absorbed == pytest.approx(every_covered_chain(day, most), rel=1e-9)


def test_a_lazy_plan_leaves_no_gap_and_keeps_light_on_the_tubes() -> None:
    plan = lazy_plan(hill_day(width=1.0, settings_count=30), 0.8)
    assert plan.covers == ()
    assert plan.energy_share == pytest.approx(0.8)
    assert plan.weakest is not None
    assert FAINT <= plan.weakest.least_share < 0.8  # it falls below the day's share at times, and says how far


def test_a_plan_of_few_moves_has_the_lens_covered_for_some_minutes_or_not_at_all() -> None:
    plan = best_with_moves(hill_day(width=0.5, settings_count=12), 4)
    assert plan.covers
    for start, end in plan.covers:
        assert (end - start) / dt.timedelta(minutes=1) >= LEAST_COVERED
