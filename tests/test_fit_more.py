"""Ways to build and tolerances: what they cost, how the tubes slope, litres, limits; the command's text and JSON."""

import datetime as dt
import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from raytrace.arrays import Floats
from raytrace.result import Estimate
from raytrace.scene import RowPose, Scene
from raytrace.trace import trace
from tracking.boiler import HeatLoss
from tracking.cli.fit_builds_table import builds_parts
from tracking.costs import Costs
from tracking.energy.fit import builds, error_kinds, sample, tolerances
from tracking.energy.fit.builds import Builds, Slopes, _row, _Traced, as_built, options_of, slopes_of
from tracking.energy.fit.distillate import FINER, Still
from tracking.energy.fit.hours import Span, aimed_settings, hours_of, sunlight
from tracking.energy.fit.moving import aimed
from tracking.energy.fit.sample import Draws, Effort, absorbed_fractions, drawn, estimate
from tracking.energy.year import year_of
from tracking.response import response_table
from tracking.scenefile import SceneFile, read_scene

SCENES = Path(__file__).parent.parent / "scenes"
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
    # Text: litres have their columns and words where there are some.
    told = "\n".join(builds_parts(priced, Builds(rows=(row,), interrupted=False), width=100))
    assert "4002.74" in told
    assert "25.02" in told
    assert "2 tubes" in told
    dry = replace(row, option=replace(row.option, count=1), litres=None, litres_for_money=None)
    told = "\n".join(builds_parts(priced, Builds(rows=(dry,), interrupted=False), width=100))
    assert "4002.74" in told
    assert "1 tube. " in told
    assert "L for 1" not in told
    assert "itres" not in told


def test_litres_of_an_hour_by_hand(file: SceneFile) -> None:
    """As in the boiler's own hour by hand: 400 W absorbed, 372.794 W left, 0.517865 kg of steam, 20 degC, 1 atm.

    0.517865 kg / 0.998207 kg/L (density of water at 20 degC, value from memory, to be confirmed) = 0.518795 L. That is
    what one hour more of light makes, 800 W on the aperture of which the one tube absorbs half, once it boils.
    """
    loss = HeatLoss(area=0.2, emittance=0.065, conduction=0.05)
    boiler = replace(
        file.boiler, loss=loss, feed_temperature=20.0, air_temperature=25.0, steam_line_loss=0.2, feeding="level"
    )
    there = replace(file, boiler=boiler, site=replace(file.site, altitude=0.0))
    whole = hours_of(there, EQUINOX)
    still = Still(there, whole)
    # One traced hour in two replicates: in the second, a hundredth more is absorbed.
    one = np.zeros((2, 1))
    fractions = np.array([[[0.5]], [[0.505]]])

    def made(steps: int) -> Floats:
        energy = np.zeros(len(whole))
        energy[100 : 100 + steps] = 800.0 * 120.0
        light = replace(sunlight(there, whole, 0.0, 0.0), energy=energy, transversal=0.0 * energy)
        total = np.full((2, 1), energy.sum())
        draws = Draws(
            transversal=one, longitudinal=one, tilt=one, energy=total, index=np.full((2, 1), 100, dtype=np.int64)
        )
        return still.litres(light, draws, fractions)

    # On the mean, 402 W are absorbed: the 2 W above 400 W are left for the steam as well.
    steam = 372.794
    assert (made(150) - made(120)).mean() == pytest.approx(0.518795 * (1.0 + 2.0 / steam), abs=2e-5)
    first, second = made(150)
    # The second has 4 W more, in all five hours: while water warms up, they bring the boiling forward.
    assert second - first == pytest.approx(5.0 * 0.518795 * 4.0 / steam, rel=0.01)
    assert made(2).tolist() == [0.0, 0.0]  # not even warm


@pytest.mark.long
@pytest.mark.parametrize("name", ["south", "tropics"])
def test_litres_of_the_year_are_those_that_the_year_finds(name: str) -> None:
    scene_file = read_scene(SCENES / f"{name}.toml")
    hours = hours_of(scene_file, Span(year=2026))
    light = sunlight(scene_file, hours, *aimed_settings(scene_file.mount, hours))
    effort = Effort(draws=FINER * 24, rays=1 << 10)
    draws = drawn(light, scene_file.scene, effort)
    fractions = absorbed_fractions(scene_file.scene, scene_file.mount, draws, effort)
    found = estimate(Still(scene_file, hours).litres(light, draws, fractions))
    year = year_of(scene_file, 2026, dt.timedelta(minutes=30), response_table(scene_file), ledger_rays=64)
    # Steps of the year are worth 0.3 % of its energy, and a per cent of that is some three of the litres of bare tubes.
    assert abs(found.value - sum(year.total.litres)) < 3.0 * found.standard_error + 0.01 * found.value


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


