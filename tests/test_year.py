"""A year: its sums, its alarms, the files' DNI, measured against predicted; with a table that says the same always."""

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pvlib
import pytest
from conftest import SIMPLE_SCENE

from raytrace.arrays import ArrayLike, Floats
from raytrace.response import Response, ResponseTable, TableError
from tracking.energy.boiler import TubeRow
from tracking.energy.measured import compared, read_log, table_words
from tracking.energy.steam import ATMOSPHERE, steam_at
from tracking.energy.tube_times import cool_down_minutes, share_not_condensed, stagnation_temperature
from tracking.energy.year import STEP_ERROR, Alarm, Year, year_of
from tracking.energy.year_boil import Boiled, boil, feed_alarms
from tracking.errors import InputError
from tracking.mount import Mount
from tracking.plans.day import day_plan
from tracking.plans.power import Effort
from tracking.scenefile import SceneFile, read_scene
from tracking.sky.weather import Sky, read_weather

HOUR, QUARTER = dt.timedelta(hours=1), dt.timedelta(minutes=15)
DATA = Path(pvlib.__file__).parent / "data"


class Even:
    """A table that gives each of two tubes the same share at all angles."""

    def __init__(self, absorbed: float = 0.35) -> None:
        self.absorbed = absorbed

    @property
    def error(self) -> TableError:
        return TableError(worst=0.0, typical=0.0, where_lit=0.0, checks=1)

    def at(self, transversal: ArrayLike, longitudinal: ArrayLike, tilt: ArrayLike | None = None) -> Response:
        del longitudinal, tilt
        count = len(np.atleast_1d(np.asarray(transversal)))
        shares, nothing = np.full((count, 2), self.absorbed), np.zeros(count)
        return Response(
            intercepted=shares / 0.94, absorbed=shares, w50=nothing, w90=nothing, w95=nothing, fwhm=nothing,
            centroid=nothing,
        )


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> SceneFile:
    """Two tubes, well insulated."""
    path = tmp_path_factory.mktemp("year") / "simple.toml"
    path.write_text(SIMPLE_SCENE + '\n[boiler]\nemittance = 0.065\nconduction = "0.05 W/K"\n', encoding="utf-8")
    return read_scene(path)


@pytest.fixture(scope="module")
def plain_year(scene: SceneFile) -> Year:
    """A year without any change to the scene."""
    return year(scene)


def days(scene: SceneFile, watts: float, **boiler: object) -> Boiled:
    """Three days with the same light on two tubes from 8 to 16 h, in air of 20 degC."""
    start = dt.datetime(2025, 6, 1, tzinfo=dt.UTC)
    starts = [start + k * HOUR for k in range(72)]
    light = np.array([[watts, watts] if 8 <= time.hour < 16 else [0.0, 0.0] for time in starts])
    built = replace(scene.boiler, **boiler)  # type: ignore[arg-type]
    return boil(built, steam_at(ATMOSPHERE), starts, HOUR, light, np.full(72, 20.0))


def kinds(alarms: Iterable[Alarm]) -> set[str]:
    return {alarm.kind for alarm in alarms}


def year(scene: SceneFile, **boiler: object) -> Year:
    changed = replace(scene, boiler=replace(scene.boiler, **boiler))  # type: ignore[arg-type]
    return year_of(changed, 2025, HOUR, Even(), ledger_rays=1024)


def test_sums_and_balance(plain_year: Year) -> None:
    found = plain_year
    total = found.total
    assert found.largest_imbalance < 1e-9
    assert sum(total.ledger.values()) == pytest.approx(total.aperture, rel=1e-9)
    for name in ("aperture", "hours_of_use", "dni_sum", "litres_per_m2", "lost"):
        assert sum(getattr(month, name) for month in found.months) == pytest.approx(getattr(total, name), rel=1e-9)
    assert total.optical_efficiency == pytest.approx(0.7, rel=1e-9)
    assert total.litres_per_m2 == pytest.approx(sum(total.litres) / 0.24, rel=1e-12)
    # 0.720 kWh/kg from 20 degC at 1 atm: computed from the IAPWS formulation.
    assert sum(total.distillate) < sum(total.absorbed) / 3.6e6 / 0.7198
    assert [day.date.month for day in found.key_days] == [3, 6, 9, 12]
    for day in found.key_days:
        assert day.fill_before is not None
        assert day.fill_after is not None
        assert day.first_steam is not None
        assert day.fill_before < day.first_steam < day.fill_after


