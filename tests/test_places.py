"""Many places at once: the file of places, a place that fails, and the same numbers from processes and a cluster."""

import contextlib
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import tracking.energy.fit.places as module
from tracking.energy.fit.hours import Span
from tracking.energy.fit.places import Answer, Question, answer_at, read_places, scene_at
from tracking.energy.fit.sample import Effort
from tracking.errors import InputError
from tracking.scenefile import read_scene
from tracking.sky.site import Site

HEADER = "name,latitude,longitude,altitude,timezone\n"
PLACES = HEADER + (
    "Hilltown,13.9,-90.4,700,America/Guatemala\n"
    '"Riverford, North",52.3 deg,20.4,295 ft,Europe/Warsaw\n'
    "Karst,-27.4,26.1,1250,Africa/Johannesburg\n"
)
QUICK = ("--over", "2026-06-21", "--no-tilt", "--hours", "16", "--rays", "256")


@pytest.fixture
def places(tmp_path: Path) -> Path:
    """Three places, invented."""
    path = tmp_path / "places.csv"
    path.write_text(PLACES, encoding="utf-8")
    return path


def test_places_are_read(places: Path) -> None:
    found = read_places(places)
    assert [site.name for site in found] == ["Hilltown", "Riverford, North", "Karst"]
    assert found[0] == Site(
        name="Hilltown", latitude=13.9, longitude=-90.4, altitude=700.0, timezone="America/Guatemala"
    )
    assert found[1].altitude == pytest.approx(295 * 0.3048)  # exact since the international yard of 1959


def test_columns_may_carry_units_and_altitude_may_be_left_out(tmp_path: Path) -> None:
    path = tmp_path / "places.csv"
    path.write_text("timezone, name, longitude_deg, latitude_deg\nEurope/Oslo, Fjord, 5.3, 60.4\n", encoding="utf-8")
    assert read_places(path) == (Site(name="Fjord", latitude=60.4, longitude=5.3, timezone="Europe/Oslo"),)


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("name,latitude,longitude\nA,1,2\n", "header", '"timezone" is missing'),
        (HEADER.strip() + ",colour\nA,1,2,3,UTC,red\n", "header", '"colour" is not known'),
        ("name,latitude,latitude_deg,longitude,timezone\nA,1,1,2,UTC\n", "header", "two columns hold the latitude"),
        ("name,latitude_m,longitude,timezone\nA,1,2,UTC\n", "header", '"latitude_m" is not known'),
        (HEADER, None, "no place"),
        (HEADER + "A,1,2,3,UTC\nB,north,2,3,UTC\n", "line 3, column latitude", '"north" is no number'),
        (HEADER + "A,91,2,3,UTC\n", "line 2, column latitude", "out of range"),
        (HEADER + "A,1,2 m,3,UTC\n", "line 2, column longitude", 'the unit "m"'),
        (HEADER + "A,1,2,9999,UTC\n", "line 2, column altitude", "out of range"),
        (HEADER + "A,1,2,3,Mars/Base\n", "line 2, column timezone", "IANA"),
        (HEADER + "A,1,2,3,UTC\nA,1,2,3,UTC\n", "line 3, column name", "twice"),
        (HEADER + ",1,2,3,UTC\n", "line 2, column name", "no name"),
    ],
)
def test_wrong_places_are_told_with_line_and_column(tmp_path: Path, text: str, place: str | None, words: str) -> None:
    path = tmp_path / "places.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_places(path)
    assert caught.value.file == str(path)
    assert caught.value.key == place
    assert words in str(caught.value)


def test_a_polar_mount_points_to_the_pole_of_each_place() -> None:
    scene_file = read_scene(Path(__file__).parent.parent / "scenes" / "north.toml")
    there = scene_at(scene_file, Site(name="There", latitude=-33.0, longitude=18.0, timezone="UTC"))
    assert there.mount.latitude == -33.0
    assert there.site.name == "There"
    assert there.scene == scene_file.scene