@pytest.mark.parametrize("turned", [error_kinds.turned_across, error_kinds.turned_along])
def test_a_lens_off_its_aim_turns_the_sun_and_loses_by_the_cosine(turned: Callable[[Draws, float], Draws]) -> None:
    """Against rotations of the sun's vector; the energy goes by its component along the lens normal."""
    angles = [np.array([[a]]) for a in (12.0, -35.0)]
    draws = Draws(
        transversal=angles[0], longitudinal=angles[1], tilt=angles[0], energy=np.array([[7.0]]), index=np.array([[0]])
    )
    sun = np.array([math.tan(math.radians(12.0)), math.tan(math.radians(-35.0)), 1.0])
    sun /= np.linalg.norm(sun)
    c, s = math.cos(math.radians(25.0)), math.sin(math.radians(25.0))
    across = turned is error_kinds.turned_across
    after = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]] if across else [[1, 0, 0], [0, c, s], [0, -s, c]]) @ sun
    found = turned(draws, 25.0)
    assert math.tan(math.radians(found.transversal[0, 0])) == pytest.approx(after[0] / after[2], rel=1e-12)
    assert math.tan(math.radians(found.longitudinal[0, 0])) == pytest.approx(after[1] / after[2], rel=1e-12)
    assert found.energy[0, 0] == pytest.approx(7.0 * after[2] / sun[2], rel=1e-12)
    # On a lens that was aimed, the energy of the aperture is left by cos 25 deg = 0.906.
    aimed_at = Draws(
        **dict.fromkeys(("transversal", "longitudinal", "tilt"), 0.0 * angles[0]),
        energy=np.array([[1.0]]),
        index=np.array([[0]]),
    )
    assert turned(aimed_at, 25.0).energy[0, 0] == pytest.approx(0.906308, abs=1e-6)


def traced_loss(scene: Scene, key: str, size: float) -> float:
    """Share of the power lost by an error of this size with the sun on the lens normal, by two traces of their own."""
    lens, angles, there = scene.lens, {}, scene
    if key in {"slope_error", "sag_down", "sag_up"}:
        sign = -1.0 if key == "sag_up" else 1.0
        name, value = ("slope_error", size) if key == "slope_error" else ("sag", lens.sag + sign * size)
        there = replace(scene, lens=replace(lens, **{name: value}))
    elif key in {"too_high", "too_low"}:
        there = replace(scene, lens_height=scene.lens_height + (size if key == "too_high" else -size))
    elif key == "aiming_error":
        there = replace(scene, aiming_error=size)
    elif key in {"aim_across", "aim_along"}:
        angles = {"transversal_angle" if key == "aim_across" else "longitudinal_angle": size}
    aside = size if key == "tube_offset" else 0.0
    pose = replace(RowPose.level(scene.tubes.angle_to_grooves), offset=(aside, 0.0, 0.0))
    own = trace(scene, rays=1 << 17, seed=5).absorbed_fraction.value
    found = trace(there, rays=1 << 17, seed=5, row=pose, **angles).absorbed_fraction.value
    return 1.0 - math.cos(math.radians(sum(angles.values()))) * found / own


def test_errors_that_a_design_bears_against_direct_traces(file: SceneFile, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sample, "REPLICATES", 4)  # fewer, for the time that they cost
    monkeypatch.setattr(tolerances, "MACHINES", 8)
    monkeypatch.setattr(tolerances, "SCALES", (0.1, 1.0))
    effort = Effort(draws=4, rays=1 << 10)
    scene = replace(file.scene, lens_height=0.42)  # off the focus, where the line is wider than the gap between tubes
    # Both axes are kept aimed and the row turns with the lens: the sun stands on the normal at all hours.
    found = tolerances.tolerances_of(scene, aimed(file, hours_of(file, EQUINOX)), effort=effort)
    assert len(found.sensitivities) == 9
    for row in found.sensitivities:
        reached = [size.value for size in row.sizes if size is not None]
        assert reached == sorted(reached)
        assert row.most > 0.0
        size = row.sizes[-1]
        # Sizes are read off chords between those that were tried, at losses that differ by less than a third of 5 %.
        if size is None:
            assert traced_loss(scene, row.key, row.most) < 0.055
        else:
            assert traced_loss(scene, row.key, size.value) == pytest.approx(0.05, abs=0.004)
    sizes = {row.key: row.sizes[-1] for row in found.sensitivities}
    aim, offset = sizes["aim_across"], sizes["tube_offset"]
    assert isinstance(aim, Estimate)
    assert isinstance(offset, Estimate)
    # An aim that shifts the line by as much makes it wider too.
    assert offset.value > 1.2 * scene.lens_height * math.tan(math.radians(aim.value))
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
