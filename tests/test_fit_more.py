"""Ways to build and tolerances: what they cost, how the tubes slope, litres, limits; the command's text and JSON."""

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from raytrace.result import Estimate
from tracking.boiler import HeatLoss
from tracking.costs import Costs
from tracking.energy.fit import builds, tolerances
from tracking.energy.fit.builds import Slopes, _row, _Traced, as_built, options_of, slopes_of
from tracking.energy.fit.distillate import litres, morning_temperature
from tracking.energy.fit.hours import Span, aimed_settings, hours_of, sunlight
from tracking.energy.fit.moving import aimed
from tracking.energy.fit.sample import Draws, Effort
from tracking.energy.steam import ATMOSPHERE, steam_at
from tracking.scenefile import SceneFile, read_scene

EQUINOX = Span(year=2026, month=3, day=20)


@pytest.fixture
def file(simple_scene: Path) -> SceneFile:
    return read_scene(simple_scene)


def test_ways_to_build_are_all_different_and_the_own_one_comes_first(file: SceneFile) -> None:
    options = options_of(file)
    assert options[0].is_own
    assert as_built(file, options[0]).scene == file.scene
    assert not any(option.is_own for option in options[1:])
    kinds = {(o.grooves, o.angle_to_grooves, o.row_turns_with) for o in options}
    assert len(kinds) == 8
    keys = [(o.grooves, o.angle_to_grooves, o.row_turns_with, o.count, round(o.spacing, 4)) for o in options]
    assert len(set(keys)) == len(keys)
    # Tubes of 38 mm with 2 mm between them across a lens 600 mm long: 15.
    assert max(o.count for o in options if o.angle_to_grooves == 90.0) == 15
    for option in options:
        assert as_built(file, option).scene.tubes.count == option.count


def test_energy_for_money_by_hand(file: SceneFile) -> None:
    """240 kWh in a span of one day are 240 x 365.25 x 10 = 876600 kWh in ten years; 60 + 2 x 15 + 120 + 9 = 219 paid.

    876600 / 219 = 4002.74 kWh for one of money.
    """
    priced = replace(file, costs=Costs(lens=60.0, tube=15.0, frame=120.0, drive=9.0, life=10.0, currency="EUR"))
    traced = _Traced(
        option=options_of(file)[0],
        height=0.5,
        energies=np.full(16, 240.0 * 3.6e6),
        slopes=Slopes(least=0.0, most=0.0, mouth_low=1.0),
        litres=np.full(16, 1.5),
    )
    row = _row(priced, traced, traced, hours_of(priced, EQUINOX))
    assert row.price == 219.0
    assert row.energy_for_money is not None
    assert row.energy_for_money / 3.6e6 == pytest.approx(4002.74, abs=0.01)
    # 1.5 L a day: 1.5 x 3652.5 / 219 = 25.017 L for one of money.
    assert row.litres_for_money == pytest.approx(25.017, abs=1e-3)


def test_litres_of_an_hour_by_hand(file: SceneFile) -> None:
    """As in the boiler's own hour by hand: 400 W absorbed, 372.794 W left, 0.517865 kg of steam, 20 degC, 1 atm.

    Here the light is 800 W on the aperture, of which the one tube absorbs half. 0.517865 kg / 0.998207 kg/L (density of
    water at 20 degC, value from memory, to be confirmed) = 0.518795 L; no warm-up is taken off on 0 days.
    """
    loss = HeatLoss(area=0.2, emittance=0.065, conduction=0.05)
    boiler = replace(
        file.boiler, loss=loss, feed_temperature=20.0, air_temperature=25.0, steam_line_loss=0.2, feeding="level"
    )
    there = replace(file, boiler=boiler, site=replace(file.site, altitude=0.0))
    one = np.zeros((2, 1))
    draws = Draws(
        transversal=one, longitudinal=one, tilt=one, energy=np.full((2, 1), 800.0 * 3600.0), index=np.array([[0], [0]])
    )
    found = litres(there, np.array([800.0]), 0, 3600.0, draws, np.full((2, 1, 1), 0.5))
    assert found == pytest.approx([0.518795, 0.518795], abs=2e-5)
    warm, cold = (litres(there, np.array([800.0]), 1, night, draws, np.full((2, 1, 1), 0.5)) for night in (3600.0, 5e4))
    assert (cold < warm).all()
    assert (warm < found).all()
    # One body that loses in proportion to its excess over the air cools by exp(-t k / C): k = 0.5 W/K, full of water.
    plain = replace(boiler, loss=HeatLoss(area=0.2, conduction=0.5))
    steam = steam_at(ATMOSPHERE)
    capacity = plain.heat_capacity + plain.water_volume * 0.998207 * steam.boiling_liquid / steam.boiling_point
    expected = 25.0 + (steam.boiling_point - 25.0) * math.exp(-0.5 * 3600.0 / capacity)
    assert morning_temperature(plain, steam, 3600.0) == pytest.approx(expected, rel=1e-6)


