"""The list [[surroundings]] of a scene file, and where its boxes and planes stand in the lens frame."""

from pathlib import Path

import numpy as np
import pytest

from tracking.errors import InputError
from tracking.mount import Mount
from tracking.scenefile import SceneFile, read_scene
from tracking.surroundings import Surrounding, faces_around, turned

BOARD = """
[[surroundings]]
name = "board"
shape = "plane"
size = ["0.8 m", "1.2 m"]
place = ["0 mm", "0 mm", "-150 mm"]
fixed_to = "lens"
material = "tile"
"""
POST = """
[[surroundings]]
name = "post"
shape = "box"
size = ["0.1 m", "0.2 m", "2 m"]
place = ["0.8 m", "0 mm", "0 mm"]
turn = ["0 deg", "0 deg", "90 deg"]
"""


def _read(path: Path, more: str) -> SceneFile:
    path.write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")
    return read_scene(path)


def test_boxes_and_planes_are_read_with_their_defaults(simple_scene: Path) -> None:
    found = _read(simple_scene, BOARD + POST)
    assert [each.name for each in found.surroundings] == ["board", "post"]
    assert found.surroundings[0].size == (0.8, 1.2)
    assert found.surroundings[1].turn == (0.0, 0.0, 90.0)
    assert not found.surroundings[0].burns
    assert found.surroundings[1].burns
    defaults = {value.key for value in found.values if value.from_default and value.key.startswith("surroundings")}
    assert defaults == {"surroundings.1.turn", "surroundings.2.fixed_to", "surroundings.2.material"}


def test_a_scene_without_a_list_says_what_is_assumed(simple_scene: Path) -> None:
    value = next(value for value in read_scene(simple_scene).values if value.key == "surroundings")
    assert value.from_default
    assert "assumed" in value.text


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [
        (BOARD.replace("0.8 m", "0,8 m"), "surroundings.1.size", "write 0.8, not 0,8"),
        (BOARD + POST.replace('"box"', '"sphere"'), "surroundings.2.shape", 'Allowed: "plane" or "box"'),
        (BOARD.replace("place", "places"), "surroundings.1.place", "did you mean surroundings.1.place?"),
        (POST.replace('"0.1 m", ', ""), "surroundings.1.size", "a box has 3 lengths, not 2"),
        ("[surroundings]\nx = 1\n", "surroundings", "tables that begin with [[surroundings]]"),
        ('[[surroundings]]\nname = "a"\n', "surroundings.1.shape", "this key is missing"),
    ],
)
def test_what_is_wrong_is_named_with_its_number(simple_scene: Path, more: str, key: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        _read(simple_scene, more)
    assert error.value.key == key
    assert words in str(error.value)


def test_a_list_of_numbers_is_no_list_of_tables(simple_scene: Path) -> None:
    text = simple_scene.read_text(encoding="utf-8")
    simple_scene.write_text(f"surroundings = [1]\n{text}", encoding="utf-8")
    with pytest.raises(InputError, match=r"surroundings\.1: 1 is no table"):
        read_scene(simple_scene)


def test_faces_stand_where_the_mount_turns_them() -> None:
    # A lens that leans east by 90 deg has its downhill direction x pointing down and its normal east: what lies 0.3 m
    # below the row on the ground lies at x = +0.3 in its frame; what is fixed to it stays.
    mount = Mount(kind="swivel-tilt", grooves="level")
    ground = Surrounding(name="ground", shape="plane", size=(2.0, 2.0), place=(0.0, 0.0, -0.3))
    own = Surrounding(name="own", shape="plane", size=(1.0, 1.0), place=(0.0, 0.0, -0.3), fixed_to="lens")
    first, second = faces_around((ground, own), mount, 90.0, 90.0, 0.5)
    assert first.face.point(1.0, 1.0) == pytest.approx([0.3, 0.0, -0.5], abs=1e-12)
    assert second.face.point(0.5, 0.5) == pytest.approx([0.0, 0.0, -0.8], abs=1e-12)


def test_a_box_has_six_faces_around_its_middle() -> None:
    mount = Mount(kind="swivel-tilt", grooves="level")
    box = Surrounding(name="box", shape="box", size=(0.2, 0.4, 0.6), place=(0.5, 0.1, 0.0), fixed_to="base")
    faces = faces_around((box,), mount, 0.0, 30.0, 0.5)
    centres = np.array([each.face.point(0.5 * each.face.length_a, 0.5 * each.face.length_b) for each in faces])
    assert centres.mean(axis=0) == pytest.approx([0.5, 0.1, -0.5])
    assert np.ptp(centres, axis=0) == pytest.approx([0.2, 0.4, 0.6])
    area = sum(each.face.length_a * each.face.length_b for each in faces)
    assert area == pytest.approx(2 * (0.2 * 0.4 + 0.2 * 0.6 + 0.4 * 0.6))


def test_turns_follow_each_other() -> None:
    # Right-handed: 90 deg about the first direction bring the second onto the third, and so on around.
    assert turned((90.0, 0.0, 0.0)) @ [0.0, 1.0, 0.0] == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)
    assert turned((0.0, 0.0, 90.0)) @ [1.0, 0.0, 0.0] == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)
    assert turned((90.0, 0.0, 90.0)) @ [0.0, 0.0, 1.0] == pytest.approx([1.0, 0.0, 0.0], abs=1e-12)
