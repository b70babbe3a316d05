"""Actuators: the law of cosines, counts both ways, and a scene file that names at once what a stroke cannot reach."""

import math
from pathlib import Path

import numpy as np
import pytest
from conftest import SIMPLE_SCENE
from hypothesis import given
from hypothesis import strategies as st

from tracking.actuator import Actuator, ArmLinkage, GearLinkage, nearly_singular
from tracking.errors import InputError
from tracking.scenefile import SceneFile, read_scene

LINEAR = """
[actuators.tilt]
kind = "linear"
base_distance = "1.2 m"
arm_length = "0.8 m"
angle_offset = "20 deg"
retracted_length = "0.55 m"
stroke = "1.0 m"
counts_per_mm = 40
speed = "8 mm/s"
backlash = "0.5 mm"
"""
ROTARY = """
[actuators.swivel]
kind = "rotary"
counts_per_degree = 8.888889
gear = 50
speed = "1 deg/s"
backlash = "0.1 deg"
soft_limits = ["30 deg", "330 deg"]
zero = "180 deg"
"""


def arm(**changes: float | bool) -> ArmLinkage:
    values: dict[str, float | bool] = {
        "base_distance": 1.2, "arm_length": 0.8, "angle_offset": 0.0, "retracted_length": 0.5, "stroke": 1.4,
        "counts_per_mm": 40.0,
    }
    return ArmLinkage(**(values | changes))  # type: ignore[arg-type]


def scene_with(tmp_path: Path, text: str) -> SceneFile:
    path = tmp_path / "driven.toml"
    path.write_text(SIMPLE_SCENE + text, encoding="utf-8")
    return read_scene(path)


# Euclid's law of cosines, sides 1.2 m and 0.8 m, computed with a calculator to six decimals.
@pytest.mark.parametrize(("angle", "length"), [(30.0, 0.645934), (60.0, 1.058301), (90.0, 1.442221), (120.0, 1.743560)])
def test_length_by_the_law_of_cosines(angle: float, length: float) -> None:
    assert float(arm().travel(angle)) == pytest.approx(length, abs=1e-6)
    assert float(arm().angle(length)) == pytest.approx(angle, abs=1e-4)


def test_angle_and_slope_at_one_metre() -> None:
    # The same law: cos g = (1.44 + 0.64 - 1) / 1.92, and dL/dg = a b sin g / L.
    assert float(arm().angle(1.0)) == pytest.approx(55.771134, abs=1e-6)
    assert float(arm().travel_per_angle(55.771134)) == pytest.approx(0.0138531, abs=1e-7)


def test_stepper_through_a_worm_gear() -> None:
    # 1.8 deg a full step, 16 microsteps, 50:1: 0.00225 deg = 0.03927 mrad a count. Exact.
    gear = GearLinkage(counts_per_degree=16 / 1.8, gear=50.0)
    assert 1.0 / gear.counts_per_travel == pytest.approx(0.00225, rel=1e-12)
    assert math.radians(1e3 / gear.counts_per_travel) == pytest.approx(0.03927, abs=1e-5)


def test_lead_screw() -> None:
    # 2 mm a turn, 3200 microsteps a turn: 0.625 um a count. Exact.
    assert 1.0 / arm(counts_per_mm=3200 / 2.0).counts_per_travel == pytest.approx(0.625e-6, rel=1e-12)


@given(
    a=st.floats(0.1, 3.0), b=st.floats(0.1, 3.0), share=st.floats(0.02, 0.98), offset=st.floats(-90.0, 90.0),
    extends=st.booleans(),
)
def test_counts_and_angles_are_inverse(a: float, b: float, share: float, offset: float, *, extends: bool) -> None:
    linkage = arm(
        base_distance=a, arm_length=b, angle_offset=offset, retracted_length=max(0.01, abs(a - b)), stroke=a + b,
        extends_with_angle=extends,
    )
    drive = driven(linkage)
    low, high = linkage.reach
    angle = low + share * (high - low)
    assert float(drive.angle(drive.counts(angle))) == pytest.approx(angle, abs=1e-6)
    step = 1e-4
    slope = float(drive.counts(angle + step) - drive.counts(angle - step)) / (2.0 * step)
    assert float(drive.counts_per_angle(angle)) == pytest.approx(slope, rel=1e-4)
    assert (slope > 0.0) is extends


