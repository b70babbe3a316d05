"""A year: its sums, its alarms, the files' DNI, measured against predicted; with a table that says the same always."""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pvlib
import pytest

from raytrace.arrays import ArrayLike
from raytrace.response import Response, TableError
from tracking.energy.boiler import TubeRow
from tracking.energy.steam import ATMOSPHERE, steam_at
from tracking.energy.year import Year, cool_down_minutes, stagnation_temperature, year_of
from tracking.scenefile import SceneFile, read_scene
from tracking.sky.weather import Sky

HOUR = dt.timedelta(hours=1)
pytestmark = pytest.mark.hours
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


@pytest.fixture
def scene(simple_scene: Path) -> SceneFile:
    """Two tubes, well insulated."""
    text = simple_scene.read_text(encoding="utf-8")
    simple_scene.write_text(text + '\n[boiler]\nemittance = 0.065\nconduction = "0.05 W/K"\n', encoding="utf-8")
    return read_scene(simple_scene)


def year(scene: SceneFile, **boiler: object) -> Year:
    changed = replace(scene, boiler=replace(scene.boiler, **boiler))  # type: ignore[arg-type]
    return year_of(changed, 2025, HOUR, Even(), ledger_rays=1024)


def test_sums_and_balance(scene: SceneFile) -> None:
    found = year(scene)
    total = found.total
    assert found.largest_imbalance < 1e-9
    assert sum(total.ledger.values()) == pytest.approx(total.aperture, rel=1e-9)
    for name in ("aperture", "hours_of_use", "dni_sum", "litres_per_m2", "lost"):
        assert sum(getattr(month, name) for month in found.months) == pytest.approx(getattr(total, name), rel=1e-9)
    assert total.optical_efficiency == pytest.approx(0.7, rel=1e-9)
    assert total.litres_per_m2 == pytest.approx(sum(total.litres) / 0.24, rel=1e-12)
    # 0.720 kWh/kg from 20 degC at 1 atm: computed from the IAPWS formulation.
    assert sum(total.distillate) < sum(total.absorbed) / 3.6e6 / 0.7198
    assert found.alarms[0].kind == "solids"
    assert [day.date.month for day in found.key_days] == [3, 6, 9, 12]
    for day in found.key_days:
        assert day.fill_before is not None
        assert day.fill_after is not None
        assert day.first_steam is not None
        assert day.fill_before < day.first_steam < day.fill_after


def test_some_tenths_of_a_litre_to_some_litres_per_tube_and_day(scene: SceneFile) -> None:
    """Order of magnitude for a unit of a quarter of a square metre: common practice, no source."""
    for litres in year(scene).total.litres:
        assert 0.2 < litres / 365.0 < 2.0


def test_a_filling_that_is_too_small_runs_dry(scene: SceneFile) -> None:
    found = year(scene, feeding="fill", fill=0.1)
    dry = [alarm for alarm in found.alarms if alarm.kind == "dry"]
    assert dry
    assert dry[0].time is not None
    assert f"{dry[0].time:%H:%M}" in dry[0].words
    assert found.largest_imbalance < 1e-9


def test_a_feed_that_is_too_small_runs_dry_and_one_that_is_large_does_not(scene: SceneFile) -> None:
    assert "dry" in {alarm.kind for alarm in year(scene, feeding="rate", feed_rate=0.01).alarms}
    assert "dry" not in {alarm.kind for alarm in year(scene, feeding="rate", feed_rate=0.3).alarms}


def test_a_condenser_that_is_too_small_is_an_alarm(scene: SceneFile) -> None:
    large, small = year(scene, condenser_conductance=100.0), year(scene, condenser_conductance=0.5)
    assert "condenser" not in {alarm.kind for alarm in large.alarms}
    assert "condenser" in {alarm.kind for alarm in small.alarms}
    assert sum(small.total.distillate) < sum(small.total.steam)
    assert sum(large.total.distillate) == pytest.approx(sum(large.total.steam))
    # All that a condenser of 0.5 W/K can carry: 0.5 x (boiling point - air) / latent heat.
    hourly = small.steps.distillate.sum(axis=1).max()
    limit = 0.5 * (small.steam.boiling_point - 20.0) * 3600.0 / small.steam.latent_heat
    assert hourly == pytest.approx(limit, rel=1e-9)


def test_frost_is_an_alarm(scene: SceneFile) -> None:
    assert "frost" in {alarm.kind for alarm in year(scene, air_temperature=-15.0).alarms}


# Sums of the direct normal irradiance of the files that pvlib ships [kWh/m2], computed; tolerance 1 Wh.
@pytest.mark.parametrize(("name", "dni_sum"), [("703165TY.csv", 819.209), ("723170TYA.CSV", 1476.549)])
def test_dni_sum_of_open_weather_files(scene: SceneFile, name: str, dni_sum: float) -> None:
    changed = replace(scene, sky=Sky(source="file", file=DATA / name))
    found = year_of(changed, 2025, HOUR, Even(), ledger_rays=64)
    assert found.weather_file_dni_sum is not None
    assert found.weather_file_dni_sum / 1000.0 == pytest.approx(dni_sum, abs=1e-3)
    assert found.total.dni_sum == pytest.approx(found.weather_file_dni_sum)


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


def test_wrong_steps_and_options_are_told(focalrow: Callable[..., Any], simple_scene: Path) -> None:
    assert focalrow("year", simple_scene, "--step", "7 min").status == 2
    assert focalrow("year", simple_scene, "--year", "1800").status == 2