def test_a_lens_that_stands_still_has_the_sun_behind_it_at_times(scene: SceneFile) -> None:
    # Steep and turned to the north at 40 deg north: the sun is before it on summer mornings and evenings only.
    found = year(replace(scene, mount=Mount(kind="fixed", facing=0.0, tilt=80.0)))
    total, steps = found.total, found.steps
    assert (steps.dni > 0.0).sum() > 3 * steps.aimed.sum() > 0
    assert total.aperture > 0.0
    assert sum(total.ledger.values()) == pytest.approx(total.aperture, rel=1e-9)
    assert sum(total.absorbed) == pytest.approx(0.7 * total.aperture)  # two tubes of 0.35


def test_some_tenths_of_a_litre_to_some_litres_per_tube_and_day(plain_year: Year) -> None:
    """Order of magnitude for a unit of a quarter of a square metre: common practice, no source."""
    for litres in plain_year.total.litres:
        assert 0.2 < litres / 365.0 < 2.0


def test_nothing_is_wrong_with_water_enough_and_no_salt(scene: SceneFile) -> None:
    assert days(scene, 60.0, dissolved_solids=0.0).alarms == ()


def test_a_filling_that_is_too_small_runs_dry_and_then_stagnates(scene: SceneFile) -> None:
    """0.1 L: some 33 kJ to the boil and 225 kJ of steam, at 200 W less losses: dry within the hour after 8."""
    found = days(scene, 200.0, feeding="fill", fill=0.1)
    assert kinds(found.alarms) == {"dry", "stagnation"}
    dry = [alarm for alarm in found.alarms if alarm.kind == "dry"]
    assert [(alarm.tube, alarm.time.day, alarm.time.hour) for alarm in dry if alarm.time] == [
        (tube, day, 8) for day in (1, 2, 3) for tube in (1, 2)
    ]
    assert dry[0].time is not None
    assert f"{dry[0].time:%H:%M}" in dry[0].words
    hottest = next(alarm for alarm in found.alarms if alarm.kind == "stagnation")
    expected = stagnation_temperature(scene.boiler, 200.0, 20.0)
    assert found.temperature.max() == pytest.approx(expected, rel=5e-3)
    assert f"{found.temperature.max():.0f} degC" in hottest.words
    assert hottest.time is not None
    assert 9 < hottest.time.hour <= 16
    assert found.largest_imbalance < 1e-9


def test_a_feed_that_is_too_small_is_told_and_runs_dry(scene: SceneFile) -> None:
    found = year(scene, feeding="rate", feed_rate=0.01)
    assert {"feed", "dry", "stagnation"} <= kinds(found.alarms)
    words = next(alarm.words for alarm in found.alarms if alarm.kind == "feed")
    assert f"needs {found.design.needed_feed:.3g} L/h" in words
    needed = replace(scene.boiler, feeding="rate", feed_rate=found.design.needed_feed)
    assert feed_alarms(found.design, needed) == []
    assert len(feed_alarms(found.design, replace(needed, feed_rate=0.99 * needed.feed_rate))) == 1
    watts = found.design.best_absorbed
    assert days(scene, watts, feeding="rate", feed_rate=1.05 * needed.feed_rate, dissolved_solids=0.0).alarms == ()


def test_salt_is_drained_past_its_limit(scene: SceneFile) -> None:
    """Each litre of distillate leaves 300 mg in the tube: past 600 mg/L in the evening the tube is drained once."""
    salty = days(scene, 200.0, solids_limit=600.0)
    assert kinds(salty.alarms) == {"solids"}
    assert salty.alarms[0].time == dt.datetime(2025, 6, 2, tzinfo=dt.UTC).replace(tzinfo=None)
    assert salty.drains == 4
    water = scene.boiler.water_volume
    assert salty.highest_concentration == pytest.approx(
        300.0 * (1.0 + salty.flows["steam"][:24, 0].sum() / (water * 0.9982)), rel=1e-2
    )
    assert days(scene, 200.0, solids_limit=1e5).drains == 0


def test_when_it_is_safe_to_fill(plain_year: Year) -> None:
    """Before: ten minutes ahead of the first light. After: once the dry tube has cooled down from its stagnation."""
    for day in plain_year.key_days:
        lit = [
            time
            for time, aimed in zip(plain_year.steps.start_local, plain_year.steps.aimed, strict=True)
            if aimed and time.date() == day.date
        ]
        assert day.fill_before == lit[0] - dt.timedelta(minutes=10)
        assert day.fill_after is not None
        assert day.fill_after > lit[-1] + HOUR + dt.timedelta(minutes=10)
        assert day.stagnation > 200.0