def driven(linkage: ArmLinkage | GearLinkage) -> Actuator:
    return Actuator(
        linkage=linkage, speed=0.01, backlash=0.0, duty_cycle=0.25, duty_period=1200.0, dead_band=0.2, limits=None,
        home=0.0, homing="falling", approach="rising",
    )


def test_the_drive_is_weak_near_a_straight_line() -> None:
    weak = nearly_singular(arm(retracted_length=1.0, stroke=2.0))
    assert weak is not None
    assert weak[1] > 170.0
    assert nearly_singular(arm(retracted_length=0.9, stroke=0.3)) is None


def test_a_triangle_that_cannot_close_is_refused() -> None:
    with pytest.raises(ValueError, match=r"closes no triangle with sides of 1.2 and 0.8 m"):
        arm(retracted_length=2.1)
    assert math.isnan(float(arm().angle(2.5)))
    assert np.isnan(arm().travel([-5.0, 185.0])).all()


def test_scene_file_reads_both_kinds(tmp_path: Path) -> None:
    scene_file = scene_with(tmp_path, LINEAR + ROTARY)
    tilt, swivel = scene_file.actuators.tilt, scene_file.actuators.swivel
    assert tilt is not None
    assert swivel is not None
    assert tilt.is_linear
    assert tilt.speed == pytest.approx(0.008)
    assert tilt.home == pytest.approx(float(tilt.linkage.angle(0.55)))
    assert swivel.limits == (30.0, 330.0)
    assert float(swivel.counts(181.0)) == pytest.approx(444.44445)
    shown = {value.key: value.text for value in scene_file.values if value.from_default}
    assert shown["actuators.tilt.duty_cycle"] == "0.25"
    assert shown["actuators.swivel.homing"] == '"falling"'
    assert "actuators.tilt.counts_per_degree" not in shown


def test_unreachable_angles_are_named_at_once(tmp_path: Path) -> None:
    scene_file = scene_with(tmp_path, LINEAR.replace('"1.0 m"', '"0.6 m"'))
    # Longest 1.15 m: g = acos((1.44 + 0.64 - 1.3225) / 1.92) = 66.76 deg, less the offset of 20 deg.
    (note,) = [note for note in scene_file.notes if "does not reach" in note]
    assert "46.76 to 90 deg of mount.tilt_range" in note
    assert scene_file.actuators.tilt is not None
    assert scene_file.actuators.tilt.limits == (pytest.approx(2.21, abs=0.01), pytest.approx(46.76, abs=0.01))


def test_soft_limits_beyond_the_stroke_are_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"actuators.tilt.soft_limits: the angles 46.76 to 80 deg cannot be reached"):
        scene_with(tmp_path, LINEAR.replace('"1.0 m"', '"0.6 m"') + 'soft_limits = ["5 deg", "80 deg"]\n')


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('speed = "8 mm/s"', 'speed = "1 deg/s"', "actuators.tilt.speed: its unit is that of a rotary drive"),
        ('stroke = "1.0 m"\n', "", "actuators.tilt.stroke: this key is missing"),
        ("counts_per_mm = 40", "counts_per_mm = 40\ngear = 3", 'gear: kind = "linear" makes no use'),
        ('"0.55 m"', '"2.2 m"', "actuators.tilt.retracted_length: an actuator of 2.2 to 3.2 m closes no triangle"),
        ('speed = "8 mm/s"', 'speed = "8 mm"', 'has the unit "mm", which is none for this speed'),
        ("counts_per_mm = 40", "counts_per_mm = 40\nduty_cycl = 0.1", "did you mean actuators.tilt.duty_cycle"),
        ("counts_per_mm = 40", 'counts_per_mm = 40\nhome = "200 deg"', "actuators.tilt.home: the drive does not reach"),
    ],
)
def test_wrong_actuators_say_what_to_write(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(InputError) as error:
        scene_with(tmp_path, LINEAR.replace(old, new))
    assert message in str(error.value)


def test_a_mount_without_that_axis_is_told(tmp_path: Path) -> None:
    text = SIMPLE_SCENE.replace('kind = "swivel-tilt"', 'kind = "tilt"\nfacing = "180 deg"') + ROTARY
    path = tmp_path / "wrong.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r'actuators.swivel: a mount of kind = "tilt" has no swivel'):
        read_scene(path)
