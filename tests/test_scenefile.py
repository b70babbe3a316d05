"""The scene file: what is read from it, and what its messages say."""

import copy
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from raytrace.optics.materials import MATERIALS
from raytrace.scene import Lens, RowPose, Scene, SunOptics, Tubes
from tracking.errors import InputError
from tracking.scenefile import SceneFile, read_scene, starter_text, write_starter
from tracking.scenefile.check import fields_of, table_of
from tracking.scenefile.clearance import gaps
from tracking.scenefile.schema import SceneTables
from tracking.scenefile.table import Table

SCENES = sorted((Path(__file__).parent.parent / "scenes").glob("*.toml"))
TROPIC = 23.44
"""Latitude of the tropics [deg]: the obliquity of the ecliptic, IAU 1976: 23 deg 26' 21.4" (value from memory)."""

LEAST: dict[str, Any] = {
    "schema": 1,
    "site": {"latitude": "10 deg", "longitude": "20 deg", "timezone": "UTC"},
    "lens": {"width": "600 mm", "length": "900 mm", "focal_length": "800 mm", "grooves_toward": "tubes"},
    "tubes": {"count": 1, "length": "1 m", "absorber_diameter": "47 mm"},
    "mount": {"kind": "swivel-tilt", "lens_height": "800 mm"},
}
"""The shortest scene: all that is required, nothing else. Invented numbers."""

DROP = ...  # stands for "without this key"; printed alike in each process that runs the tests
"""Stands for a key that is taken away."""


def toml_value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml_value(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(each) for each in value) + "]"
    return str(value)


def toml_text(keys: Mapping[str, Any]) -> str:
    return "\n".join(f"{key} = {toml_value(value)}" for key, value in keys.items()) + "\n"


def changed(changes: Mapping[str, Any]) -> dict[str, Any]:
    """The shortest scene with keys (dotted) set or taken away."""
    keys = copy.deepcopy(LEAST)
    for dotted, value in changes.items():
        *parents, key = dotted.split(".")
        table = keys
        for parent in parents:
            table = table.setdefault(parent, {})
        if value is DROP:
            del table[key]
        else:
            table[key] = value
    return keys


def read(folder: Path, changes: Mapping[str, Any] | None = None) -> SceneFile:
    path = folder / "boiler.toml"
    path.write_text(toml_text(changed(changes or {})), encoding="utf-8")
    return read_scene(path)


def refusal(folder: Path, changes: Mapping[str, Any]) -> InputError:
    with pytest.raises(InputError) as caught:
        read(folder, changes)
    assert caught.value.file == str(folder / "boiler.toml")
    assert str(caught.value).startswith(f"{caught.value.file}: {caught.value.key}: {caught.value.problem}")
    assert "Allowed: " in str(caught.value)
    return caught.value


def own_notes(scene_file: SceneFile) -> list[str]:
    """The notes that are not about what the sources of a material leave open."""
    return [note for note in scene_file.notes if not note.startswith(tuple(f"{name}: " for name in MATERIALS))]


def test_least_scene_and_its_defaults(tmp_path: Path) -> None:
    scene_file = read(tmp_path)
    lens, tubes, mount = scene_file.scene.lens, scene_file.scene.tubes, scene_file.mount
    assert (lens.width, lens.length, lens.focal_length) == (0.6, 0.9, 0.8)
    assert (lens.thickness, lens.groove_pitch, lens.draft_angle, lens.slope_error) == (0.003, 0.0005, 2.0, 1.0)
    assert (lens.sag, lens.transmittance_factor, lens.cut_for, lens.design_wavelength) == (0.0, 1.0, "tubes", 587.6)
    assert lens.material == MATERIALS["PMMA"]
    assert (tubes.count, tubes.angle_to_grooves, tubes.absorptance, tubes.envelope) == (1, 0.0, 0.94, None)
    assert (mount.grooves, mount.row_turns_with, mount.tilt_limits, mount.swivel_limits) == (
        "level",
        "lens",
        (0.0, 90.0),
        None,
    )
    assert (scene_file.scene.lens_height, scene_file.scene.aiming_error) == (0.8, 0.0)
    assert (scene_file.sky.source, scene_file.sky.dni) == ("clear", None)
    assert scene_file.scene.sun == SunOptics()
    assert not own_notes(scene_file)


