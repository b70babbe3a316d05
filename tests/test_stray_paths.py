"""The path of the focus of a lens that nobody moves, the thresholds, and `focalrow stray`."""

import datetime as dt
import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import Run, flat_table
from matplotlib.axes import Axes
from matplotlib.patches import Patch

import tracking.response
from raytrace.stray import Face, lit_from_behind, stray_light, turned_over
from raytrace.trace import prepare, trace_prepared
from tracking.errors import InputError
from tracking.mount import Mount, Setting, row_pose
from tracking.paper import stray_figures
from tracking.plans.moves import chosen_plan
from tracking.scenefile import read_scene
from tracking.stray import keepout, park, sharpen, walkoff
from tracking.stray.idle import (
    IdlePath,
    Spot,
    idle_path,
    mirrored,
    surroundings_of,
)
from tracking.stray.keepout import keep_out, largest_skew
from tracking.stray.park import Parking, checked, parking, random_minutes
from tracking.stray.refine import peaks_of, refined
from tracking.stray.sharpen import sharpened, upper, worst_of
from tracking.stray.stretch import day_times, idle_setting, last_setting, year_times
from tracking.stray.thresholds import BANDS, LOWER_RISK, THRESHOLDS, band, band_of, skin_seconds
from tracking.stray.walkoff import PlanRow, plan_rows, shortest, walk_offs
from tracking.surroundings import Surrounding, faces_around

SCENES = Path(__file__).parents[1] / "scenes"
HOUR, MINUTE = dt.timedelta(hours=1), dt.timedelta(minutes=1)
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
    # The bands leave no gap, and each begins at a threshold.
    assert [each.low for each in BANDS] == [0.0, *(each.flux for each in THRESHOLDS)]
    assert [each.high for each in BANDS[:-1]] == [each.low for each in BANDS[1:]]
    assert BANDS[-1].high is None
    assert band_of(THRESHOLDS[2].flux - 1.0) is BANDS[2]


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


def test_a_lens_with_its_back_to_the_sun_makes_the_focus_of_a_sheet_turned_over(simple_scene: Path) -> None:
    # A sheet that stands upright with its back to the winter sun is, for the light, the sheet turned over that faces
    # it: what is 0.4 m before the one is 0.4 m behind the other, and the sheet's thickness, 5 mm, is between.
    def path(swivel: float, height: float, *, turned: bool) -> IdlePath:
        scene_file = read_scene(simple_scene)
        plane = Surrounding(
            name="plane", shape="plane", size=(0.8, 1.4), place=(0.0, 0.0, scene_file.scene.lens_height + height),
            fixed_to="lens",
        )  # fmt: skip
        scene_file = replace(scene_file, surroundings=(plane,))
        prepared = prepare(turned_over(scene_file.scene)) if turned else None
        noon = [dt.datetime(2026, 12, 21, 12, 14, tzinfo=dt.UTC)]
        return idle_path(scene_file, Setting(90.0, swivel), noon, step=HOUR, rays=1 << 15, prepared=prepared)

    behind, before = path(0.0, 0.4, turned=False), path(180.0, 0.005 - 0.4, turned=True)
    assert behind.lit == before.lit == 1
    assert behind.tubes == (0.0, 0.0)
    assert before.faces[0].power > 0.75 * 800.0 * 0.4 * 0.6 * math.cos(math.radians(26.6))
    assert behind.faces[0].power == pytest.approx(before.faces[0].power, rel=2e-3)
    assert behind.worst is not None
    assert before.worst is not None
    error = math.hypot(behind.worst.flux_error, before.worst.flux_error)
    assert behind.worst.flux == pytest.approx(before.worst.flux, abs=4.0 * error)
    assert behind.worst.flux > 3.0 * 800.0
    # The light falls downward through the sheet, towards the north: below its middle, 0.4 m further on.
    assert behind.worst.point[1] > 0.0


def test_sag_and_faces_are_mirrored_for_light_from_behind(simple_scene: Path) -> None:
    scene = read_scene(simple_scene).scene
    back = lit_from_behind(replace(scene, lens=replace(scene.lens, sag=0.01)))
    assert (back.lens.sag, back.lens.grooves_toward, back.tubes.count) == (-0.01, "sun", 1)
    face = Face(corner=(0.1, 0.2, 0.3), side_a=(0.0, 0.0, 1.0), side_b=(0.0, 1.0, 0.0), length_a=1.0, length_b=2.0)
    assert mirrored(face, 0.005).point(0.4, 0.5) == pytest.approx([0.1, 0.7, 0.005 - 0.7])


