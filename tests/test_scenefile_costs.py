"""The table [costs] of a scene file."""

from pathlib import Path

import pytest

from tracking.errors import InputError
from tracking.scenefile import SceneFile, read_scene

COSTS = """
[costs]
lens = 80
tube = 12.5
frame = 150
"""


def _read(path: Path, more: str) -> SceneFile:
    path.write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")
    return read_scene(path)


def test_prices_are_read_with_their_defaults(simple_scene: Path) -> None:
    found = _read(simple_scene, COSTS)
    assert found.costs is not None
    assert found.costs.life == 10.0
    # By hand: 80 + 2 x 12.5 + 150 + 0 = 255.
    assert found.costs.of_machine(2) == 255.0
    defaults = {value.key: value.text for value in found.values if value.from_default}
    assert defaults["costs.drive"] == "0"
    assert defaults["costs.life"] == '"10 years"'
    assert defaults["costs.currency"] == '"units of money"'


def test_a_scene_without_prices_says_so(simple_scene: Path) -> None:
    found = read_scene(simple_scene)
    assert found.costs is None
    assert "nothing is said" in next(value.text for value in found.values if value.key == "costs")


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [
        (COSTS.replace("lens = 80", ""), "costs.lens", "this key is missing"),
        (COSTS.replace("12.5", "-1"), "costs.tube", "too small"),
        (COSTS.replace("12.5", '"12.5"'), "costs.tube", "number"),
        (COSTS + "life = 10\n", "costs.life", '"10 years"'),
        (COSTS + 'life = "1000 years"\n', "costs.life", "too large"),
        (COSTS + "lense = 1\n", "costs.lense", "did you mean costs.lens?"),
        ("\n[costs]\nlens = 0\ntube = 0\nframe = 0\n", "costs.lens", "costs nothing"),
    ],
)
def test_what_is_wrong_is_named(simple_scene: Path, more: str, key: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        _read(simple_scene, more)
    assert error.value.key == key
    assert words in str(error.value)