def test_every_value_is_listed_with_its_origin(tmp_path: Path) -> None:
    values = {value.key: value for value in read(tmp_path, {"lens.sag": "5 mm", "mount.tilt_marks": "5 deg"}).values}
    assert (values["lens.sag"].text, values["lens.sag"].from_default) == ('"5 mm"', False)
    assert (values["lens.width"].text, values["lens.width"].from_default) == ('"600 mm"', False)
    assert (values["lens.draft_angle"].text, values["lens.draft_angle"].from_default) == ('"2 deg"', True)
    assert values["lens.cut_for"].text == '"tubes", as grooves_toward'
    assert values["tubes.envelope"].text == "none: bare tubes"
    assert values["mount.tilt_range"].text == '["0 deg", "90 deg"]'
    assert values["mount.swivel_range"].text == "unlimited"
    assert values["schema"].text == "1"
    for not_of_this_scene in ("mount.facing", "mount.tilt", "tubes.spacing", "sky.file", "sky.dni"):
        assert not_of_this_scene not in values


def test_what_is_written_arrives_in_the_units_of_the_parts(tmp_path: Path) -> None:
    scene_file = read(
        tmp_path,
        {
            "site.altitude": "1000 ft",
            "sky.circumsolar_ratio": 0.05,
            "lens.material": {"index": 1.5, "absorption": "0.05 1/cm"},
            "lens.slope_error": "0.1 deg",
            "tubes.count": 3,
            "tubes.spacing": "3 in",
            "tubes.absorptance_angles": [["0 deg", 1], ["60 deg", 0.95]],
            "tubes.envelope": {"outer_diameter": "58 mm", "index": 1.47, "absorption": "4 1/m"},
            "mount.kind": "polar",
            "mount.swivel_range": ["300 deg", "60 deg"],
            "mount.swivel_marks": ["-15 deg", "0 deg", "15 deg"],
            "mount.aiming_error": "3 mrad",
        },
    )
    scene = scene_file.scene
    assert scene_file.site.altitude == 304.8
    assert scene.lens.slope_error == pytest.approx(1000.0 * math.radians(0.1), rel=1e-15)
    assert float(scene.lens.material.refractive_index(500.0)) == 1.5
    assert float(scene.lens.material.absorption_coefficient(500.0)) == 5.0
    assert scene.tubes.spacing == 0.0762
    assert scene.tubes.absorptance_angles == ((0.0, 1.0), (60.0, 0.95))
    assert scene.tubes.envelope is not None
    assert float(scene.tubes.envelope.material.refractive_index(500.0)) == 1.47
    assert scene_file.mount.swivel_limits == (300.0, 420.0)
    assert scene_file.mount.swivel_marks == (-15.0, 0.0, 15.0)
    assert scene_file.mount.latitude == 10.0
    assert (scene.sun.circumsolar_ratio, scene.aiming_error) == (0.05, 3.0)


GLASS = {"outer_diameter": "58 mm"}

