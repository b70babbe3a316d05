"""What all tests share: hypothesis without a deadline, the scenes, and the command run as a user runs it."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import hypothesis
import numpy as np
import pytest
from published_table import published, pytest_addoption, pytest_configure

if TYPE_CHECKING:
    from raytrace.response import ResponseTable

# The first call of a kernel compiles it, which breaks any deadline; where nobody watches, the same examples every time.
hypothesis.settings.register_profile("here", deadline=None)
hypothesis.settings.register_profile("unattended", deadline=None, derandomize=True)
hypothesis.settings.load_profile("unattended" if os.environ.get("CI") else "here")

__all__ = ["published", "pytest_addoption", "pytest_configure"]  # found here by pytest

ROOT = Path(__file__).parent.parent
SCENES = sorted((ROOT / "scenes").glob("*.toml"))


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """A finished run of the command."""

    status: int
    out: str
    err: str


@pytest.fixture(autouse=True)
def _no_kept_tables(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """No response table but a test's own, whatever the user's cache holds and other tests have built."""
    import tracking.response

    folder = tmp_path_factory.mktemp("tables")
    monkeypatch.setattr(tracking.response, "cache_folder", lambda: folder)


@pytest.fixture
def focalrow(capsys: pytest.CaptureFixture[str]) -> Callable[..., Run]:
    """Runs `focalrow` with these arguments inside this process."""
    from tracking.cli.main import main

    def run(*arguments: str | Path) -> Run:
        status = main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Run(status=status, out=captured.out, err=captured.err)

    return run


@pytest.fixture(params=SCENES, ids=lambda path: path.stem)
def scene_path(request: pytest.FixtureRequest) -> Path:
    """Each scene that the repository ships."""
    path = request.param
    assert isinstance(path, Path)
    return path


@pytest.fixture(scope="session")
def shipped_table(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], "ResponseTable"]:
    """Gives the response table of a scene, which all tests of a run share: it takes half a minute to build."""
    from raytrace.response import load_or_build
    from tracking.response import _layout
    from tracking.scenefile import read_scene

    folder = tmp_path_factory.mktemp("shared-tables")

    def table(path: Path) -> "ResponseTable":
        scene_file = read_scene(path)
        return load_or_build(scene_file.scene, folder=folder, **_layout(scene_file))

    return table


@pytest.fixture
def simple_scene(tmp_path: Path) -> Path:
    """A small scene with two bare tubes on a swivel-tilt mount, a constant DNI and one wavelength; invented."""
    path = tmp_path / "simple.toml"
    path.write_text(SIMPLE_SCENE, encoding="utf-8")
    return path


def flat_table(*, tubes: int) -> "ResponseTable":
    """A response table that lets half of the light reach each tube and 0.4 be absorbed, at all angles; invented."""
    from raytrace.response import Domain, ResponseTable, TableError, TubePlaces

    shares = [0.5] * tubes + [0.4] * tubes + [0.004, 0.012, 0.016, 0.006, 0.0]
    return ResponseTable(
        transversal=np.array([-90.0, 90.0]),
        longitudinal=np.array([-90.0, 90.0]),
        tilt=np.array([0.0]),
        values=np.broadcast_to(np.array(shares), (2, 2, 1, len(shares))),
        places=TubePlaces(tilt=np.array([0.0]), tangent=np.zeros((1, tubes))),
        domain=Domain(transversal=(-90.0, 90.0), longitudinal=(-90.0, 90.0)),
        error=TableError(worst=0.002, typical=0.0002, where_lit=0.001, checks=32),
        mirrored=(False, False),
        swaps=(False, False),
    )


SIMPLE_SCENE = """\
schema = 1

[site]
name = "Test Field"
latitude = "40 deg"
longitude = "-3 deg"
timezone = "Europe/Madrid"

[sky]
source = "constant"
dni = "800 W/m^2"
wavelength = "587.6 nm"

[lens]
width = "400 mm"
length = "600 mm"
focal_length = "500 mm"
groove_pitch = "2 mm"
thickness = "5 mm"
grooves_toward = "tubes"

[tubes]
count = 2
spacing = "40 mm"
length = "700 mm"
absorber_diameter = "38 mm"

[mount]
kind = "swivel-tilt"
lens_height = "490 mm"
grooves = "level"
"""