@pytest.mark.parametrize("tilt", [0.0, 15.0, 70.0])
@pytest.mark.parametrize("name", ["tropics", "north", "south"])
def test_maps_of_the_shipped_scenes_hold_the_missed_light_of_the_ledger(name: str, tilt: float) -> None:
    scene_file = read_scene(SCENES / f"{name}.toml")
    scene, mount = scene_file.scene, scene_file.mount
    tilt = min(tilt, mount.tilt_limits[1])
    prepared = prepare(scene)
    around = faces_around(surroundings_of(scene_file), mount, tilt, 90.0, scene.lens_height)
    row = row_pose(mount, tilt, scene.tubes.angle_to_grooves)
    sun = {"transversal_angle": 4.0 - 0.3 * tilt, "longitudinal_angle": 20.0}
    found = stray_light(prepared, [each.face for each in around], rays=1 << 15, seed=1, row=row, **sun)
    # Other rays, by the other loop.
    ledger = trace_prepared(prepared, rays=1 << 15, seed=2, row=row, **sun).ledger
    tans = [math.tan(math.radians(angle)) for angle in sun.values()]
    aperture = scene.lens.width * scene.lens.length / math.sqrt(1.0 + tans[0] ** 2 + tans[1] ** 2)
    on_maps = sum(
        float(light.flux.sum()) * each.face.patch_area for each, light in zip(around, found.faces, strict=True)
    )
    # Four standard errors of the difference of two such traces; 1e-4 is far below any figure that is told.
    allowed = 4.0 * math.sqrt(2.0) * found.missed.standard_error + 1e-4
    assert on_maps / aperture == pytest.approx(
        ledger.missed - found.away.value + found.before.value, abs=allowed
    )  # fmt: skip
    assert on_maps > 0.0


def test_a_day_without_a_sun_is_dark(simple_scene: Path) -> None:
    # Polar night has no instants at all.
    path = idle_path(read_scene(simple_scene), Setting(20.0, 180.0), (), step=HOUR)
    assert path.setting == Setting(20.0, 180.0)
    assert path.worst is None
    assert [each.minutes for each in path.faces] == [(0.0,) * len(THRESHOLDS)] * 2


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
    assert "below 2 kW/m2: lower risk, never no risk. Cover the lens all the same." in run.out
    assert "board (assumed)" in run.out
    assert (tmp_path / "found" / "stray_flux.png").read_bytes().startswith(b"\x89PNG")
    numbers = json.loads((tmp_path / "found" / "stray.json").read_text(encoding="utf-8"))
    assert numbers["tilt_deg"] == 30.0
    assert numbers["surfaces"][0]["worst"]["peak_flux_w_m2"] > 0.0
    assert all(threshold["source"] for threshold in numbers["thresholds"])


def test_pictures_are_no_taller_than_print_allows_and_show_each_bright_surface_once(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stray_figures, "TALLEST", 5.0)
    text = simple_scene.read_text(encoding="utf-8")
    for k, (x, y) in enumerate(((-150, -200), (-150, 200), (150, -200), (150, 200))):
        text += f'\n[[surroundings]]\nname = "board {k}"\nshape = "plane"\nsize = ["300 mm", "400 mm"]\n'
        text += f'place = ["{x} mm", "{y} mm", "-100 mm"]\nfixed_to = "lens"\n'
    simple_scene.write_text(text, encoding="utf-8")
    scene_file = read_scene(simple_scene)
    times = day_times(scene_file.site, DAY, HOUR)
    path = idle_path(scene_file, Setting(20.0, 180.0), times, step=HOUR, rays=1 << 12)
    pictures = [each for each in stray_figures.idle_figures(path, "a day") if each.name.startswith("stray_flux")]
    assert len(pictures) > 1
    assert [each.name for each in pictures[:2]] == ["stray_flux", "stray_flux_2"]
    assert all(each.figure.get_figheight() <= 5.0 for each in pictures)
    shown = [name for each in pictures for name in each.numbers]
    bright = [each.face.name for each in path.faces if each.worst is not None and each.worst.flux >= 1000.0]
    assert sorted(shown) == sorted(bright)