WRONG: list[tuple[dict[str, Any], str, str, str]] = [
    # changes, key, what is wrong, what is allowed (parts of the message)
    ({"lens.width": 0.6}, "lens.width", "0.6 is a bare number", "a length from 20 mm to 5 m, written as number, one"),
    ({"lens.width": "0,6 m"}, "lens.width", "write 0.6, not 0,6", "from 20 mm to 5 m"),
    ({"lens.width": "600 deg"}, "lens.width", 'the unit "deg"', "mm, cm, m, um, in or ft"),
    ({"lens.width": "nan m"}, "lens.width", "not a number", "from 20 mm to 5 m"),
    ({"lens.width": "6 m"}, "lens.width", '"6 m" is too large', "from 20 mm to 5 m"),
    ({"lens.width": [1]}, "lens.width", "[1] is no length", "from 20 mm to 5 m"),
    ({"lens.width": DROP}, "lens.width", "this key is missing", "from 20 mm to 5 m"),
    ({"lens.grooves_toward": DROP}, "lens.grooves_toward", "this key is missing", '"tubes" or "sun"'),
    ({"lens.grooves_toward": "tube"}, "lens.grooves_toward", 'did you mean "tubes"?', '"tubes" or "sun"'),
    ({"lens.widht": "600 mm"}, "lens.widht", "this key is not known: did you mean lens.width?", "the keys of [lens]:"),
    ({"lens.lens_height": "1 m"}, "lens.lens_height", "did you mean mount.lens_height?", "the keys of [lens]:"),
    ({"lens.zzz": 1}, "lens.zzz", "this key is not known", "the keys of [lens]: width, length, focal_length,"),
    ({"tube": {"count": 1}}, "tube", "this table is not known: did you mean tubes?", "schema, site, sky, lens, tubes"),
    ({"lens": DROP}, "lens", "this table is missing", "begins with [lens] and has at least the keys width, length"),
    ({"lens": 3}, "lens", "this is a number, not a table", "one table that begins with [lens]"),
    ({"lens": [{"width": "1 m"}]}, "lens", "an array of tables, not a table", "one table that begins with [lens]"),
    ({"tubes.envelope": "glass"}, "tubes.envelope", "a text, not a table", "begins with [tubes.envelope]"),
    ({"schema": DROP}, "schema", "this key is missing", "schema = 1"),
    ({"schema": 2}, "schema", "2 is no version", "schema = 1"),
    ({"schema": True}, "schema", "true is no version", "schema = 1"),
    ({"site.latitude": "95 deg"}, "site.latitude", '"95 deg" is too large', "an angle from -90 deg to 90 deg"),
    ({"site.timezone": "Europe/Berln"}, "site.timezone", 'did you mean "Europe/Berlin"?', "IANA time zone database"),
    ({"site.timezone": "America"}, "site.timezone", '"America" is no known time zone', "IANA time zone database"),
    ({"site.timezone": "../etc/passwd"}, "site.timezone", "is no known time zone", "IANA time zone database"),
    ({"site.timezone": 3}, "site.timezone", "3 is no known time zone", "IANA time zone database"),
    ({"site.name": ""}, "site.name", '"" is no such text', "the name of the place"),
    ({"sky.source": "constant"}, "sky.dni", 'source = "constant" needs it', 'dni = "850 W/m^2"'),
    ({"sky.source": "file"}, "sky.file", 'source = "file" needs it', "EPW, TMY3, TMY2 or CSV"),
    ({"sky.source": "file", "sky.file": "no.epw"}, "sky.file", "there is no file", "seen from the scene file"),
    ({"sky.file": "no.epw"}, "sky.file", "makes no use of this key", 'source = "file"'),
    ({"sky.source": "constant", "sky.dni": "850 W/m^2", "sky.turbidity": 3}, "sky.turbidity", "makes no use", "clear"),
    ({"sky.dni": "850 W"}, "sky.dni", 'the unit "W"', "W/m^2 or kW/m^2"),
    (
        {"sky.sunshape": "point", "sky.circumsolar_ratio": 0.1},
        "sky.circumsolar_ratio",
        "no light around the disc",
        "limb-darkened",
    ),
    ({"lens.transmittance_factor": "0.9"}, "lens.transmittance_factor", "write it without quotes", "from 0 to 1"),
    ({"lens.transmittance_factor": math.nan}, "lens.transmittance_factor", "nan is not a finite number", "from 0 to 1"),
    ({"lens.transmittance_factor": math.inf}, "lens.transmittance_factor", "inf is not a finite number", "from 0 to 1"),
    ({"lens.material": "pmma"}, "lens.material", 'did you mean "PMMA"?', '"polycarbonate"'),
    ({"lens.material": 1.49}, "lens.material", "1.49 is neither a name nor a table", "index = 1.49"),
    (
        {"lens.material": {"index": 1.49}},
        "lens.material.absorption",
        "this key is missing",
        "an absorption coefficient",
    ),
    (
        {"lens.material": {"index": 2.5, "absorption": "0 1/m"}},
        "lens.material.index",
        "2.5 is too large",
        "a plain number from 1.3 to 2",
    ),
    (
        {"lens.material": {"indx": 1.5, "absorption": "0 1/m"}},
        "lens.material.indx",
        "did you mean index?",
        "index and absorption",
    ),
    ({"lens.focal_length": "200 mm"}, "lens.focal_length", "too short", "a focal length above"),
    ({"lens.groove_pitch": "15 mm", "lens.thickness": "1 mm"}, "lens.groove_pitch", "deep", "a smaller pitch"),
    ({"tubes.count": 0}, "tubes.count", "0 is too small", "a whole number from 1 to 200"),
    ({"tubes.count": 2.0}, "tubes.count", "2.0 is no whole number", "a whole number from 1 to 200"),
    ({"tubes.count": True}, "tubes.count", "true is no plain number", "a whole number from 1 to 200"),
    ({"tubes.count": 3}, "tubes.spacing", "a row of 3 tubes needs", "outer diameter"),
    ({"tubes.count": 2, "tubes.spacing": "40 mm"}, "tubes.spacing", "they would overlap", "outer diameter of a tube"),
    ({"tubes.count": 2, "tubes.spacing": "50 mm", "tubes.envelope": GLASS}, "tubes.spacing", "overlap", "58 mm"),
    (
        {"tubes.envelope": {"outer_diameter": "48 mm"}},
        "tubes.envelope",
        "inner diameter must not be less",
        "47 mm",
    ),
    (
        {"tubes.envelope": {**GLASS, "index": 1.47}},
        "tubes.envelope.absorption",
        "index needs it",
        "an absorption coefficient",
    ),
    (
        {"tubes.envelope": {**GLASS, "index": 1.47, "absorption": "4 1/m", "material": "borosilicate"}},
        "tubes.envelope.material",
        "speak of the same thing",
        "either material, or index and absorption",
    ),
    ({"tubes.envelope": {}}, "tubes.envelope.outer_diameter", "this key is missing", "a length from 1 mm"),
    ({"tubes.absorptance_angles": [["0 deg"]]}, "tubes.absorptance_angles", "is no pair", "a list of pairs"),
    ({"tubes.absorptance_angles": [["0 deg", "1"]]}, "tubes.absorptance_angles", "no plain number", "a list of pairs"),
    ({"tubes.absorptance_angles": [["9 deg", 1], ["3 deg", 1]]}, "tubes.absorptance_angles", "must rise", "90 deg"),
    ({"mount.lens_height": "20 mm"}, "mount.lens_height", "stick through the lens", "leave room for the tubes"),
    ({"mount.kind": "tilt"}, "mount.facing", 'kind = "tilt" needs it', "an angle from -360 deg"),
    ({"mount.kind": "fixed", "mount.facing": "0 deg"}, "mount.tilt", 'kind = "fixed" needs it', "from -90 deg"),
    ({"mount.facing": "180 deg"}, "mount.facing", "makes no use of this key", 'kind = "tilt" or "fixed"'),
    (
        {"mount.kind": "tilt", "mount.facing": "0 deg", "mount.swivel_range": ["0 deg", "90 deg"]},
        "mount.swivel_range",
        "makes no use of this key",
        '"swivel-tilt" or "polar"',
    ),
    ({"mount.tilt_range": ["0 deg"]}, "mount.tilt_range", "no list of two angles", '["-30 deg", "80 deg"]'),
    ({"mount.tilt_range": ["60 deg", "0 deg"]}, "mount.tilt_range", "does not rise", "from -90 deg to 90 deg"),
    ({"mount.tilt_range": ["0 deg", "95 deg"]}, "mount.tilt_range", '"95 deg" is too large', "-90 deg to 90 deg"),
    ({"mount.swivel_range": ["90 deg", "90 deg"]}, "mount.swivel_range", "leaves no room", '["90 deg", "450 deg"]'),
    ({"mount.tilt_marks": "0 deg"}, "mount.tilt_marks", '"0 deg" is too small', "the step between marks"),
    ({"mount.tilt_marks": []}, "mount.tilt_marks", "[] is no list of rising angles", "the step between marks"),
    ({"mount.tilt_marks": 5}, "mount.tilt_marks", "5 is a bare number", "the step between marks"),
    ({"mount.tilt_marks": ["-5 deg", "5 deg"]}, "mount.tilt_marks", "-5 deg cannot be reached", "0 deg to 90 deg"),
    (
        {"mount.tilt_range": ["1 deg", "4 deg"], "mount.tilt_marks": "5 deg"},
        "mount.tilt_marks",
        "each multiple of 5 deg cannot be reached",
        "1 deg to 4 deg",
    ),
    (
        {"mount.swivel_range": ["90 deg", "270 deg"], "mount.swivel_marks": ["0 deg", "80 deg", "300 deg"]},
        "mount.swivel_marks",
        "none of the marks can be reached",
        "90 deg to 270 deg, whole turns aside",
    ),
    (
        {"mount.row_turns_with": "base", "tubes.angle_to_grooves": "90 deg", "tubes.length": "2 m"},
        "mount.lens_height",
        "stick through the lens at a tilt of",
        "a narrower tilt_range",
    ),
]


