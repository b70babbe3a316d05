"""Reads a scene file: from a path to site, sky, mount and scene, checked, with every default named."""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from raytrace.lens import grooves_of
from raytrace.optics.spectrum import direct_spectrum
from raytrace.scene import RowPose, Scene
from tracking.actuator import Actuators
from tracking.boiler import Boiler
from tracking.costs import Costs
from tracking.errors import InputError
from tracking.mount import Mount, row_pose
from tracking.scenefile.actuators import read_actuators
from tracking.scenefile.boiler import BoilerTable
from tracking.scenefile.check import ProblemsError, checked_tables, fields_of, subtables
from tracking.scenefile.clearance import gaps
from tracking.scenefile.problems import Problem, input_error
from tracking.scenefile.schema import SceneTables
from tracking.scenefile.table import Table
from tracking.scenefile.units import shown
from tracking.sky.site import Site
from tracking.sky.weather import Sky
from tracking.surroundings import Surrounding

LARGEST_FILE = 1_000_000
"""Bytes of a scene file; a real one has a few thousand."""

BYTE_ORDER_MARK = b"\xef\xbb\xbf"

TILT_STEP = 1.0
"""Step of the tilts at which tubes and sheet are checked against each other [deg]."""

NO_ACTUATORS = Actuators()

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True, slots=True)
class SceneValue:
    """A key of the file (dotted), its value as written, and whether it is a default."""

    key: str
    text: str
    from_default: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class SceneFile:
    """What a scene file says: the parts, every value with its origin, and notes that a reader should see.

    `boiler_values` are those of the boiler, apart as only the commands that boil need to show them; a file without
    [boiler] has a boiler of defaults.
    """

    path: Path
    site: Site
    sky: Sky
    mount: Mount
    scene: Scene
    boiler: Boiler
    values: tuple[SceneValue, ...]
    notes: tuple[str, ...]
    boiler_values: tuple[SceneValue, ...]
    actuators: Actuators = NO_ACTUATORS
    costs: Costs | None = None
    surroundings: tuple[Surrounding, ...] = ()


def read_scene(path: str | Path) -> SceneFile:
    """Read and check a scene file.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, or says something that is not allowed; all problems in one message.
    """
    path = Path(path)
    raw = _raw(path)
    try:
        tables = checked_tables(raw)
        return _scene_file(path, raw, tables)
    except ProblemsError as error:
        raise input_error(path, error.problems) from None


def _raw(path: Path) -> dict[str, Any]:
    """The keys of a TOML file, unchecked."""
    wanted = "Allowed: a text file in TOML, encoded in UTF-8 without a byte order mark."
    try:
        if not path.is_file():
            what = (
                "this is a folder" if path.is_dir() else "this is no file" if path.exists() else "there is no such file"
            )
            raise InputError(file=str(path), problem=what, allowed="Allowed: the path of a scene file.")
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a path with a zero byte
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(file=str(path), problem=f"this file cannot be read: {reason}") from None
    if len(content) > LARGEST_FILE:
        raise InputError(
            file=str(path),
            problem="this file is too large for a scene",
            allowed=f"Allowed: at most {LARGEST_FILE} bytes.",
        )
    if content.startswith(BYTE_ORDER_MARK):
        raise InputError(file=str(path), problem="this file begins with a byte order mark", allowed=wanted)
    try:
        return tomllib.loads(content.decode("utf-8"))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        problem = f"this file is not in UTF-8: the byte 0x{content[error.start]:02x} in line {line} is none"
        raise InputError(file=str(path), problem=problem, allowed=wanted) from None
    except (ValueError, RecursionError) as error:  # tomllib's own error is a ValueError, as is a number of 5000 digits
        raise InputError(file=str(path), problem=f"this is not TOML: {_short(error)}", allowed=wanted) from None


