"""A table for many days: every day is tried, a clock change begins a new one, and what a plan promises holds."""

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from raytrace.response import Domain, ResponseTable, TableError, TubePlaces
from tracking.energy.plan_water import LEAST_LITRES, plan_water
from tracking.mount import Setting
from tracking.plans.marks import day_settings
from tracking.plans.moves import Stretch, chosen_plan, fewest_moves
from tracking.plans.season import kept_on, season_pieces
from tracking.plans.validity import TOLERANCE, valid_days
from tracking.scenefile import SceneFile, read_scene

DAY = dt.date(2026, 3, 1)


def hill_table(*, half: float = 6.0) -> ResponseTable:
    """Half of the light at no transversal angle, none from `half` [deg] on, the same at all skews; invented."""
    across = np.array([-90.0, -half, -0.5 * half, 0.0, 0.5 * half, half, 90.0])
    hill = np.array([0.0, 0.0, 0.35, 0.5, 0.35, 0.0, 0.0])
    values = np.zeros((len(across), 2, 1, 9))
    values[..., :4] = 0.5 * hill[:, np.newaxis, np.newaxis, np.newaxis]
    values[..., 4:] = 0.01
    return ResponseTable(
        transversal=across,
        longitudinal=np.array([-90.0, 90.0]),
        tilt=np.array([0.0]),
        values=values,
        places=TubePlaces(tilt=np.array([0.0]), tangent=np.zeros((1, 2))),
        domain=Domain(transversal=(-90.0, 90.0), longitudinal=(-90.0, 90.0)),
        error=TableError(worst=0.0, typical=0.0, where_lit=0.0, checks=32),
        mirrored=(False, False),
        swaps=(False, False),
    )


def see_saw(scene: Path, marks: float = 2.0) -> SceneFile:
    """The simple scene on an east-west see-saw with marks."""
    text = scene.read_text(encoding="utf-8")
    scene.write_text(
        text.replace(
            'kind = "swivel-tilt"',
            f'kind = "tilt"\nfacing = "90 deg"\ntilt_range = ["-84 deg", "84 deg"]\ntilt_marks = "{marks} deg"',
        ),
        encoding="utf-8",
    )
    return read_scene(scene)