@pytest.mark.parametrize(("changes", "key", "problem", "allowed"), WRONG, ids=lambda value: str(value)[:40])
def test_refusals(tmp_path: Path, changes: dict[str, Any], key: str, problem: str, allowed: str) -> None:
    error = refusal(tmp_path, changes)
    message = str(error)
    assert error.key == key
    assert problem in message
    assert allowed in message
    assert "\n" not in message


def test_all_problems_of_a_file_in_one_message(tmp_path: Path) -> None:
    error = refusal(tmp_path, {"lens.width": 0.6, "lens.lenght": "1 m", "tubes.count": 0})
    assert error.key == "lens.width"
    assert [line.split(":")[0] for line in str(error).splitlines()[1:]] == ["Also lens.lenght", "Also tubes.count"]


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"\xef\xbb\xbfschema = 1\n", "begins with a byte order mark"),
        ('schema = 1\nname = "Ñ"\n'.encode("latin-1"), "is not in UTF-8: the byte 0xd1 in line 2"),
        ("schema = 1\n".encode("utf-16"), "is not in UTF-8"),
        (b"schema = \n", "this is not TOML: Invalid value (at line 1, column 10)"),
        (b"schema = 1\nschema = 1\n", "this is not TOML: Cannot overwrite a value"),
        (b"schema = " + b"1" * 5000 + b"\n", "this is not TOML"),
        (b"schema = " + b"[" * 100_000, "this is not TOML"),
        (b"#" * 1_000_001, "too large for a scene"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_files_that_are_no_scenes(tmp_path: Path, content: bytes, problem: str) -> None:
    path = tmp_path / "boiler.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_scene(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert problem in str(caught.value)


def test_values_nested_without_end(tmp_path: Path) -> None:
    path = tmp_path / "boiler.toml"
    for depth in (10, 100, 400, 900):  # the parser itself gives up somewhere on the way
        path.write_text("schema = " + "[" * depth + "]" * depth + "\n", encoding="utf-8")
        with pytest.raises(InputError):
            read_scene(path)


def test_an_empty_file_lacks_all_that_is_required(tmp_path: Path) -> None:
    path = tmp_path / "boiler.toml"
    path.touch()
    with pytest.raises(InputError, match="schema: this key is missing") as caught:
        read_scene(path)
    assert all(
        f"Also {table}: this table is missing" in str(caught.value) for table in ("site", "lens", "tubes", "mount")
    )


@pytest.mark.parametrize(
    ("name", "problem"),
    [
        ("none.toml", "there is no such file"),
        (".", "this is a folder"),
        ("a\0b", "no such file|cannot be read"),
        ("x" * 999, "read"),
    ],
)
def test_paths_that_lead_to_no_scene(tmp_path: Path, name: str, problem: str) -> None:
    with pytest.raises(InputError, match=problem):
        read_scene(tmp_path / name)


def test_a_weather_file_is_seen_from_the_scene_file(tmp_path: Path) -> None:
    (tmp_path / "weather").mkdir()
    (tmp_path / "weather" / "year.epw").touch()
    scene_file = read(tmp_path, {"sky.source": "file", "sky.file": "weather/year.epw"})
    assert Path(str(scene_file.sky.file)) == tmp_path / "weather" / "year.epw"


@pytest.mark.parametrize(
    ("changes", "note"),
    [
        ({"lens.cut_for": "sun"}, "The sheet is mounted the wrong way round"),
        ({}, "PMMA: the refractive index is known from 420 to 1620 nm"),
        ({"lens.material": "silicone"}, "silicone: One slab of silicone: a carrier of glass"),
        ({"tubes.spacing": "75 mm"}, "tubes.spacing is without effect"),
        ({"mount.kind": "tilt", "mount.facing": "90 deg"}, "mount.tilt_range is left at its default"),
        (
            {"lens.design_wavelength": "550 nm", "lens.material": {"index": 1.49, "absorption": "0 1/m"}},
            "lens.design_wavelength is without effect",
        ),
    ],
)
def test_notes(tmp_path: Path, changes: dict[str, Any], note: str) -> None:
    assert note in " ".join(read(tmp_path, changes).notes)


def test_notes_of_materials_are_about_the_light_of_the_scene(tmp_path: Path) -> None:
    green = read(tmp_path, {"sky.wavelength": "550 nm"})
    assert not any("is known from" in note for note in green.notes)
    assert len(set(green.notes)) == len(green.notes)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_value_is_read_or_refused(tmp_path: Path, data: st.DataObject) -> None:
    """Whatever stands at a key, the answer is a scene or one message."""
    key = data.draw(st.sampled_from(list(all_keys(SceneTables))))
    simple = st.one_of(
        st.booleans(),
        st.integers(-(10**19), 10**19),
        st.floats(),
        st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=12),
        st.sampled_from(["0 deg", "5 deg", "1 m", "0 mm", "45 mm", "3 mrad", "600 nm", "5 1/m", "1 W/m^2", "clear"]),
    )
    value = data.draw(
        st.one_of(simple, st.lists(simple, max_size=3), st.lists(st.lists(simple, max_size=2), max_size=2))
    )
    try:
        read(tmp_path, {"tubes.envelope": {"outer_diameter": "58 mm"}, key: value})
    except InputError as error:
        assert "Allowed: " in str(error)  # noqa: PT017  both outcomes are right