def _short(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "tables within tables without end"
    return str(error).splitlines()[0]


def _scene_file(path: Path, raw: Mapping[str, Any], tables: SceneTables) -> SceneFile:
    problems: list[Problem] = []

    def made(make: Callable[[], T]) -> T | None:
        try:
            return make()
        except ValueError as error:
            problems.append(_problem_of(error))
            return None

    site = made(tables.site.site)
    sky = made(lambda: tables.sky.sky(path.parent))
    sun = made(tables.sky.sun)
    lens = made(tables.lens.lens)
    tubes = made(tables.tubes.tubes)
    mount = made(lambda: tables.mount.mount(tables.site.latitude))
    if lens is not None:
        made(lambda: grooves_of(lens))
    if sky is not None and sky.file is not None and not Path(sky.file).is_file():
        problems.append(
            Problem(key="sky.file", problem=f"there is no file {sky.file}", allowed="a path seen from the scene file")
        )
    scene = None
    if lens is not None and tubes is not None and sun is not None:
        scene = made(
            lambda: Scene(
                lens=lens,
                tubes=tubes,
                sun=sun,
                lens_height=tables.mount.lens_height,
                aiming_error=tables.mount.aiming_error,
            )
        )
    if scene is not None and mount is not None:
        problems.extend(_collisions(scene, mount))
    drives = None if tables.actuators is None or mount is None else read_actuators(tables.actuators, mount)
    if drives is not None:
        problems.extend(drives.problems)
    if problems or site is None or sky is None or mount is None or scene is None:
        raise ProblemsError(tuple(problems))
    boiler_table = tables.boiler or BoilerTable()
    return SceneFile(
        path=path,
        site=site,
        sky=sky,
        mount=mount,
        scene=scene,
        boiler=boiler_table.boiler(scene.tubes),
        boiler_values=tuple(_values(raw.get("boiler", {}), boiler_table, "boiler.")),
        values=tuple(each for each in _values(raw, tables, "") if not each.key.startswith("boiler")),
        notes=(
            *(note for _, table in subtables(tables) for note in table.notes()),
            *(() if drives is None else drives.notes),
            *_material_notes(scene),
        ),
        actuators=NO_ACTUATORS if drives is None else drives.actuators,
        costs=None if tables.costs is None else tables.costs.costs(),
        surroundings=tuple(table.surrounding() for table in tables.surroundings),
    )


TABLE_OF = {
    "Site": "site",
    "Sky": "sky",
    "SunOptics": "sky",
    "Lens": "lens",
    "Tubes": "tubes",
    "Envelope": "tubes.envelope",
    "Mount": "mount",
    "Scene": "mount",
}
"""In which table the fields of each class stand."""

GOING_TOGETHER = "values that go together"


def _problem_of(error: ValueError) -> Problem:
    """The problem that a class's own check has found, with the class's field as the file's key."""
    text = str(error)
    match = re.match(r"(\w+)\.(\w+):? +", text)
    if match is None or match[1] not in TABLE_OF:
        return Problem(key="scene", problem=text.rstrip("."), allowed=GOING_TOGETHER)
    problem, _, allowed = text[match.end() :].rstrip(".").partition(" Allowed: ")
    if not allowed:
        problem, allowed = _parted(problem)
    return Problem(key=f"{TABLE_OF[match[1]]}.{match[2]}", problem=problem.rstrip("."), allowed=allowed)


def _parted(text: str) -> tuple[str, str]:
    """What is wrong and what is allowed, of "must be so, got this"."""
    must, comma, got = text.partition(", got ")
    if not comma:
        return text, GOING_TOGETHER
    if must.startswith("must be "):
        return f"got {got}", must.removeprefix("must be ")
    return f"got {got}", f"it {must}" if must.startswith("must ") else must


def _collisions(scene: Scene, mount: Mount) -> Iterator[Problem]:
    """The tilts at which a tube meets the sheet: possible only where the row does not tilt with the lens."""
    if mount.row_turns_with == "lens":
        return  # the row lies level below the sheet, and Scene has checked its height
    low, high = mount.tilt_limits
    angles = np.linspace(low, high, 1 + int(np.ceil((high - low) / TILT_STEP)))
    poses: list[RowPose] = [row_pose(mount, float(tilt), scene.tubes.angle_to_grooves) for tilt in angles]
    hit = angles[gaps(scene, poses) <= 0.0]
    if not len(hit):
        return
    nearest_hit = hit[np.argmin(np.abs(hit))]
    yield Problem(
        key="mount.lens_height",
        problem=(
            f"tubes {scene.tubes.length:g} m long stick through the lens at a tilt of {nearest_hit:.3g} deg, as the "
            'row does not tilt with it (row_turns_with = "base")'
        ),
        allowed='a greater lens_height, a narrower tilt_range, shorter tubes or row, or row_turns_with = "lens"',
    )


def _material_notes(scene: Scene) -> tuple[str, ...]:
    """What the sources of the materials leave open, for the light that the scene lets in; each note once."""
    envelope = scene.tubes.envelope
    materials = [scene.lens.material, *([] if envelope is None else [envelope.material])]
    if scene.sun.wavelength is None:
        wavelength, _ = direct_spectrum()
        low, high = float(wavelength[0]), float(wavelength[-1])
    else:
        low = high = scene.sun.wavelength
    notes: dict[str, None] = {}
    for material in materials:
        notes |= dict.fromkeys(f"{material.name}: {note}" for note in material.notes)
        notes |= dict.fromkeys(material.range_notes(low, high))
    return tuple(notes)


def _values(raw: Mapping[str, Any], table: Table, prefix: str) -> Iterator[SceneValue]:
    for key, name in fields_of(type(table)).items():
        inner = getattr(table, name)
        if isinstance(inner, Table):
            yield from _values(raw.get(key, {}), inner, f"{prefix}{key}.")
        elif isinstance(inner, tuple) and inner and isinstance(inner[0], Table):
            for number, (each, table_of_list) in enumerate(zip(raw[key], inner, strict=True), start=1):
                yield from _values(each, table_of_list, f"{prefix}{key}.{number}.")
        elif key in raw:
            yield SceneValue(key=f"{prefix}{key}", text=shown(raw[key]), from_default=False)
        else:
            text = table.default_text(name)
            if text is not None:
                yield SceneValue(key=f"{prefix}{key}", text=text, from_default=True)
