"""The path of the focus of a lens that nobody moves, the thresholds, and `focalrow stray`."""

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Run

from tracking.errors import InputError
from tracking.mount import Setting
from tracking.scenefile import read_scene
from tracking.stray.idle import idle_path, surroundings_of, turned_over
from tracking.stray.keepout import keep_out
from tracking.stray.park import checked, parking
from tracking.stray.stretch import day_times, idle_setting, last_setting, year_times
from tracking.stray.thresholds import LOWER_RISK, THRESHOLDS, band, skin_seconds
from tracking.stray.walkoff import PlanRow, plan_rows, shortest, walk_offs

HOUR = dt.timedelta(hours=1)
DAY = dt.date(2026, 6, 21)


# Handbook of Chemical Hazard Analysis Procedures (FEMA, DOT, EPA 1989), table 4.2; seen in the source.
@pytest.mark.parametrize(("flux", "pain", "burn"), [(1e3, 115, 663), (4e3, 18, 57), (10e3, 5, 14)])
def test_skin_times_are_those_of_the_handbook(flux: float, pain: float, burn: float) -> None:
    assert skin_seconds(flux) == pytest.approx((pain, burn))


def test_skin_times_enclose_the_fit_of_another_source() -> None:
    # DoD DESR 6055.09: injury where q = (t / 200)^(-1 / 1.46) kW/m2; seen in the source.
    for flux in (1e3, 3e3, 5e3, 8e3, 12e3, 20e3):
        seconds = skin_seconds(flux)
        assert seconds is not None
        assert seconds[0] < 200.0 * (flux / 1e3) ** -1.46 < seconds[1]


def test_skin_times_end_where_the_table_begins() -> None:
    assert skin_seconds(999.0) is None


def test_bands_name_the_highest_threshold_and_never_safety() -> None:
    assert [each.flux for each in THRESHOLDS] == sorted(each.flux for each in THRESHOLDS)
    assert band(0.0) == LOWER_RISK == "lower risk"
    assert band(THRESHOLDS[1].flux) == THRESHOLDS[1].name
    assert "safe" not in LOWER_RISK


def test_a_lens_left_at_noon_burns_the_board_in_the_afternoon(simple_scene: Path) -> None:
    # A board right behind the tubes: there the focal line is some ten suns strong.
    text = simple_scene.read_text(encoding="utf-8")
    board = '\n[[surroundings]]\nname = "board"\nshape = "plane"\nsize = ["500 mm", "900 mm"]\n'
    board += 'place = ["0 mm", "0 mm", "-25 mm"]\nfixed_to = "lens"\n'
    simple_scene.write_text(text + board, encoding="utf-8")
    scene_file = read_scene(simple_scene)
    noon = [time for time in day_times(scene_file.site, DAY, HOUR) if time.hour == 14]  # clock noon is near 14 h there
    from tracking.plans.instant import instants_at

    aim = instants_at(scene_file, noon)[0].aim
    assert aim is not None
    path = idle_path(scene_file, aim.setting, day_times(scene_file.site, DAY, HOUR), step=HOUR, rays=1 << 13)
    fire = path.first_fire(4300.0)
    assert fire is not None
    assert path.worst is not None
    assert path.worst.flux > 4300.0
    board = path.faces[0]
    assert board.worst is not None
    assert float(board.highest.max()) >= board.worst.flux * (1 - 1e-9)
    assert board.minutes[0] >= 60.0
    assert list(board.minutes) == sorted(board.minutes, reverse=True)