def test_every_day_of_a_season_is_tried_and_the_worst_told(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    (piece,) = season_pieces(file, DAY, DAY + 13 * dt.timedelta(1), table)
    assert [day.date for day in piece.days] == [DAY + k * dt.timedelta(1) for k in range(14)]
    shares = [day.least_share for day in piece.days if day.least_share is not None]
    assert piece.dimmest.least_share == min(shares)
    assert piece.worst.loss == max(day.loss for day in piece.days)
    # Planned for its ends and its middle, the table keeps what it promises there, and nearly so in between.
    promised = min(stretch.least_share for stretch in piece.plan.stretches)
    assert shares[0] >= promised - 1e-9
    assert shares[-1] >= promised - 1e-9
    assert min(shares) >= promised - 0.02


def test_a_table_for_some_days_loses_less_at_worst_than_one_for_two_weeks(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    short = season_pieces(file, DAY, DAY + 13 * dt.timedelta(1), table, days=7)
    (long,) = season_pieces(file, DAY, DAY + 13 * dt.timedelta(1), table, days=14)
    assert len(short) == 2
    assert min(piece.dimmest.least_share or 0.0 for piece in short) > (long.dimmest.least_share or 0.0)


def test_a_change_of_the_clock_begins_a_new_table(simple_scene: Path) -> None:
    # The European Union's clocks go forward at 01:00 UTC on the last Sunday of March: Directive 2000/84/EC.
    file = see_saw(simple_scene, marks=10.0)
    pieces = season_pieces(file, dt.date(2026, 3, 25), dt.date(2026, 4, 1), hill_table(half=20.0))
    assert [(piece.first.day, piece.last.day) for piece in pieces] == [(25, 28), (29, 1)]
    offsets = [piece.plan.stretches[0].start.utcoffset() for piece in pieces]
    assert offsets == [dt.timedelta(hours=1), dt.timedelta(hours=2)]


def test_a_plan_gives_on_its_own_day_what_it_promises(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    plan = chosen_plan(file, DAY, table)
    kept = kept_on(file, table, plan.stretches, DAY)
    assert kept.lost_promise == pytest.approx(0.0, abs=1e-9)
    assert kept.absorbed == pytest.approx(plan.absorbed, rel=1e-9)
    assert kept.loss == pytest.approx(plan.loss, abs=1e-9)


def test_a_plan_is_valid_as_long_as_it_loses_no_more_than_the_tolerance(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    plan = chosen_plan(file, DAY, table)
    valid = valid_days(file, table, plan)
    assert valid.first < DAY < valid.last
    days = [valid.first + k * dt.timedelta(1) for k in range((valid.last - valid.first).days + 1)]
    assert valid.least_share == min(kept_on(file, table, plan.stretches, day).least_share or 0.0 for day in days)
    for end, way in ((valid.first, -1), (valid.last, 1)):
        assert kept_on(file, table, plan.stretches, end).lost_promise <= TOLERANCE
        assert kept_on(file, table, plan.stretches, end + way * dt.timedelta(1)).lost_promise > TOLERANCE


def test_no_plan_is_valid_beyond_a_change_of_the_clock(simple_scene: Path) -> None:
    file = see_saw(simple_scene, marks=10.0)
    table = hill_table(half=20.0)
    date = dt.date(2026, 3, 27)
    assert valid_days(file, table, chosen_plan(file, date, table)).last == dt.date(2026, 3, 28)


def test_the_tables_error_is_taken_off_what_is_promised(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    doubtful = replace(table, error=replace(table.error, where_lit=0.02))
    sure, unsure = (chosen_plan(file, DAY, each) for each in (table, doubtful))
    # Perfect aiming brings half of the light: twice 0.02 of all light are 0.08 of its power.
    assert unsure.moves >= sure.moves
    for stretch in unsure.stretches[1:-1]:
        kept = kept_on(file, table, (stretch,), DAY)
        assert kept.least_share is not None
        # And more where the sun stands askew along the grooves: then the lens takes in less.
        assert 0.079 < kept.least_share - stretch.least_share < 0.16


def test_a_lens_that_nobody_sets_keeps_all_of_its_own_power(simple_scene: Path) -> None:
    """Its one setting is its perfect aim, so the table's error cancels."""
    file, table = see_saw(simple_scene), hill_table()
    doubtful = replace(table, error=replace(table.error, where_lit=0.02))
    fixed = replace(file, mount=replace(file.mount, kind="fixed", tilt=20.0, tilt_range=None, tilt_marks=None))
    plan = chosen_plan(fixed, DAY, doubtful)
    assert plan.moves == 1
    assert plan.short_minutes == 0
    assert plan.stretches[0].least_share == pytest.approx(1.0)


def test_fewer_marks_never_need_fewer_moves_for_the_same_share(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene, marks=1.0), hill_table()
    fine, coarse = (
        fewest_moves(day_settings(replace(file, mount=replace(file.mount, tilt_marks=marks)), DAY, table), 0.7)
        for marks in (1.0, 2.0)
    )
    assert fine.moves <= coarse.moves


def test_water_of_a_plan_is_less_than_its_heat_could_boil(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    well_kept = replace(file.boiler.loss, a1=0.0, a2=0.0, emittance=0.05, conduction=0.0)
    file = replace(file, boiler=replace(file.boiler, loss=well_kept))
    plan = chosen_plan(file, DAY, table)
    water = plan_water(file, plan, table)
    assert water.boiler_is_assumed
    # Latent heat of water at 100 degC: 2256.5 kJ/kg (IAPWS R7-97, by computation with a library).
    assert 0.0 < water.litres < plan.absorbed / 2.2565e6
    assert water.moves_per_litre == pytest.approx(plan.moves / water.litres)
    # A few millilitres are no yield to divide by: moves for each litre would be thousands.
    starts = [replace(plan, stretches=plan.stretches[:k]) for k in range(1, len(plan.stretches) // 4 + 1)]
    few = [plan_water(file, start, table) for start in starts]
    assert all((each.moves_per_litre is None) == (each.litres < LEAST_LITRES) for each in few)
    assert any(0.0 < each.litres < LEAST_LITRES for each in few)


def test_a_covered_day_distils_nothing(simple_scene: Path) -> None:
    file, table = see_saw(simple_scene), hill_table()
    noon = dt.datetime(2026, 3, 1, 12, 0, tzinfo=file.site.zone)
    short = Stretch(
        start=noon,
        until=noon + dt.timedelta(minutes=2),
        setting=Setting(0.0, 90.0),
        least_share=1.0,
        least_power=0.0,
        mean_power=0.0,
    )
    water = plan_water(file, replace(chosen_plan(file, DAY, table), stretches=(short,)), table)
    assert water.litres == pytest.approx(0.0)
    assert water.moves_per_litre is None


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--from", "2026-03-01"), "--to"),
        (("--to", "2026-03-01"), "--from"),
        (("--by", "week"), "--by"),
        (("--from", "2026-03-02", "--to", "2026-03-01"), "--to"),
        (("--from", "2026-03-01", "--to", "2027-03-03"), "--to"),
        (("--from", "2026-03-01", "--to", "2026-03-14", "--by", "month"), "week or fortnight"),
        (("--from", "2026-03-01", "--to", "2026-03-14", "--date", "2026-03-01"), "--date"),
    ],
)
def test_options_of_a_season_are_checked(
    focalrow: Callable[..., object], simple_scene: Path, options: tuple[str, ...], told: str
) -> None:
    run = focalrow("day", simple_scene, *options)
    assert getattr(run, "status") == 2  # noqa: B009
    assert told in getattr(run, "err")  # noqa: B009


def test_a_season_is_printed_and_written(
    focalrow: Callable[..., object], simple_scene: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    see_saw(simple_scene, marks=10.0)
    with simple_scene.open("a", encoding="utf-8") as scene:
        scene.write('\n[boiler]\nemittance = 0.05\nconduction = "0 W/K"\n')
    monkeypatch.setattr("tracking.cli.day_season.kept_response_table", lambda _: hill_table(half=20.0))
    sheet = tmp_path / "season.pdf"
    season = ("--from", "2026-03-01", "--to", "2026-03-10", "--by", "week")
    run = focalrow("day", simple_scene, *season, "--sheet", sheet, "--out", tmp_path / "out")
    out = getattr(run, "out")  # noqa: B009
    assert "2026-03-01 to 2026-03-07" in out
    assert "2026-03-08 to 2026-03-10" in out
    assert "On 2026-03-04, the middle day: " in " ".join(out.split())
    tables = json.loads((tmp_path / "out" / "season.json").read_text(encoding="utf-8"))["tables"]
    for each in tables:
        assert each["moves_per_litre"] == pytest.approx(len(each["moves"]) / each["litres"])
    assert "Concentrated light" in out
    assert sheet.read_bytes().startswith(b"%PDF")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["season.csv", "season.json", "season.txt"]
