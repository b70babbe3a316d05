"""The table [boiler] of a scene file: every key, its default, and what is told where it is wrong."""

import math
from pathlib import Path

import pytest

from tracking.errors import InputError
from tracking.scenefile import SceneFile, read_scene

TUBE_SURFACE = math.pi * 0.038 * 0.7
"""Of one of the two bare tubes of the scene [m2]."""


def _read(path: Path, keys: str) -> SceneFile:
    text = path.read_text(encoding="utf-8")
    path.write_text(f"{text}\n[boiler]\n{keys}\n", encoding="utf-8")
    return read_scene(path)


ENVELOPE = '[tubes.envelope]\nouter_diameter = "58 mm"\n'


def test_every_key_has_a_default_that_is_shown(simple_scene: Path) -> None:
    found = read_scene(simple_scene)
    boiler = found.boiler
    assert (boiler.feed_temperature, boiler.air_temperature, boiler.feeding) == (20.0, 20.0, "level")
    # Half of the inside: 0.5 x pi / 4 x 0.038^2 x 0.7 m3 = 0.39694 L.
    assert boiler.water_volume == pytest.approx(0.39694, abs=1e-5)
    # 5.7 + 3.8 x 2 m/s.
    assert boiler.loss.a1 == pytest.approx(13.3)
    assert boiler.loss.area == pytest.approx(TUBE_SURFACE)
    # Steel: surface x 1.5 mm x 7900 kg/m3 x 500 J/(kg K).
    assert boiler.heat_capacity == pytest.approx(TUBE_SURFACE * 1.5e-3 * 7900.0 * 500.0)
    assert (boiler.steam_line_loss, boiler.condenser_conductance) == (0.2, None)
    assert (boiler.dissolved_solids, boiler.solids_limit) == (300.0, 3000.0)
    shown = {value.key for value in found.boiler_values if value.from_default}
    keys = ("feed_temperature", "feed_rate", "emittance", "conduction", "heat_capacity", "water_volume")
    more = ("steam_line_loss", "condenser_conductance", "dissolved_solids", "solids_limit", "air_temperature")
    assert {f"boiler.{key}" for key in (*keys, *more, "wind_speed", "enclosure")} <= shown


def test_an_envelope_has_losses_of_its_own(simple_scene: Path) -> None:
    text = simple_scene.read_text(encoding="utf-8").replace('"40 mm"', '"60 mm"')
    simple_scene.write_text(text.replace("[mount]", f"{ENVELOPE}\n[mount]"), encoding="utf-8")
    loss = read_scene(simple_scene).boiler.loss
    assert (loss.a1, loss.a2, loss.emittance, loss.conduction) == (0.0, 0.0, 0.065, 0.05)


def test_every_key_is_taken(simple_scene: Path) -> None:
    boiler = _read(
        simple_scene,
        """
feed_temperature = "60 degC"
feed_rate = "5 mL/min"
heat_loss = { a1 = "0.9 W/m^2/K", a2 = "0.005 W/m^2/K^2" }
heat_capacity = "1.2 kJ/K"
water_volume = "900 mL"
steam_line_loss = "0.4 W/K"
condenser_conductance = "25 W/K"
dissolved_solids = "0.5 g/L"
solids_limit = "4 g/L"
air_temperature = "-5 degC"
""",
    ).boiler
    assert (boiler.feed_temperature, boiler.feeding, boiler.air_temperature) == (60.0, "rate", -5.0)
    assert boiler.feed_rate == pytest.approx(0.3)
    assert (boiler.loss.a1, boiler.loss.a2) == (0.9, 0.005)
    assert (boiler.heat_capacity, boiler.water_volume) == (1200.0, pytest.approx(0.9))
    assert (boiler.steam_line_loss, boiler.condenser_conductance) == (0.4, 25.0)
    assert (boiler.dissolved_solids, boiler.solids_limit) == (500.0, 4000.0)


def test_a_filling_is_the_water_of_the_morning(simple_scene: Path) -> None:
    boiler = _read(simple_scene, 'fill = "0.8 L"').boiler
    assert (boiler.feeding, boiler.fill, boiler.water_volume) == ("fill", 0.8, 0.8)


@pytest.mark.parametrize(("keys", "a1"), [('wind_speed = "5 m/s"', 24.7), ("enclosure = true", 5.7)])
def test_wind_and_enclosure_act_on_bare_tubes(simple_scene: Path, keys: str, a1: float) -> None:
    """By hand: 5.7 + 3.8 x 5, and 5.7 in still air."""
    assert _read(simple_scene, keys).boiler.loss.a1 == pytest.approx(a1)


def test_wind_without_effect_is_told(simple_scene: Path) -> None:
    found = _read(simple_scene, 'wind_speed = "5 m/s"\nheat_loss = { a1 = "2 W/m^2/K" }')
    assert any("boiler.wind_speed is without effect" in note for note in found.notes)


@pytest.mark.parametrize(
    ("keys", "key", "words"),
    [
        ('feed_temperature = "95 degC"', "boiler.feed_temperature", "80 degC"),
        ('feed_temperature = "20 C"', "boiler.feed_temperature", "degC"),
        ("feed_temperature = 20", "boiler.feed_temperature", '"20 degC"'),
        ('feed_rate = "0,4 L/h"', "boiler.feed_rate", "0.4"),
        ('feed_rate = "0.4 L/h"\nfill = "1 L"', "boiler.fill", "exclude each other"),
        ('fill = "2 L"\nwater_volume = "1 L"', "boiler.fill", "at most water_volume"),
        ("emittance = 1.2", "boiler.emittance", "1"),
        ('heat_loss = { a1 = "2 W/m^2/K" }\nemittance = 0.1', "boiler.heat_loss", "emittance"),
        ('heat_loss = { a2 = "0.01 W/m^2/K^2" }', "boiler.heat_loss.a1", "missing"),
        ('heat_capacity = "0 J/K"', "boiler.heat_capacity", "10 J/K"),
        ('condenser_conductance = "0 W/K"', "boiler.condenser_conductance", "0.1 W/K"),
        ('solids_limit = "200 mg/L"', "boiler.solids_limit", "more than dissolved_solids"),
        ('enclosure = "yes"', "boiler.enclosure", "true"),
        ('feed_temp = "20 degC"', "boiler.feed_temp", "feed_temperature"),
    ],
)
def test_what_is_wrong_is_told(simple_scene: Path, keys: str, key: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        _read(simple_scene, keys)
    assert caught.value.key == key
    assert words in str(caught.value)
    assert "Allowed: " in str(caught.value)