def test_command_refuses_a_tube_that_is_not_there(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("stray", simple_scene, "--missing-tube", "3")
    assert run.status == 2
    assert "--missing-tube" in run.err


def test_walk_offs_tell_the_first_fire_after_each_row(simple_scene: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(walkoff, "WALK_STEP", dt.timedelta(minutes=10))
    scene_file = read_scene(simple_scene)
    rows, of_plan = plan_rows(scene_file, DAY)
    assert not of_plan
    middle = rows[len(rows) // 2]
    found = walk_offs(scene_file, (middle,), 1000.0, rays=1 << 12)
    assert found[0].path.setting == middle.setting
    assert found[0].path.times[-1] - middle.until == dt.timedelta(hours=2)
    assert found[0].fire is not None
    assert found[0].minutes is not None
    assert 0.0 <= found[0].minutes <= 120.0
    # Few rays find when to look; what is told comes from many, and so does the brightest spot.
    assert found[0].fire.rays == walkoff.SURE_RAYS
    assert found[0].fire.flux + found[0].fire.flux_error >= 1000.0
    sure = idle_path(scene_file, middle.setting, [found[0].fire.time_local], step=MINUTE, rays=walkoff.SURE_RAYS)
    assert found[0].fire in [spot for face in sure.faces for spot in face.spots]
    assert found[0].brightest is not None
    assert found[0].brightest.rays == walkoff.SURE_RAYS
    assert shortest(found) is found[0]
    assert walk_offs(scene_file, (middle,), 1e6, rays=1 << 10)[0].minutes is None


def test_noise_of_few_rays_tells_no_fire(simple_scene: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(walkoff, "WALK_STEP", dt.timedelta(minutes=10))
    scene_file = read_scene(simple_scene)
    rows, _ = plan_rows(scene_file, DAY)
    row = rows[len(rows) // 2]
    times = [row.start + k * walkoff.WALK_STEP for k in range(13)]
    sure = idle_path(scene_file, row.setting, times, step=HOUR, rays=walkoff.SURE_RAYS)
    peak = max(spot.flux + spot.flux_error for spot in sure.burning())
    noisy = idle_path(scene_file, row.setting, times, step=HOUR, rays=1 << 9)
    assert noisy.first_fire(1.2 * peak) is not None
    assert walk_offs(scene_file, (row,), 1.2 * peak, rays=1 << 9)[0].fire is None


def test_the_soonest_fire_is_found_without_following_all_rows_to_the_end(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(walkoff, "WALK_STEP", dt.timedelta(minutes=10))
    monkeypatch.setattr(walkoff, "SURE_RAYS", 1 << 13)
    scene_file = read_scene(simple_scene)
    rows, _ = plan_rows(scene_file, DAY)
    chosen = rows[2:-2:4]
    whole, quick = (
        walk_offs(scene_file, chosen, 1500.0, rays=1 << 11, soonest_only=only) for only in (False, True)
    )
    first, again = shortest(whole), shortest(quick)
    assert first is not None
    assert again is not None
    assert (again.minutes, again.row) == (first.minutes, first.row)
    assert sum(len(each.path.times) for each in quick) < sum(len(each.path.times) for each in whole)


def test_a_fire_while_the_lens_is_meant_to_stand_so_counts_as_at_once(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(walkoff, "WALK_STEP", dt.timedelta(minutes=10))
    scene_file = read_scene(simple_scene)
    rows, _ = plan_rows(scene_file, DAY)
    middle = rows[len(rows) // 2]
    long = PlanRow(setting=middle.setting, start=middle.start, until=middle.start + dt.timedelta(hours=2))
    assert walk_offs(scene_file, (long,), 500.0, rays=1 << 11)[0].minutes == 0.0


def test_keep_out_regions_lie_within_each_other_around_the_focal_line(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    assert largest_skew(scene_file, 2026) == pytest.approx(0.0, abs=1e-6)  # this mount follows in both angles
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
    # The outline's planes lie between the stated distances, and none is wider than stated.
    assert one.outline[0][0] == pytest.approx(one.above)
    assert one.outline[-1][0] == pytest.approx(-one.below if one.below is not None else 0.0)
    assert max(place[1] for place in one.outline) == one.across
    assert max(place[2] for place in one.outline) == one.along


def test_keep_out_regions_hold_the_skewed_suns_of_a_mount_that_only_tilts(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keepout, "DEPTHS", 40)
    monkeypatch.setattr(keepout, "SKEW_STEP", 20.0)
    text = simple_scene.read_text(encoding="utf-8").replace(
        'kind = "swivel-tilt"', 'kind = "tilt"\nfacing = "180 deg"\ntilt_range = ["0 deg", "90 deg"]'
    )
    simple_scene.write_text(text, encoding="utf-8")
    scene_file = read_scene(simple_scene)
    # Derived: a lens that turns about an east-west axis is aimed all day, and near the equinoxes the sun rises in the
    # east, 85 deg off along the axis when it is 5 deg high: beyond the most that is held.
    skew = largest_skew(scene_file, 2026)
    assert skew == keepout.MOST_SKEW
    # A fixed lens that looks south has the summer's morning sun behind it: that is no skew of an aimed lens.
    fixed = Mount(kind="fixed", facing=180.0, tilt=80.0)
    assert largest_skew(replace(scene_file, mount=fixed), 2026) == keepout.MOST_SKEW
    straight, skewed = (keep_out(scene_file.scene, skew=angle, rays=1 << 11) for angle in (0.0, 40.0))
    for one, other in zip(straight[1:], skewed[1:], strict=True):  # one sun is exceeded up to the lens either way
        assert one.above is not None
        assert one.along is not None
        assert other.above is not None
        assert other.along is not None
        assert other.above > one.above + 0.02
        # The middle of the light slides by the depth times the tangent; a focus lies some 0.3 m below the lens.
        assert other.along > one.along + 0.3 * 0.8


@pytest.mark.long
def test_parking_states_a_worst_case_that_random_minutes_do_not_exceed(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Fewer poses and instants than the command takes, and no check of its own: the statement alone must hold.
    monkeypatch.setattr(park, "FIRST", replace(park.FIRST, poses=4))
    monkeypatch.setattr(park, "SECOND", replace(park.SECOND, poses=2, days=56, step=dt.timedelta(minutes=60)))
    monkeypatch.setattr(park, "FINAL", replace(park.FINAL, poses=1, days=14, step=dt.timedelta(minutes=30)))
    monkeypatch.setattr(sharpen, "SHARP_RAYS", 1 << 16)
    monkeypatch.setattr(sharpen, "MOST_RAYS", 1 << 21)
    text = simple_scene.read_text(encoding="utf-8").replace(
        'kind = "swivel-tilt"', 'kind = "tilt"\nfacing = "180 deg"\ntilt_range = ["0 deg", "60 deg"]'
    )
    for name, side, height, fixed_to in (
        ("board", "600 mm", "-100 mm", "lens"),
        ("floor", "1.6 m", "-500 mm", "ground"),
    ):
        text += f'\n[[surroundings]]\nname = "{name}"\nshape = "plane"\nsize = ["{side}", "{side}"]\n'
        text += f'place = ["0 mm", "0 mm", "{height}"]\nfixed_to = "{fixed_to}"\n'
    simple_scene.write_text(text, encoding="utf-8")
    scene_file = read_scene(simple_scene)
    for turned in (False, True):
        found = parking(scene_file, 2026, 100.0, turned=turned)
        assert found.worst is not None
        assert found.worst.flux < found.bound
        prepared = prepare(turned_over(scene_file.scene) if turned else scene_file.scene)
        times = random_minutes(scene_file, 2026, 100, seed=99)
        # So many rays that a minute that keeps to the threshold does not exceed it by chance.
        path = idle_path(scene_file, found.path.setting, times, step=MINUTE, rays=1 << 18, prepared=prepared)
        spots = [spot for face in path.faces for spot in face.spots]
        assert max(spot.flux for spot in spots) > 0.2 * found.bound
        # Three standard errors of the check itself, of some hundred minutes.
        assert all(spot.flux - 3.0 * spot.flux_error <= found.bound for spot in spots)
        # Whatever exceeds the threshold lies under a cover.
        assert not found.keeps
        spans = found.cover
        for spot in (spot for spot in spots if spot.flux > found.threshold):
            day, clock = spot.time_local.date(), spot.time_local.time()
            here = [span for span in spans if span.first_day <= day <= span.last_day]
            assert any(span.begins <= clock <= span.ends for span in here), (spot, here)


def _parked(simple_scene: Path, spots: tuple[Spot, ...]) -> Parking:
    scene_file = read_scene(simple_scene)
    times = year_times(scene_file.site, 2026, dt.timedelta(hours=6))
    path = idle_path(scene_file, Setting(90.0, 0.0), times, step=dt.timedelta(hours=6), rays=1 << 8)
    return Parking(
        turned=False, path=path, minutes=0, spots=spots, concentration=0.0, threshold=2000.0, poses=1
    )  # fmt: skip


def test_a_worse_random_minute_raises_the_worst_case_and_widens_the_cover(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(park, "CHECK_ROUNDS", 2)
    monkeypatch.setattr(park, "FINAL", replace(park.FINAL, rays=1 << 10))
    monkeypatch.setattr(sharpen, "SHARP_RAYS", 1 << 12)
    monkeypatch.setattr(sharpen, "MOST_RAYS", 1 << 17)
    found = _parked(simple_scene, ())
    assert found.keeps
    assert found.cover == ()
    found = replace(found, path=replace(found.path, setting=Setting(20.0, 180.0)))
    again = checked(read_scene(simple_scene), found, 2026, count=12)
    assert again.worst is not None
    assert again.bound > again.worst.flux > 2000.0
    assert not again.keeps
    assert again.minutes in {0, 12}
    assert again.cover
    assert again.worse_share == pytest.approx(3.0 / 12.0 if again.minutes else 1.0)


def test_a_noisy_peak_is_looked_at_again_with_more_rays(
    simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sharpen, "SHARP_RAYS", 1 << 14)
    scene_file = read_scene(simple_scene)
    prepared, setting = prepare(scene_file.scene), Setting(20.0, 180.0)
    times = day_times(scene_file.site, DAY, HOUR)
    path = idle_path(scene_file, setting, times, step=HOUR, rays=1 << 8, prepared=prepared)
    noisy = [spot for face in path.faces for spot in face.spots]
    found = sharpened(scene_file, setting, noisy, prepared)
    worst = worst_of(found)
    assert worst is not None
    assert worst.rays == 1 << 14
    assert upper(worst) == max(upper(spot) for spot in found)
    # Noise of few rays makes its upper limit far too high; what is traced anew agrees with a direct trace.
    before = worst_of(noisy)
    assert before is not None
    assert upper(worst) < 0.7 * upper(before)
    again = idle_path(scene_file, setting, [worst.time_local], step=HOUR, rays=1 << 14, prepared=prepared)
    assert again.worst == worst
    # What cannot exceed a known flux is left as it is.
    assert sharpened(scene_file, setting, noisy, prepared, known=upper(before)) == noisy


def test_the_cover_of_a_stretch_of_days_holds_those_beside_it(simple_scene: Path) -> None:
    zone = read_scene(simple_scene).site.zone
    spot = Spot(
        time_local=dt.datetime(2026, 3, 28, 12, 0, tzinfo=zone), face=0, flux=5000.0, flux_error=10.0,
        rays=1, place=(0.0, 0.0), centre=(0.0, 0.0), point=(0.0, 0.0, 0.0),
    )  # fmt: skip
    cover = _parked(simple_scene, (spot,)).cover
    assert len(cover) == 3  # the summer time that begins on the next day lies within
    middle = cover[1]
    assert middle.first_day <= spot.time_local.date() <= middle.last_day
    assert cover[0].last_day + dt.timedelta(days=1) == middle.first_day
    assert (middle.begins, middle.ends) == (dt.time(6, 0), dt.time(18, 0))  # a step of six hours wider each way


def test_the_year_finds_peaks_between_its_instants(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    step = dt.timedelta(hours=1)
    prepared = prepare(scene_file.scene)
    times = year_times(scene_file.site, 2026, step, 91)
    found = idle_path(scene_file, Setting(40.0, 180.0), times, step=step, rays=1 << 11, prepared=prepared)
    closer = refined(scene_file, found, prepared=prepared)
    assert closer.refined
    assert not found.refined
    for before, after in zip(found.faces, closer.faces, strict=True):
        assert before.worst is not None
        assert after.worst is not None
        assert after.worst.flux >= before.worst.flux
        assert (after.highest >= before.highest).all()
    assert closer.worst is not None
    assert found.worst is not None
    # An hour apart the focal line jumps over the board: between them it is far brighter there.
    assert closer.worst.flux > 1.2 * found.worst.flux


def test_peaks_are_far_from_each_other() -> None:
    def spot(day: int, hour: int, flux: float) -> Spot:
        time = dt.datetime(2026, 3, day, hour, tzinfo=dt.UTC)
        return Spot(
            time_local=time, face=0, flux=flux, flux_error=1.0, rays=1, place=(0.0, 0.0), centre=(0.0, 0.0),
            point=(0.0, 0.0, 0.0),
        )  # fmt: skip

    found = peaks_of([spot(1, 12, 9.0), spot(8, 12, 8.0), spot(30, 12, 7.0), spot(1, 14, 6.0), spot(1, 16, 5.0)], 3)
    assert [each.flux for each in found] == [9.0, 7.0, 6.0]


def test_command_answers_what_else_was_asked(
    focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tracking.response, "response_table", lambda *_, **__: flat_table(tubes=2))
    monkeypatch.setattr(walkoff, "WATCHED", dt.timedelta(minutes=30))
    monkeypatch.setattr(walkoff, "WALK_STEP", dt.timedelta(minutes=30))
    monkeypatch.setattr(walkoff, "SURE_RAYS", 1 << 12)
    monkeypatch.setattr(keepout, "DEPTHS", 25)
    text = simple_scene.read_text(encoding="utf-8")
    simple_scene.write_text(f'{text}tilt_marks = "10 deg"\nswivel_marks = "15 deg"\n', encoding="utf-8")
    options = ("--date", "2026-12-21", "--after-plan", "--step", "3 h", "--rays", "1024")
    more = ("--aimed", "--walk-off", "--keep-out", "--missing-tube", "2", "--json", "--out", tmp_path)
    run = focalrow("stray", simple_scene, *options, *more)
    assert run.status == 0, run.err
    numbers = json.loads(run.out)
    # The lens is left as the plan of moves of the day before leaves it.
    left = chosen_plan(read_scene(simple_scene), dt.date(2026, 12, 20), flat_table(tubes=2)).stretches[-1].setting
    assert (numbers["tilt_deg"], numbers["swivel_deg"]) == left
    # Where a tube is missing its light goes on to the board: both with and without it are told.
    assert numbers["aimed"]["most_power_on_tubes_w"][1] == 0.0
    assert numbers["aimed_whole_row"]["most_power_on_tubes_w"][1] > 0.0
    board, whole = (numbers[key]["surfaces"][0]["most_power_w"] for key in ("aimed", "aimed_whole_row"))
    assert board > 1.5 * whole
    assert numbers["aimed"]["surfaces"][0]["most_power_w"] > 0.0
    # The rows are those of the plan of moves, one after the other.
    rows = numbers["walk_off"]["rows"]
    assert numbers["walk_off"]["rows_of_plan_of_moves"]
    plan = chosen_plan(read_scene(simple_scene), dt.date(2026, 12, 21), flat_table(tubes=2))
    assert [row["start"] for row in rows] == [stretch.start.isoformat() for stretch in plan.stretches]
    assert [region["suns"] for region in numbers["keep_out"]] == [1.0, 5.0, 10.0]
    assert all(region["outline"] for region in numbers["keep_out"])
    assert (tmp_path / "stray_keep_out.png").read_bytes().startswith(b"\x89PNG")


def test_title_map_and_legend_of_a_picture_do_not_overlap(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    height = 4.4  # of a map that just fits: here words overlapped
    monkeypatch.setattr(stray_figures, "_height", lambda *_: height)
    monkeypatch.setattr(stray_figures, "_panel_height", lambda _: height)

    def draw(ax: Axes, _: object) -> None:
        ax.imshow(np.zeros((80, 168)), extent=(-0.81, 0.87, -0.4, 0.4), aspect="equal")
        ax.set(title="board", xlabel="along [m]", ylabel="across [m]")

    handles = [Patch(label=label) for label in ("one", "two", "three")]
    figure = stray_figures._panels([None], "a\nb\nc", handles, draw)  # type: ignore[list-item]
    figure.savefig(tmp_path / "picture.png")
    ax, legend = figure.axes[0], figure.legends[0]
    assert figure._suptitle is not None  # type: ignore[attr-defined]
    assert figure._suptitle.get_window_extent().y0 > ax.title.get_window_extent().y1  # type: ignore[attr-defined]
    assert ax.xaxis.label.get_window_extent().y0 > legend.get_window_extent().y1


def test_command_refuses_two_poses(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("stray", simple_scene, "--after-plan", "--tilt", "30 deg")
    assert run.status == 2
    assert "--after-plan" in run.err


def test_command_refuses_a_threshold_without_a_unit(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("stray", simple_scene, "--threshold", "4300")
    assert run.status == 2
    assert "--threshold" in run.err