def test_a_lens_with_its_back_to_the_sun_throws_no_light(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    winter = day_times(scene_file.site, dt.date(2026, 12, 21), HOUR)
    path = idle_path(scene_file, Setting(90.0, 0.0), winter, step=HOUR, rays=1 << 10)
    assert path.lit == 0
    assert path.worst is None
    assert path.first_fire(0.0) is None


def test_a_sheet_turned_over_keeps_its_cut(simple_scene: Path) -> None:
    scene = read_scene(simple_scene).scene
    other = turned_over(scene)
    assert other.lens.grooves_toward == "sun"
    assert other.lens.cut_for == scene.lens.cut_for == "tubes"
    assert turned_over(other) == scene


def test_without_a_list_a_wooden_board_and_grass_are_assumed(simple_scene: Path) -> None:
    assumed = surroundings_of(read_scene(simple_scene))
    assert [each.burns for each in assumed] == [True, True]
    assert all("assumed" in each.name for each in assumed)


def test_the_pose_left_behind_is_the_last_one_of_the_day_before(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    last = last_setting(scene_file, dt.date(2026, 6, 20))
    assert last is not None
    assert idle_setting(scene_file, DAY, None, None) == last
    assert idle_setting(scene_file, DAY, 20.0, None) == Setting(20.0, last.swivel)
    with pytest.raises(InputError, match="out of the mount's range"):
        idle_setting(scene_file, DAY, -10.0, 180.0)


def test_a_year_stands_in_its_own_year(simple_scene: Path) -> None:
    times = year_times(read_scene(simple_scene).site, 2027, dt.timedelta(hours=3))
    assert {time.year for time in times} == {2027}
    assert len({time.date() for time in times}) == 27


def test_command_prints_table_and_numbers(focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path) -> None:
    options = ("--date", "2026-06-21", "--tilt", "30 deg", "--swivel", "180 deg", "--step", "2 h", "--rays", "2048")
    run = focalrow("stray", simple_scene, *options, "--out", tmp_path / "found")
    assert run.status == 0, run.err
    assert "Cover the lens whenever nobody attends it" in run.out
    assert "board (assumed)" in run.out
    assert (tmp_path / "found" / "stray_flux.png").read_bytes().startswith(b"\x89PNG")
    numbers = json.loads((tmp_path / "found" / "stray.json").read_text(encoding="utf-8"))
    assert numbers["tilt_deg"] == 30.0
    assert numbers["surfaces"][0]["worst"]["peak_flux_w_m2"] > 0.0
    assert all(threshold["source"] for threshold in numbers["thresholds"])


def test_command_refuses_a_tube_that_is_not_there(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("stray", simple_scene, "--missing-tube", "3")
    assert run.status == 2
    assert "--missing-tube" in run.err


def test_walk_offs_tell_the_first_fire_after_each_row(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    rows, of_plan = plan_rows(scene_file, DAY)
    assert not of_plan
    middle = rows[len(rows) // 2]
    found = walk_offs(scene_file, (middle,), 1500.0, rays=1 << 12)
    assert found[0].path.setting == middle.setting
    assert found[0].path.times[-1] - middle.until == dt.timedelta(hours=2)
    assert found[0].fire is not None
    assert found[0].minutes is not None
    assert 0.0 <= found[0].minutes <= 120.0
    assert shortest(found) is found[0]
    assert walk_offs(scene_file, (middle,), 1e6, rays=1 << 10)[0].minutes is None


def test_a_fire_while_the_lens_is_meant_to_stand_so_counts_as_at_once(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    rows, _ = plan_rows(scene_file, DAY)
    middle = rows[len(rows) // 2]
    long = PlanRow(setting=middle.setting, start=middle.start, until=middle.start + dt.timedelta(hours=2))
    assert walk_offs(scene_file, (long,), 500.0, rays=1 << 11)[0].minutes == 0.0


def test_keep_out_regions_lie_within_each_other_around_the_focal_line(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    one, five, ten = keep_out(scene_file.scene, rays=1 << 13)
    assert one.above is not None
    assert five.above is not None
    assert ten.above is not None
    assert one.above > five.above > ten.above > 0.0
    assert one.across is not None
    assert five.across is not None
    # Derived: a lens of width W brings light to S suns where its width is T W / S, T being what passes, about 0.9;
    # half of it is what lies across, here to a patch of 10 mm.
    assert five.across == pytest.approx(0.5 * 0.9 * 0.4 / 5.0, abs=0.02)
    assert one.across < 0.25


@pytest.mark.long
def test_parking_states_a_worst_case_that_random_minutes_do_not_exceed(simple_scene: Path) -> None:
    text = simple_scene.read_text(encoding="utf-8").replace(
        'kind = "swivel-tilt"', 'kind = "tilt"\nfacing = "180 deg"\ntilt_range = ["0 deg", "60 deg"]'
    )
    simple_scene.write_text(text, encoding="utf-8")
    scene_file = read_scene(simple_scene)
    found = parking(scene_file, 2026, 100.0)
    again = checked(scene_file, found, 2026, count=40)
    assert found.worst is not None
    assert again.worst is not None
    # Noise apart, minutes between those searched are no worse.
    assert again.worst.flux <= found.worst.flux + 4.0 * found.worst.flux_error
    assert not found.keeps
    assert found.cover
    assert all(span.first < span.last for span in found.cover)


def test_command_answers_what_else_was_asked(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    options = ("--date", "2026-12-21", "--tilt", "30 deg", "--swivel", "180 deg", "--step", "3 h", "--rays", "1024")
    more = ("--aimed", "--walk-off", "--keep-out", "--missing-tube", "2", "--json")
    run = focalrow("stray", simple_scene, *options, *more)
    assert run.status == 0, run.err
    numbers = json.loads(run.out)
    assert numbers["aimed"]["most_power_on_tubes_w"][1] == 0.0
    assert numbers["aimed"]["surfaces"][0]["most_power_w"] > 0.0
    assert len(numbers["walk_off"]["rows"]) > 5
    assert [region["suns"] for region in numbers["keep_out"]] == [1.0, 5.0, 10.0]


def test_command_refuses_a_threshold_without_a_unit(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("stray", simple_scene, "--threshold", "4300")
    assert run.status == 2
    assert "--threshold" in run.err