def test_a_condenser_that_is_too_small_is_an_alarm(scene: SceneFile, plain_year: Year) -> None:
    large, small = plain_year, year(scene, condenser_conductance=0.5)
    enough = replace(scene.boiler, condenser_conductance=large.design.condenser_needed)
    rates = large.steps.steam.sum(axis=1) / 3600.0
    assert share_not_condensed(enough, large.steam, rates, large.steps.air).max() < 1e-12
    assert "condenser" not in {alarm.kind for alarm in large.alarms}
    assert "condenser" in {alarm.kind for alarm in small.alarms}
    assert sum(small.total.distillate) < sum(small.total.steam)
    assert sum(large.total.distillate) == pytest.approx(sum(large.total.steam))
    # All that a condenser of 0.5 W/K can carry: 0.5 x (boiling point - air) / latent heat.
    hourly = small.steps.distillate.sum(axis=1).max()
    limit = 0.5 * (small.steam.boiling_point - 20.0) * 3600.0 / small.steam.latent_heat
    assert hourly == pytest.approx(limit, rel=1e-9)


def test_frost_is_an_alarm(scene: SceneFile) -> None:
    start = dt.datetime(2025, 1, 1, tzinfo=dt.UTC)
    starts = [start + k * HOUR for k in range(72)]
    found = boil(scene.boiler, steam_at(ATMOSPHERE), starts, HOUR, np.zeros((72, 2)), np.full(72, -15.0))
    assert kinds(found.alarms) == {"frost"}


def test_feed_and_condenser_of_the_best_moment_by_hand(plain_year: Year, scene: SceneFile) -> None:
    """What is left of the strongest light takes 2591.5 kJ for each kilogram from 20 degC (see test_steam.py)."""
    design, boiler = plain_year.design, scene.boiler
    lost = float(boiler.loss.watts(np.array([plain_year.steam.boiling_point]), 20.0)[0])
    line = boiler.steam_line_loss * (plain_year.steam.boiling_point - 20.0)
    kilograms = (design.best_absorbed - lost - line) * 3600.0 / 2591.52e3
    assert design.needed_feed == pytest.approx(kilograms / 0.99821, rel=1e-3)
    assert design.condenser_needed == pytest.approx(
        design.condenser_duty / (plain_year.steam.boiling_point - 20.0), rel=1e-9
    )
    assert design.condenser_duty == pytest.approx(2.0 * kilograms * 2256.5e3 / 3600.0, rel=1e-2)
    # Dry once 0.39694 L of 20 degC (see test_scenefile_boiler.py) have boiled away, as long as no more flows in.
    seconds = 0.39694 * 0.99821 * 2256.5e3 / (design.best_absorbed - lost - line)
    assert design.dry_out == pytest.approx(seconds / 60.0, rel=1e-3)
    dry = float(boiler.loss.watts(np.array([design.stagnation]), 20.0)[0])
    assert dry == pytest.approx(design.best_absorbed, rel=1e-6)


@pytest.mark.long
def test_the_year_against_traces_of_24_days(shipped_table: Callable[[Path], ResponseTable]) -> None:
    """Two days of each month: the year's steps from the table against traces of each quarter of an hour.

    Stated: the table's rms error as a share of the aperture power; 0.5 % of each traced power; STEP_ERROR for sums of
    steps. The first is taken three times, as it is rms and the sun of this scene always stands in the same place of
    the table.
    """
    path = Path(__file__).parent.parent / "scenes" / "tropics.toml"
    scene_file, table = read_scene(path), shipped_table(path)
    found = year_of(scene_file, 2026, dt.timedelta(minutes=30), table, ledger_rays=1024)
    dates = np.array([time.date() for time in found.steps.start_local])
    absorbed = aperture = traced = traced_aperture = 0.0
    for date in (dt.date(2026, month, day) for month in range(1, 13) for day in (7, 22)):
        of_day = dates == date
        absorbed += float(found.steps.absorbed[of_day].sum()) * found.steps.seconds
        aperture += float(found.steps.aperture[of_day].sum()) * found.steps.seconds
        totals = day_plan(scene_file, date, QUARTER, effort=Effort(relative_error=0.005)).totals
        traced += totals.absorbed
        traced_aperture += totals.aperture
    assert aperture == pytest.approx(traced_aperture, rel=STEP_ERROR)
    # The optics alone, free of the steps of time.
    efficiency = traced / traced_aperture
    assert abs(absorbed / aperture - efficiency) < 3.0 * found.table_error + 0.005 * efficiency
    assert abs(absorbed - traced) < (3.0 * found.table_error + (0.005 + STEP_ERROR) * efficiency) * traced_aperture