def all_keys(table: type[Table], prefix: str = "") -> list[str]:
    keys = []
    for key in fields_of(table):
        inner = table_of(table, key)
        keys += [f"{prefix}{key}"] if inner is None else all_keys(inner, f"{prefix}{key}.")
    return keys


def least_gap_by_sampling(scene: Scene, pose: RowPose) -> float:
    """The slow twin: points along each axis, each with its distance to a box, one by one."""
    lens, tubes = scene.lens, scene.tubes
    best = math.inf
    for k in range(tubes.count):
        across = (k - 0.5 * (tubes.count - 1)) * tubes.spacing
        for along in np.linspace(-0.5 * tubes.length, 0.5 * tubes.length, 2001):
            x, y, z = (across * r + along * t for r, t in zip(pose.row, pose.tube, strict=True))
            z -= scene.lens_height
            aside_x, aside_y = max(0.0, abs(x) - 0.5 * lens.width), max(0.0, abs(y) - 0.5 * lens.length)
            below, above = max(0.0, -lens.sag - z), max(0.0, z - lens.thickness)
            best = min(best, math.hypot(aside_x, aside_y, below, above))
    return best - 0.5 * tubes.outer_diameter


@pytest.mark.parametrize("tilt", [0.0, 20.0, 50.0, 65.0, 80.0, -75.0])
@pytest.mark.parametrize("turn", [0.0, 30.0, 90.0])
def test_gap_between_tubes_and_sheet(tilt: float, turn: float) -> None:
    lens = Lens(width=0.6, length=0.9, focal_length=0.8, grooves_toward="tubes", cut_for="tubes", sag=0.01)
    tubes = Tubes(count=4, spacing=0.3, length=1.6, absorber_diameter=0.05, angle_to_grooves=turn)
    scene = Scene(lens=lens, tubes=tubes, sun=SunOptics(), lens_height=0.6)
    w, t = math.radians(turn), math.radians(tilt)
    row = (math.cos(t) * math.cos(w), math.sin(w), math.sin(t) * math.cos(w))
    tube = (-math.cos(t) * math.sin(w), math.cos(w), -math.sin(t) * math.sin(w))
    pose = RowPose(row=row, tube=tube)
    (gap,) = gaps(scene, [pose])
    # Half a step of the slow twin's points along the tube is 0.4 mm; it can only be too large.
    assert 0.0 <= least_gap_by_sampling(scene, pose) - gap + 1e-9 < 4e-4
    if tilt == 0.0:
        assert gap == pytest.approx(0.6 - 0.01 - 0.025, abs=1e-9)


