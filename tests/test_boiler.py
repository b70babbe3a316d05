"""The boiler: closed balances, an hour by hand, feeds, running dry, salt."""

import math
from dataclasses import replace

import numpy as np
import pytest
from reference.plain_boiler import PlainTube

from tracking.boiler import STEFAN_BOLTZMANN, Boiler, Feeding, HeatLoss
from tracking.energy.boiler import TubeRow
from tracking.energy.steam import ATMOSPHERE, Steam, steam_at

LOSS = HeatLoss(area=0.2, emittance=0.065, conduction=0.05)


@pytest.fixture(scope="module")
def steam() -> Steam:
    return steam_at(ATMOSPHERE)


def boiler(**changes: object) -> Boiler:
    plain = Boiler(
        feed_temperature=20.0,
        air_temperature=20.0,
        feeding="level",
        feed_rate=0.0,
        fill=1.0,
        water_volume=1.0,
        loss=LOSS,
        heat_capacity=600.0,
        steam_line_loss=0.2,
        condenser_conductance=None,
        dissolved_solids=300.0,
        solids_limit=3000.0,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("feeding", "rate", "fill"), [("level", 0.0, 1.0), ("rate", 0.1, 1.0), ("rate", 2.0, 1.0), ("fill", 0.0, 0.4)]
)
def test_energy_and_water_are_kept(steam: Steam, feeding: Feeding, rate: float, fill: float) -> None:
    row = TubeRow(boiler(feeding=feeding, feed_rate=rate, fill=fill), steam, 3)
    hours = [[0, 0, 0], [150, 300, 20], [420, 500, 60], [420, 500, 60], [300, 400, 900], [0, 0, 0], [0, 0, 0]]
    for k, watts in enumerate(hours * 3):
        before = row.water.copy()
        flows = row.advance(3600.0, np.array(watts, dtype=float), -8.0 if k % 7 == 6 else 25.0)
        scale = np.maximum(flows.absorbed + flows.lost, 1e3)
        assert np.abs(flows.imbalance() / scale).max() < 1e-9
        kept = before + flows.feed - flows.steam - flows.spilt
        np.testing.assert_allclose(row.water, kept, atol=1e-9)
    before_energy = row.energy()
    drained = row.drain(np.array([True, False, True]))
    filled = row.fill_up(40.0)
    assert np.abs(drained.imbalance()).max() < 1e-6
    assert np.abs(filled.imbalance()).max() < 1e-6
    moved = drained.stored + filled.stored
    np.testing.assert_allclose(row.energy() - before_energy, moved, atol=1e-6)


def test_an_hour_by_hand(steam: Steam) -> None:
    """One boiling tube, one hour, 400 W absorbed, air at 25 degC, 1 atm, level held with feed of 20 degC.

    The tube at 99.9743 degC = 373.1243 K, the air at 298.15 K:
      radiation   0.2 m2 x 0.065 x 5.670374e-8 x (373.1243^4 - 298.15^4)
                  = 7.371487e-10 x (1.938270e10 - 7.901983e9) = 8.46284 W
      conduction  0.05 x 74.9743                              = 3.74872 W
      line        0.2 x 74.9743                               = 14.99486 W
      left        400 - 8.46284 - 3.74872 - 14.99486          = 372.79358 W
    A kilogram takes 2675.531 - 84.013 = 2591.518 kJ from the feed:
      steam       372.79358 W x 3600 s / 2591518 J/kg         = 0.517865 kg
    Enthalpies: handbook values of the IAPWS formulation, see tests/published/test_steam.py.
    """
    row = TubeRow(boiler(), steam, 1)
    row.temperature = np.array([steam.boiling_point])
    flows = row.advance(3600.0, np.array([400.0]), 25.0)
    assert flows.lost[0] / 3600.0 == pytest.approx(8.46284 + 3.74872, abs=2e-4)
    assert flows.lost_on_line[0] / 3600.0 == pytest.approx(14.99486, abs=1e-4)
    assert flows.steam[0] == pytest.approx(0.517865, abs=2e-6)
    assert flows.feed[0] == flows.steam[0]


def test_warming_up_takes_the_time_that_the_heat_takes(steam: Steam) -> None:
    """Without losses: (600 J/K x 79.974 K + 0.99821 kg x (418.991 - 84.013) kJ/kg) / 400 W = 955.9 s."""
    row = TubeRow(boiler(loss=HeatLoss(area=0.2)), steam, 1)
    heat = 600.0 * (steam.boiling_point - 20.0) + row.water[0] * (steam.boiling_liquid - row.feed_enthalpy)
    assert heat / 400.0 == pytest.approx(955.9, abs=0.5)
    flows = row.advance(heat / 400.0, np.array([400.0]), 20.0)
    assert row.temperature[0] == pytest.approx(steam.boiling_point, abs=1e-6)
    assert flows.steam[0] == pytest.approx(0.0, abs=1e-9)