# Sums of the direct normal irradiance of the three weather files that pvlib ships [kWh/m2]: two TMY3 by their column
# "DNI (W/m^2)", one TMY2 by its columns 24 to 27, added up without any reader; tolerance 1 Wh.
@pytest.mark.parametrize(
    ("name", "dni_sum"), [("703165TY.csv", 819.209), ("723170TYA.CSV", 1476.549), ("12839.tm2", 1504.922)]
)
def test_dni_sum_of_open_weather_files(scene: SceneFile, name: str, dni_sum: float) -> None:
    changed = replace(scene, sky=Sky(source="file", file=DATA / name))
    found = year_of(changed, 2025, HOUR, Even(), ledger_rays=64)
    assert found.weather_file_dni_sum is not None
    assert found.weather_file_dni_sum / 1000.0 == pytest.approx(dni_sum, abs=1e-3)
    assert found.total.dni_sum == pytest.approx(found.weather_file_dni_sum)


def test_a_weather_station_far_away_is_told(scene: SceneFile) -> None:
    weather = read_weather(DATA / "723170TYA.CSV")
    assert weather.latitude is not None
    assert weather.longitude is not None

    def towards(latitude: float, longitude: float) -> Floats:
        up, east = np.radians(latitude), np.radians(longitude)
        return np.array([np.cos(up) * np.cos(east), np.cos(up) * np.sin(east), np.sin(up)])

    # By the angle between two directions from the middle of the earth, without half angles.
    site = scene.site
    angle = np.arccos(towards(site.latitude, site.longitude) @ towards(weather.latitude, weather.longitude))
    assert weather.distance_from(site) == pytest.approx(6371008.8 * angle, rel=1e-9)
    here = replace(site, latitude=weather.latitude, longitude=weather.longitude)
    assert weather.distance_from(here) == 0.0
    assert weather.distance_from(replace(here, latitude=here.latitude + 1.0)) == pytest.approx(111195.0, abs=1.0)

    sky = Sky(source="file", file=DATA / "723170TYA.CSV")
    far = year_of(replace(scene, sky=sky), 2025, HOUR, Even(), ledger_rays=64)
    assert any(f"lies {6371.0088 * angle:.0f} km from the site" in note for note in far.notes)
    near = year_of(replace(scene, sky=sky, site=here), 2025, HOUR, Even(), ledger_rays=64)
    assert not any("from the site" in note for note in near.notes)


def test_gaps_are_reported_and_skipped(scene: SceneFile, tmp_path: Path) -> None:
    lines = ["time_utc,dni_w_m2"]
    start = dt.datetime(2025, 1, 1, 1, tzinfo=dt.UTC)
    for k in range(8760):
        value = "" if 4000 <= k < 4010 else "500"
        lines.append(f"{start + k * HOUR:%Y-%m-%dT%H:%M:%SZ},{value}")
    path = tmp_path / "weather.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = year_of(replace(scene, sky=Sky(source="file", file=path)), 2025, HOUR, Even(), ledger_rays=64)
    assert found.total.gap_hours == 10.0
    assert found.total.dni_sum == pytest.approx(500.0 * 8750)
    assert any("skipped, not filled" in note for note in found.notes)


def test_stagnation_and_cooling(scene: SceneFile) -> None:
    boiler = scene.boiler
    hot = stagnation_temperature(boiler, 200.0, 20.0)
    assert boiler.loss.watts(np.array([hot]), 20.0)[0] == pytest.approx(200.0, rel=1e-6)
    row = TubeRow(boiler, steam_at(ATMOSPHERE), 1)
    row.water, row.solids, row.temperature = np.zeros(1), np.zeros(1), np.array([hot])
    row.advance(60.0 * cool_down_minutes(boiler, hot, 20.0), np.zeros(1), 20.0)
    assert row.temperature[0] == pytest.approx(boiler.feed_temperature + 40.0, abs=1.0)


LOG = "start,end,distillate_ml,dni_w_m2\n"