def test_tubes_that_do_not_tilt_are_let_through_where_they_keep_clear(tmp_path: Path) -> None:
    changes = {"mount.row_turns_with": "base", "tubes.angle_to_grooves": "90 deg", "tubes.length": "2 m"}
    assert read(tmp_path, {**changes, "mount.tilt_range": ["-45 deg", "45 deg"]}).mount.row_turns_with == "base"


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_shipped_scenes_are_read_and_say_that_they_are_invented(path: Path) -> None:
    scene_file = read_scene(path)
    assert "our own invention" in path.read_text(encoding="utf-8").split("schema")[0]
    assert scene_file.site.name.endswith("(invented)")
    assert not own_notes(scene_file)


def test_shipped_scenes_differ() -> None:
    scenes = [read_scene(path) for path in SCENES]
    latitudes = sorted(each.site.latitude for each in scenes)
    assert latitudes[0] < -TROPIC
    assert -TROPIC < latitudes[1] < TROPIC
    assert latitudes[2] > 45.0
    assert len({each.mount.kind for each in scenes}) == len(scenes) == 3
    assert {each.mount.grooves for each in scenes} == {"level", "upslope"}
    assert {each.mount.row_turns_with for each in scenes} == {"lens", "base"}
    assert {each.scene.lens.grooves_toward for each in scenes} == {"tubes", "sun"}
    assert {each.scene.tubes.angle_to_grooves for each in scenes} == {0.0, 90.0}
    assert {each.scene.tubes.envelope is None for each in scenes} == {True, False}
    assert all(each.mount.tilt_marks is not None for each in scenes)