def test_the_loss_as_written() -> None:
    loss = HeatLoss(area=0.3, a1=0.9, a2=0.005, emittance=0.1, conduction=0.2)
    expected = 0.3 * (0.9 * 80 + 0.005 * 80**2 + 0.1 * STEFAN_BOLTZMANN * (373.15**4 - 293.15**4)) + 0.2 * 80
    assert loss.watts(np.array([100.0]), 20.0)[0] == pytest.approx(expected, rel=1e-12)
    rise = loss.watts(np.array([100.01]), 20.0) - loss.watts(np.array([99.99]), 20.0)
    assert loss.slope(np.array([100.0]), 20.0)[0] == pytest.approx(rise[0] / 0.02, rel=1e-6)


# A supplier's figure for a selective absorber: 42.3 W/m2 at 100 degC in air of 25 degC (computed from the formula).
def test_radiation_of_a_selective_absorber() -> None:
    loss = HeatLoss(area=1.0, emittance=0.065)
    assert loss.watts(np.array([100.0]), 25.0)[0] == pytest.approx(42.3, abs=0.1)


def test_a_tube_runs_dry_when_its_water_is_boiled_away(steam: Steam) -> None:
    row = TubeRow(boiler(feeding="fill", fill=0.3, loss=HeatLoss(area=0.2), steam_line_loss=0.0), steam, 2)
    water = row.water[0]
    warm_up = 600.0 * (steam.boiling_point - 20.0) + water * (steam.boiling_liquid - row.feed_enthalpy)
    seconds = (warm_up + water * steam.latent_heat) / 500.0
    flows = row.advance(2.0 * seconds, np.array([500.0, 0.0]), 20.0)
    # Nothing is lost here, so that a dry tube has no end of its temperature: only the time is looked at.
    assert flows.dry_after[0] == pytest.approx(seconds, rel=2e-3)
    assert flows.steam[0] == pytest.approx(water, rel=1e-9)
    assert not math.isfinite(flows.dry_after[1])
    assert row.dry.tolist() == [True, False]
    assert row.temperature[0] > 200.0
    row.fill_up(40.0)
    assert row.dry.tolist() == [True, False]  # too hot for cold water


def test_salt_stays(steam: Steam) -> None:
    row = TubeRow(boiler(), steam, 1)
    row.temperature = np.array([steam.boiling_point])
    flows = row.advance(3600.0 * 5, np.array([400.0]), 25.0)
    expected = 300.0 * (1.0 + flows.steam[0] / row.water[0])
    assert row.concentration[0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("feeding", "rate"), [("level", 0.0), ("rate", 0.3), ("rate", 3.0), ("fill", 0.0)])
def test_the_compiled_loop_against_plain_steps(steam: Steam, feeding: Feeding, rate: float) -> None:
    """900 s are one step for a full tube, so that both take the same steps; agreement to rounding."""
    built = boiler(feeding=feeding, feed_rate=rate)
    row = TubeRow(built, steam, 1)
    plain = PlainTube(built, steam, temperature=20.0, water=float(row.water[0]), salt=float(row.solids[0]))
    sums = dict.fromkeys(("lost", "steam", "feed", "lost_on_line", "spilt"), 0.0)
    for watts, air in [(0.0, -30.0), (0.0, -30.0), *[(450.0, 25.0)] * 5, (0.0, 5.0), (700.0, 40.0)]:
        flows = row.advance(900.0, np.array([watts]), air)
        plain.step(900.0, watts, air)
        for name in sums:
            sums[name] += float(getattr(flows, name)[0])
    assert row.temperature[0] == pytest.approx(plain.temperature, abs=1e-8)
    assert row.water[0] == pytest.approx(plain.water, rel=1e-10)
    assert row.solids[0] == pytest.approx(plain.salt, rel=1e-10)
    expected = {
        "lost": plain.lost, "steam": plain.made, "feed": plain.fed, "lost_on_line": plain.line, "spilt": plain.spilt
    }  # fmt: skip
    assert sums == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert sums["steam"] > 0.1


def test_many_steps_at_once_are_steps_one_by_one(steam: Steam) -> None:
    watts = np.array([[0.0, 50.0], [300.0, 500.0], [400.0, 20.0]])
    air = np.array([10.0, 20.0, 30.0])
    together, one_by_one = TubeRow(boiler(), steam, 2), TubeRow(boiler(), steam, 2)
    flows, states = together.advance_steps(1800.0, watts, air)
    for k in range(3):
        alone = one_by_one.advance(1800.0, watts[k], float(air[k]))
        np.testing.assert_array_equal(flows.steam[k], alone.steam)
        np.testing.assert_array_equal(states.temperature[k], one_by_one.temperature)
    np.testing.assert_array_equal(together.energy(), one_by_one.energy())
