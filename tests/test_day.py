"""A day's plan: instants, powers with the errors asked for, and sums that close the day's ends."""

import datetime as dt
import math
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import SIMPLE_SCENE, flat_table

from tracking.plans import power as power_module
from tracking.plans.day import Day, day_plan
from tracking.plans.instant import instants_at
from tracking.plans.power import ROW_SHARE, TUBE_SHARE, Effort
from tracking.scenefile import SceneFile, read_scene

EQUINOX = dt.date(2026, 3, 20)
FEW = Effort(rays=1024)
APERTURE = 0.4 * 0.6  # [m2], of the simple scene
DNI = 800.0  # [W/m2], of the simple scene


@pytest.fixture
def scene_file(simple_scene: Path) -> SceneFile:
    return read_scene(simple_scene)


def changed(tmp_path: Path, *changes: tuple[str, str]) -> SceneFile:
    text = SIMPLE_SCENE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "changed.toml"
    path.write_text(text, encoding="utf-8")
    return read_scene(path)


def minutes(step: float) -> dt.timedelta:
    return dt.timedelta(minutes=step)


def test_instants_lie_at_whole_multiples_of_the_step_while_the_sun_is_up(scene_file: SceneFile) -> None:
    plan = day_plan(scene_file, EQUINOX, minutes(45), effort=FEW)
    times = [entry.instant.time_local for entry in plan.instants]
    assert all((60 * time.hour + time.minute) % 45 == 0 and time.second == 0 for time in times)
    assert plan.events.sunrise is not None
    assert plan.events.sunset is not None
    assert plan.events.sunrise <= times[0] < plan.events.sunrise + minutes(45)
    assert plan.events.sunset - minutes(45) < times[-1] <= plan.events.sunset


def test_constant_sun_on_a_lens_aimed_with_both_axes_gives_power_times_hours(scene_file: SceneFile) -> None:
    # The aperture power is constant while the lens is aimed, so the trapezoidal rule with the right ends is exact
    # whatever the step.
    for step in (20.0, 45.0, 600.0, 1440.0):
        totals = day_plan(scene_file, EQUINOX, minutes(step), effort=FEW).totals
        assert totals.aperture == pytest.approx(DNI * APERTURE * totals.hours_aimed * 3600.0, rel=1e-9)


def test_aiming_begins_and_ends_at_five_degrees(scene_file: SceneFile) -> None:
    plan = day_plan(scene_file, EQUINOX, minutes(1), effort=Effort(rays=16))
    aimed = [entry for entry in plan.instants if entry.instant.aim is not None]
    hours = (aimed[-1].instant.time_utc - aimed[0].instant.time_utc).total_seconds() / 3600.0
    # The exact ends lie less than a minute outside the first and the last aimed minute.
    assert hours <= plan.totals.hours_aimed <= hours + 2.0 / 60.0
    assert aimed[0].instant.solar_elevation == pytest.approx(5.0, abs=0.25)  # a minute of the sun


def test_sums_hardly_depend_on_the_step(tmp_path: Path) -> None:
    fixed = changed(
        tmp_path, ('kind = "swivel-tilt"', 'kind = "tilt"\nfacing = "90 deg"\ntilt_range = ["-85 deg", "85 deg"]')
    )
    fine, coarse = (day_plan(fixed, EQUINOX, minutes(step), effort=FEW).totals for step in (15.0, 60.0))
    # Error of the trapezoidal rule: h^2 / 12 times the change of slope between the ends, for a cosine-like power over
    # 11 h with h = 1 h below 1 %.
    assert coarse.aperture == pytest.approx(fine.aperture, rel=0.01)
    assert coarse.absorbed == pytest.approx(fine.absorbed, rel=0.02)


def test_tubes_add_up_to_the_row(scene_file: SceneFile) -> None:
    totals = day_plan(scene_file, EQUINOX, minutes(120), effort=FEW).totals
    assert sum(totals.absorbed_per_tube) == pytest.approx(totals.absorbed, rel=1e-12)
    assert sum(totals.intercepted_per_tube) == pytest.approx(totals.intercepted, rel=1e-12)
    assert 0.0 < totals.absorbed < totals.intercepted < totals.aperture


def assert_errors_small(plan: Day, relative_error: float) -> None:
    for entry in plan.instants:
        powers = entry.powers
        least = ROW_SHARE * powers.aperture
        assert powers.absorbed_standard_error <= relative_error * max(powers.absorbed, least)


def test_every_power_is_as_sure_as_asked_for(scene_file: SceneFile) -> None:
    for relative_error in (0.005, 0.002):
        plan = day_plan(scene_file, EQUINOX, minutes(120), effort=Effort(relative_error=relative_error))
        assert plan.short_of_rays == ()
        assert_errors_small(plan, relative_error)