def test_starter_is_a_scene_that_names_every_key(tmp_path: Path) -> None:
    path = tmp_path / "my-boiler.toml"
    write_starter(path)
    assert path.read_text(encoding="utf-8") == starter_text()
    assert not list(tmp_path.glob(".*"))
    scene_file = read_scene(path)
    assert not own_notes(scene_file)
    # With every # taken away from before a key the file names all keys there are.
    lines = [
        line.removeprefix("# ") if is_key(line.removeprefix("# ")) else line for line in starter_text().splitlines()
    ]
    named = tomllib.loads("\n".join(lines))
    for dotted in all_keys(SceneTables):
        found: Any = named
        for part in dotted.split("."):
            assert part in found, dotted
            found = found[part][0] if isinstance(found[part], list) and dotted.startswith(part) else found[part]


def is_key(line: str) -> bool:
    word, _, rest = line.partition(" = ")
    return line.startswith("[") or (bool(rest) and word.replace("_", "").isalpha())


def test_starter_shows_the_defaults_that_hold(tmp_path: Path) -> None:
    path = tmp_path / "my-boiler.toml"
    write_starter(path)
    text = starter_text()
    for value in read_scene(path).values:
        written = value.text.startswith(('"', "[")) or value.text[0].isdigit()
        if value.from_default and written and ", as" not in value.text:
            assert f"# {value.key.rpartition('.')[2]} = {value.text}" in text


def test_starter_does_not_write_over_a_file_unless_told_to(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("precious", encoding="utf-8")
    with pytest.raises(InputError, match="there is a file of this name already"):
        write_starter(path)
    assert path.read_text(encoding="utf-8") == "precious"
    write_starter(path, force=True)
    assert path.read_text(encoding="utf-8") == starter_text()


@pytest.mark.parametrize("name", ["", "none/mine.toml", "a\0b", "x" * 999])
def test_starter_in_a_place_where_none_can_be(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError):
        write_starter(tmp_path / name)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"tubes.count": 2, "tubes.spacing": "40 mm"},
            "got 40 mm for tubes of 47 mm: they would overlap. Allowed: at least the outer diameter of a tube.",
        ),
        (
            {"mount.lens_height": "20 mm"},
            "they would stick through the lens. Allowed: it must leave room for the tubes.",
        ),
    ],
)
def test_what_is_wrong_and_what_is_allowed_are_told_apart(
    tmp_path: Path, changes: dict[str, Any], message: str
) -> None:
    assert str(refusal(tmp_path, changes)).endswith(message)