def test_measured_against_predicted(scene: SceneFile, tmp_path: Path) -> None:
    """An invented log: what the model gives, half of it, and a line with a DNI of its own."""
    log = tmp_path / "log.csv"
    day = "2025-06-21T"
    log.write_text(f"{LOG}{day}12:00,{day}13:00,100,\n{day}13:00,{day}14:00,100,400\n", encoding="utf-8")
    asked = read_log(log, scene)
    first, second = compared(scene, asked, Even())
    # 800 W/m2 x 0.24 m2 x 0.35 on each of two tubes that have boiled since the morning, less what the tubes lose.
    steam = steam_at(ATMOSPHERE)
    lost = float(scene.boiler.loss.watts(np.array([steam.boiling_point]), 20.0)[0])
    lost += scene.boiler.steam_line_loss * (steam.boiling_point - 20.0)
    per_watt = 2.0 * 3600.0 / 2591.52e3 / 0.99821 * 1000.0  # [mL/W] of both tubes in an hour
    assert first.predicted == pytest.approx((800.0 * 0.24 * 0.35 - lost) * per_watt, rel=5e-3)
    assert second.predicted == pytest.approx((400.0 * 0.24 * 0.35 - lost) * per_watt, rel=2e-2)
    assert first.ratio == pytest.approx(100.0 / first.predicted)
    # 15 % sky, 5 % optics, 10 % boiler and 5 mL of reading; 3 % of the sky where it was measured.
    assert first.uncertainty == pytest.approx(np.hypot(first.predicted * 0.18708, 5.0), rel=1e-3)
    assert second.uncertainty == pytest.approx(np.hypot(second.predicted * 0.11576, 5.0), rel=1e-3)
    near, far = (
        replace(first, interval=replace(first.interval, measured=first.predicted + k * first.uncertainty))
        for k in (1.9, 2.1)
    )
    assert near.agrees
    assert not far.agrees
    assert "NO" in table_words((far,), scene)


def test_measured_takes_the_air_of_the_weather_file(scene: SceneFile, tmp_path: Path) -> None:
    start = dt.datetime(2025, 1, 1, 1, tzinfo=dt.UTC)
    found = {}
    for air in (-20, 40):
        lines = ["time_utc,dni_w_m2,air_temperature_c"]
        lines += [f"{start + k * HOUR:%Y-%m-%dT%H:%M:%SZ},800,{air}" for k in range(8760)]
        path, log = tmp_path / f"{air}.csv", tmp_path / "log.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        log.write_text(f"{LOG}2025-06-21T12:00,2025-06-21T13:00,100,\n", encoding="utf-8")
        changed = replace(scene, sky=Sky(source="file", file=path))
        found[air] = compared(changed, read_log(log, changed), Even())[0].predicted
    assert found[40] > 1.05 * found[-20] > 0.0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", ("line 1", "start")),
        ("start,end\n", ("line 1", "distillate_ml")),
        (LOG, ("no intervals",)),
        (LOG + "2025-06-21T10:00,2025-06-21T11:00,9,\nnoon,2025-06-21T12:00,9,\n", ("line 3", "column start", "noon")),
        (LOG + "2025-06-21T10:00,,9,\n", ("line 2", "column end", "such as")),
        (LOG + '2025-06-21T10:00,2025-06-21T11:00,"0,3",\n', ("line 2", "column distillate_ml", "0,3", "in mL")),
        (LOG + "2025-06-21T10:00,2025-06-21T11:00,nan,\n", ("line 2", "column distillate_ml", "nan")),
        (LOG + "2025-06-21T10:00,2025-06-21T11:00,9,2000\n", ("line 2", "column dni_w_m2", "0 to 1420")),
        (LOG + "2025-06-21T10:00,2025-06-21T09:00,9,\n", ("line 2", "column end", "a later time")),
        (
            LOG + "2025-06-21T10:00,2025-06-21T11:00,9,\n2025-06-21T10:30,2025-06-21T12:00,9,\n",
            ("line 3", "column start", "do not overlap"),
        ),
    ],
)
def test_wrong_logs_are_told(scene: SceneFile, tmp_path: Path, text: str, told: tuple[str, ...]) -> None:
    log = tmp_path / "log.csv"
    log.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        read_log(log, scene)
    message = str(raised.value)
    assert str(log) in message
    for words in told:
        assert words in message


def test_a_log_that_is_not_there_is_told(focalrow: Callable[..., Any], simple_scene: Path, tmp_path: Path) -> None:
    run = focalrow("day", simple_scene, "--measured", tmp_path / "none.csv")
    assert run.status == 2
    assert "none.csv" in run.err


def test_wrong_steps_and_options_are_told(focalrow: Callable[..., Any], simple_scene: Path) -> None:
    assert focalrow("year", simple_scene, "--step", "7 min").status == 2
    assert focalrow("year", simple_scene, "--year", "1800").status == 2
