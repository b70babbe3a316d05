import os
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest
from test_boiler import boiler

from raytrace import compiling
from raytrace.kernels.block import trace_plain
from raytrace.kernels.path import finish_leftovers, room_for_leftovers
from raytrace.scene import Lens, Scene, SunOptics, Tubes
from raytrace.trace import trace
from tracking.energy.boil_kernel import fill_steps
from tracking.energy.boiler import TubeRow
from tracking.energy.compiling import compile_boiling
from tracking.energy.steam import ATMOSPHERE, steam_at

SCENE = Scene(
    lens=Lens(width=0.6, length=0.9, focal_length=0.8, grooves_toward="tubes", cut_for="tubes"),
    tubes=Tubes(count=3, spacing=0.06, length=1.5, absorber_diameter=0.047),
    sun=SunOptics(),
    lens_height=0.8,
)

compiled_only = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="shows what the compiler does")


@compiled_only
def test_the_general_path_is_compiled_for_the_types_that_a_trace_gives_it() -> None:
    """Else the second process would compile something that nobody calls, and the first run would take twice as long."""
    trace(SCENE, rays=20_000)
    of_a_trace = set(finish_leftovers.signatures)
    compiling.compile_general_path()
    assert set(finish_leftovers.signatures) == of_a_trace
    assert len(of_a_trace) == 1


@compiled_only
def test_the_boiling_is_compiled_for_the_types_that_a_row_of_tubes_gives_it() -> None:
    row = TubeRow(boiler(), steam_at(ATMOSPHERE), 2)
    row.advance(60.0, np.zeros(2), 20.0)
    of_a_row = set(fill_steps.signatures)
    compile_boiling()
    assert set(fill_steps.signatures) == of_a_row
    assert len(of_a_row) == 1


@compiled_only
def test_nothing_must_be_compiled_after_a_trace() -> None:
    trace(SCENE, rays=1)
    assert trace_plain.signatures
    assert not compiling.must_compile()


@compiled_only
def test_a_second_process_is_asked_for_the_general_path_only_where_that_is_not_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    started: list[list[str]] = []

    def refuse(command: list[str], **_: object) -> None:
        started.append(command)
        raise OSError("no process today")

    monkeypatch.setattr(subprocess, "Popen", refuse)
    monkeypatch.setattr(compiling, "default_threads", lambda: 2)
    with compiling.general_path_beside():
        pass
    assert (started == []) == compiling._kept(finish_leftovers)
    monkeypatch.setattr(compiling, "_kept", lambda _entry: False)
    with compiling.general_path_beside():
        ran = True  # a second process that cannot start is no reason to fail
    assert ran
    assert started
    assert started[-1][0] == sys.executable
    monkeypatch.setattr(compiling, "default_threads", lambda: 1)
    count = len(started)
    with compiling.general_path_beside():
        pass
    assert len(started) == count  # on one processor it would only be in the way


@pytest.mark.long
@compiled_only
def test_a_first_run_leaves_both_halves_in_the_cache_folder(tmp_path: Path) -> None:
    """And a process that finds them compiles nothing."""
    code = (
        "from raytrace.scene import Lens, Scene, SunOptics, Tubes; from raytrace.trace import trace;"
        "from raytrace.compiling import must_compile;"
        "from raytrace.kernels.block import trace_plain; from raytrace.kernels.path import finish_leftovers;"
        "first = must_compile();"
        "scene = Scene(lens=Lens(width=0.6, length=0.9, focal_length=0.8, grooves_toward='tubes', cut_for='tubes'),"
        "tubes=Tubes(count=3, spacing=0.06, length=1.5, absorber_diameter=0.047), sun=SunOptics(), lens_height=0.8);"
        "value = trace(scene, rays=20_000).intercepted_fraction.value;"
        "print(first, sum(len(e.stats.cache_misses) for e in (trace_plain, finish_leftovers)), repr(value))"
    )
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path), "HOME": str(tmp_path)}
    said = [
        subprocess.run(
            [sys.executable, "-c", code], env=environment, cwd=Path(__file__).parent.parent, check=True,
            capture_output=True, text=True,
        ).stdout.split()
        for _ in range(2)
    ]  # fmt: skip
    assert [line[0] for line in said] == ["True", "False"]
    # Of the first run's two halves the general path came from the second process, where there are two processors.
    assert said[0][1] == ("1" if compiling.default_threads() > 1 else "2")
    assert said[1][1] == "0"
    assert said[0][2] == said[1][2]


def test_room_for_leftovers_holds_as_many_rays_as_asked_for() -> None:
    room = room_for_leftovers(5)
    assert [len(part) for part in room] == [5] * 4
    assert room.numbers.shape == (5, 7)
    assert room.kind.dtype == np.int32