def test_nearly_no_power_does_not_ask_for_endless_rays(tmp_path: Path) -> None:
    # The focal line falls far beside the one thin tube.
    thin = changed(
        tmp_path,
        ("count = 2\n", "count = 1\n"),
        ('spacing = "40 mm"\n', ""),
        ('absorber_diameter = "38 mm"', 'absorber_diameter = "1 mm"'),
        ('lens_height = "490 mm"', 'lens_height = "150 mm"'),
    )
    plan = day_plan(thin, EQUINOX, minutes(360))
    assert plan.short_of_rays == ()
    assert_errors_small(plan, 0.005)
    assert ROW_SHARE < TUBE_SHARE <= 0.05


def test_an_error_that_is_not_reached_is_told(scene_file: SceneFile, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(power_module, "MOST_RAYS", power_module.FIRST_RAYS)
    plan = day_plan(scene_file, EQUINOX, minutes(360), effort=Effort(relative_error=1e-7))
    assert plan.short_of_rays
    for entry in plan.short_of_rays:
        assert entry.powers.rays == power_module.FIRST_RAYS


def test_same_seed_same_day(scene_file: SceneFile) -> None:
    first, again = (day_plan(scene_file, EQUINOX, minutes(240), effort=replace(FEW, seed=5)) for _ in range(2))
    other = day_plan(scene_file, EQUINOX, minutes(240), effort=replace(FEW, seed=6))
    assert first.totals == again.totals
    assert first.totals != other.totals


def test_midnight_sun_is_aimed_at_all_day(tmp_path: Path) -> None:
    north = changed(tmp_path, ('latitude = "40 deg"', 'latitude = "80 deg"'))
    plan = day_plan(north, dt.date(2026, 6, 21), minutes(240), effort=FEW)
    assert plan.events.sun_is_up_all_day
    assert plan.totals.hours_aimed == pytest.approx(24.0, abs=1e-9)


def test_a_winter_sun_below_five_degrees_gives_nothing(tmp_path: Path) -> None:
    north = changed(tmp_path, ('latitude = "40 deg"', 'latitude = "64 deg"'))
    plan = day_plan(north, dt.date(2026, 12, 21), minutes(30), effort=FEW)
    assert plan.instants
    assert plan.totals.hours_aimed == 0.0
    assert all(entry.instant.aim is None and entry.powers.absorbed == 0.0 for entry in plan.instants)


def test_a_sun_behind_a_fixed_lens_gives_nothing(tmp_path: Path) -> None:
    wall = changed(
        tmp_path, ('kind = "swivel-tilt"', 'kind = "fixed"\nfacing = "0 deg"\ntilt = "80 deg"')
    )  # faces north, the winter sun is in the south
    plan = day_plan(wall, dt.date(2026, 12, 21), minutes(60), effort=FEW)
    behind = [entry for entry in plan.instants if entry.instant.aim and entry.instant.aim.angles.incidence > 90.0]
    assert behind
    for entry in behind:
        assert entry.powers.aperture == entry.powers.absorbed == 0.0
        assert entry.powers.optical_efficiency is None
        assert entry.powers.w90 is None


def test_the_clock_change_keeps_the_sums(scene_file: SceneFile) -> None:
    # Spain went to summer time on 2026-03-29 at 02:00 (IANA time zone database). The day before and after frame it.
    hours = [
        day_plan(scene_file, dt.date(2026, 3, day), minutes(360), effort=FEW).totals.hours_aimed for day in (28, 29, 30)
    ]
    assert hours[0] < hours[1] < hours[2]
    assert hours[2] - hours[0] < 0.2  # the day grows by some minutes


def test_angles_and_powers_belong_together(scene_file: SceneFile) -> None:
    moment = dt.datetime(2026, 6, 21, 10, 0, tzinfo=dt.UTC)
    (instant,) = instants_at(scene_file, [moment])
    assert instant.time_local.utcoffset() == dt.timedelta(hours=2)
    assert instant.dni == DNI
    assert instant.aim is not None
    assert instant.aim.angles.incidence == pytest.approx(0.0, abs=1e-6)
    # Level grooves, tubes along them: the tubes lie level at every setting of a swivel-tilt mount.
    assert instant.aim.tube_slope == pytest.approx(0.0, abs=1e-9)
    assert math.isclose(instant.aim.setting.tilt, 90.0 - instant.solar_elevation, abs_tol=1e-6)


def test_powers_from_a_table_are_its_shares_of_the_aperture_power(scene_file: SceneFile) -> None:
    tubes = scene_file.scene.tubes.count
    table = flat_table(tubes=tubes)
    plan = day_plan(scene_file, EQUINOX, minutes(60), table=table)
    aimed = [entry.powers for entry in plan.instants if entry.powers.aperture > 0.0]
    assert len(aimed) > 5
    for powers in aimed:
        assert powers.source == "table"
        assert powers.absorbed_per_tube == pytest.approx([0.4 * powers.aperture] * tubes)
        assert powers.intercepted == pytest.approx(0.5 * tubes * powers.aperture)
        assert powers.absorbed_standard_error == pytest.approx(0.001 * powers.aperture)
        assert powers.w90 == pytest.approx(0.012)
    assert plan.totals.absorbed == pytest.approx(0.4 * tubes * plan.totals.aperture)