def test_slopes_of_tubes(file: SceneFile) -> None:
    hours = hours_of(file, EQUINOX)
    own = sunlight(file, hours, *aimed_settings(file.mount, hours))
    level = slopes_of(file, own)  # level grooves, tubes along them
    assert level.least == pytest.approx(0.0, abs=1e-9)
    assert level.mouth_low == pytest.approx(1.0)
    across = replace(
        file, scene=replace(file.scene, tubes=replace(file.scene.tubes, angle_to_grooves=90.0, count=1, spacing=0.0))
    )
    steep = slopes_of(across, own)  # tubes up the slope: they lie at the tilt of the lens, 40 to 85 deg on that day
    assert steep.least == pytest.approx(40.0, abs=0.6)
    assert steep.most == pytest.approx(85.0, abs=0.6)
    assert steep.mouth_low == 0.0


def test_a_steady_aim_and_an_offset_of_the_tubes_are_the_same_shift(
    file: SceneFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tolerances, "MACHINES", 8)  # fewer, for the time that they cost
    monkeypatch.setattr(tolerances, "SCALES", (0.1, 1.0))
    effort = Effort(draws=4, rays=256, threads=1)
    scene = replace(file.scene, lens_height=0.42)  # off the focus, where the line is wider than the gap between tubes
    found = tolerances.tolerances_of(scene, aimed(file, hours_of(file, EQUINOX)), effort=effort)
    sizes = {row.key: row.sizes for row in found.sensitivities}
    for row in found.sensitivities:
        reached = [size.value for size in row.sizes if size is not None]
        assert reached == sorted(reached)
        assert row.most > 0.0
    aim, offset = sizes["aim_across"][-1], sizes["tube_offset"][-1]
    assert isinstance(aim, Estimate)
    assert isinstance(offset, Estimate)
    # Both are read off chords between the sizes that were tried, at other sizes: 5 % apart at most.
    assert offset.value == pytest.approx(scene.lens_height * math.tan(math.radians(aim.value)), rel=0.05)
    assert found.scale is not None
    assert 0.0 < found.scale < 1.0
    small, large = found.together
    assert small.worst_of_20 < 0.05 < large.worst_of_20
    assert small.median < large.median


def test_the_command_with_builds(
    focalrow: Callable[..., Any], simple_scene: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(builds, "HEIGHTS", 4)  # fewer, for the time that they cost
    monkeypatch.setattr(builds, "ROUNDS", 1)
    out = tmp_path / "out"
    run = focalrow(
        "fit", simple_scene, "--over", "2026-03-20", "--builds", "--no-tilt", "--hours", "16", "--rays", "256",
        "--out", out,
    )  # fmt: skip
    assert run.status == 0
    assert "Ways to build it, best first" in run.out
    assert "must have its open end up" in " ".join(run.out.split())
    assert max(map(len, run.out.splitlines())) <= 100
    rows = json.loads((out / "fit.json").read_text(encoding="utf-8"))["builds"]["rows"]
    absorbed = [row["absorbed_kwh"]["value"] for row in rows]
    assert absorbed == sorted(absorbed, reverse=True)
    assert sum(row["is_own"] for row in rows) == 1
    assert all(row["litres"] is None and row["price"] is None for row in rows)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--moved", "never"], '"perfectly", "by-plan", "seasonal", "fixed"'),
        (["--hours", "0"], "--hours"),
        (["--rays", "99999999"], "--rays"),
        (["--marks", "soon"], "--marks"),
    ],
)
def test_wrong_options_are_told(
    focalrow: Callable[..., Any], simple_scene: Path, arguments: list[str], words: str
) -> None:
    run = focalrow("fit", simple_scene, *arguments)
    assert run.status == 2
    assert words in run.err