def test_a_weather_file_belongs_to_one_place(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    filed = replace(scene_file, sky=replace(scene_file.sky, source="file", dni=None, file="weather.csv"))
    with pytest.raises(InputError, match="belongs to one place"):
        scene_at(filed, scene_file.site)


def question_of(scene: Path) -> Question:
    return Question(
        scene_file=read_scene(scene),
        span=Span(year=2026, month=6, day=21),
        worst_month=False,
        moved="perfectly",
        with_tilt=False,
        effort=Effort(draws=1, rays=64, threads=1),
    )


def test_whatever_goes_wrong_at_a_place_becomes_its_error(simple_scene: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by hand")

    monkeypatch.setattr(module, "fit_of", fails)
    site = Site(name="There", latitude=1.0, longitude=2.0, timezone="UTC")
    assert answer_at(question_of(simple_scene), site) == Answer(
        site=site, fit=None, error="ZeroDivisionError: by hand"
    )


@pytest.fixture
def in_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Places one after the other in this process; one called Karst fails."""
    import tracking.energy.fit.places_here as here

    def answers(question: Question, sites: Sequence[Site], **_: object) -> tuple[tuple[Answer, ...], bool]:
        def one(site: Site) -> Answer:
            if site.name == "Karst":
                return Answer(site=site, fit=None, error="the well was dry")
            return answer_at(question, site)

        return tuple(one(site) for site in sites), False

    monkeypatch.setattr(here, "answers_here", answers)


@pytest.mark.usefixtures("in_this_process")
def test_one_place_fails_and_the_others_stand(
    focalrow: Callable[..., Any], simple_scene: Path, places: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    run = focalrow("fit", simple_scene, "--places", places, *QUICK, "--json", "--out", folder)
    assert run.status == 0
    assert "1 of 3 places" in run.err
    found = json.loads(run.out)["places"]
    assert [place["name"] for place in found] == ["Hilltown", "Riverford, North", "Karst"]
    assert [place["error"] for place in found] == [None, None, "the well was dry"]
    assert found[2]["fit"] is None
    for place in found[:2]:
        height = place["fit"]["height"]
        assert height["like_best_m"][0] <= height["height_m"]["value"] <= height["like_best_m"][1]
    # Where the sun is up longer, a constant DNI gives more.
    sums = [place["fit"]["dni_kwh_m2"] for place in found[:2]]
    assert sums[0] < sums[1]
    assert sorted(path.name for path in folder.iterdir()) == ["fit_places.json", "fit_places.txt"]
    text = (folder / "fit_places.txt").read_text(encoding="utf-8")
    assert "Karst: the well was dry" in text
    assert re.search(r"^Riverford, North +52\.3 +90 ", text, flags=re.MULTILINE)


@pytest.mark.usefixtures("in_this_process")
def test_no_answer_at_all_is_a_failure(focalrow: Callable[..., Any], simple_scene: Path, tmp_path: Path) -> None:
    path = tmp_path / "karst.csv"
    path.write_text(HEADER + "Karst,1,2,3,UTC\n", encoding="utf-8")
    run = focalrow("fit", simple_scene, "--places", path, *QUICK)
    assert run.status == 1
    assert "Places without an answer" in run.out


def test_without_the_extra_the_message_says_how_to_get_it(
    focalrow: Callable[..., Any], simple_scene: Path, places: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)  # as if it were not installed
    run = focalrow("fit", simple_scene, "--places", places, "--scheduler", "tcp://127.0.0.1:9")
    assert run.status == 2
    assert 'focalrow[cluster]: pip install -e ".[cluster]"' in run.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--scheduler", "tcp://127.0.0.1:9"), "without --places"),
        (("--places", "p.csv", "--frame"), "more than one"),
        (("--places", "p.csv", "--builds"), "for one place"),
        (("--places", "p.csv"), "p.csv: this file cannot be read"),
    ],
)
def test_options_that_do_not_go_together(
    focalrow: Callable[..., Any], simple_scene: Path, arguments: tuple[str, ...], words: str
) -> None:
    run = focalrow("fit", simple_scene, *arguments)
    assert run.status == 2
    assert words in run.err


@contextlib.contextmanager
def process(*arguments: str, log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A Python process that ends with the block; what it says goes to a file."""
    with log.open("wb") as file:
        started = subprocess.Popen([sys.executable, *arguments], stdout=file, stderr=subprocess.STDOUT)
    try:
        yield started
    finally:
        started.terminate()
        try:
            started.wait(timeout=20)
        except subprocess.TimeoutExpired:
            started.kill()
            started.wait()


def scheduler_address(log: Path) -> str:
    """The address that a scheduler says it listens at."""
    for _ in range(600):
        match = re.search(r"Scheduler at: +(tcp://\S+)", log.read_text(encoding="utf-8", errors="replace"))
        if match:
            return match[1]
        time.sleep(0.1)
    raise AssertionError(log.read_text(encoding="utf-8", errors="replace"))


def run_command(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """The command as a user runs it, in a process of its own."""
    code = "import sys; from tracking.cli.main import main; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"COLUMNS": "100"},
    )


@pytest.mark.long
def test_processes_and_a_real_cluster_give_the_same_numbers(simple_scene: Path, places: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the extra focalrow[cluster] is not installed")
    here = run_command("fit", simple_scene, "--places", places, *QUICK, "--json")
    assert here.returncode == 0, here.stderr
    log = tmp_path / "scheduler.log"
    with contextlib.ExitStack() as stack:
        stack.enter_context(
            process("-m", "dask", "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", log=log)
        )
        address = scheduler_address(log)
        worker = (
            "-m", "dask", "worker", address, "--nworkers", "2", "--nthreads", "1", "--no-dashboard",
            "--local-directory", str(tmp_path / "dask"),
        )  # fmt: skip
        stack.enter_context(process(*worker, log=tmp_path / "worker.log"))
        there = run_command("fit", simple_scene, "--places", places, *QUICK, "--json", "--scheduler", address)
        assert there.returncode == 0, there.stderr
    found, found_there = json.loads(here.stdout), json.loads(there.stdout)
    assert found == found_there
    assert [place["error"] for place in found["places"]] == [None, None, None]
    # And the same as one place by itself, in this process.
    alone = answer_at(replace(question_of(simple_scene), effort=Effort(draws=1, rays=256)), read_places(places)[1])
    assert alone.fit is not None
    assert found["places"][1]["fit"]["height"]["height_m"]["value"] == alone.fit.height.height.value


def killed_at_karst(_: Question, site: Site) -> Answer:
    """Ends its process as one that is killed for want of memory, at one place."""
    if site.name == "Karst":
        os._exit(9)
    return Answer(site=site, fit=None, error=f"pid {os.getpid()}")


@pytest.mark.long
def test_a_killed_process_takes_no_other_place_along(
    simple_scene: Path, places: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tracking.energy.fit.places_here as here

    monkeypatch.setattr(here, "answer_at", killed_at_karst)
    shares: list[float] = []
    answers, interrupted = here.answers_here(
        question_of(simple_scene), read_places(places), threads=2, progress=shares.append
    )
    assert not interrupted
    assert [answer.site.name for answer in answers] == ["Hilltown", "Riverford, North", "Karst"]
    assert answers[2].error is not None
    assert "was killed" in answers[2].error
    assert all(answer.error is not None and answer.error.startswith("pid ") for answer in answers[:2])
    assert all(answer.error != f"pid {os.getpid()}" for answer in answers)
    assert shares[-1] == pytest.approx(1.0)


def test_interrupted_before_any_place_is_done(
    focalrow: Callable[..., Any], simple_scene: Path, places: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tracking.energy.fit.places_here as here

    def stopped(_: Question, sites: Sequence[Site], **__: object) -> tuple[tuple[Answer, ...], bool]:
        return tuple(module.not_run(site) for site in sites), True

    monkeypatch.setattr(here, "answers_here", stopped)
    run = focalrow("fit", simple_scene, "--places", places, *QUICK)
    assert run.status == 130
    assert run.out == ""


@pytest.mark.long
def test_an_address_that_does_not_answer(
    focalrow: Callable[..., Any], simple_scene: Path, places: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="the extra focalrow[cluster] is not installed")
    import tracking.energy.fit.places_cluster as cluster

    monkeypatch.setattr(cluster, "CONNECT_TIMEOUT", 2)
    for address in ("tcp://127.0.0.1:9", "nonsense", "ftp://127.0.0.1:9"):
        run = focalrow("fit", simple_scene, "--places", places, *QUICK, "--scheduler", address)
        assert run.status == 2
        assert f'no Dask scheduler answers at "{address}"' in run.err
