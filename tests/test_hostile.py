"""Hostile input: mutated scenes and command lines give one message, no traceback, no hang and no half-written file.

All scenes here are mutations of inventions of ours; each case follows from its number, so a finding can be run again:
`python tests/reference/hostile.py NUMBER NUMBER+1 FOLDER`.
"""

import errno
import json
import os
import random
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest
from conftest import ROOT, SIMPLE_SCENE
from reference.hostile import LONGEST, MOST_MEMORY, Case, judge, make_case

QUICK_CASES, ALL_CASES, REAL_COMMANDS = 150, 4800, 200
PATIENCE = 90.0  # [s]: a machine may be busy; what a command itself takes is counted in processor time
ENVIRONMENTS = (
    {},
    {"LC_ALL": "C", "PYTHONUTF8": "0"},
    {"PYTHONIOENCODING": "latin-1"},
    {"PYTHONIOENCODING": "ascii:strict", "LANG": "C"},
    {"TERM": "dumb", "COLUMNS": "20"},
    {"HOME": "/dev/null", "XDG_CACHE_HOME": "/dev/null/cache"},
)


def in_one_process(first: int, last: int, folder: Path) -> None:
    """Run the cases of these numbers in one fresh process and look at what it found."""
    program = ROOT / "tests" / "reference" / "hostile.py"
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])}
    done = subprocess.run(
        [sys.executable, program, str(first), str(last), folder],
        capture_output=True, text=True, check=False, encoding="utf-8", errors="replace", env=environment,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["findings"] == {}, json.dumps(found["findings"], indent=1)[:4000]
    assert found["memory"] < MOST_MEMORY
    assert found["answers"]["0"] > 0.03 * (last - first), found["answers"]  # some mutations are harmless or legal
    assert found["answers"]["2"] > 0.3 * (last - first), found["answers"]


def test_some_mutations_in_one_process(tmp_path: Path) -> None:
    in_one_process(0, QUICK_CASES, tmp_path)


@pytest.mark.long
def test_all_mutations_in_one_process(tmp_path: Path) -> None:
    in_one_process(0, ALL_CASES, tmp_path)


def test_the_fuzz_finds_what_is_wrong(tmp_path: Path) -> None:
    """Each of the things that must not happen is seen as such."""
    case = Case(number=0, arguments=("light", "x", "--json"), out=tmp_path / "out")
    assert judge(2, "", "focalrow: x: no such file", case, 0.1) is None
    assert judge(0, "{}", "", case, 0.1) is None
    for status, out, err, seconds in (
        (1, "", "Traceback (most recent call last):", 0.1),
        (1, "", "focalrow: this went wrong: OSError", 0.1),
        (0, "{}", "RuntimeWarning: invalid value", 0.1),
        (1, "", "focalrow: no", 0.1),
        (2, "half a table", "focalrow: no", 0.1),
        (2, "", "no", 0.1),
        (0, "{}", "", LONGEST + 1.0),
        (0, '{"a": NaN}', "", 0.1),
    ):
        assert judge(status, out, err, case, seconds) is not None, (status, out, err, seconds)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "light.json").write_text("{}", encoding="utf-8")
    assert judge(0, "{}", "", case, 0.1) is None
    assert judge(2, "", "focalrow: no", case, 0.1) is not None
    (tmp_path / ".out-abc").mkdir()
    assert judge(0, "{}", "", case, 0.1) is not None


# ---------------------------------------------------------------- real commands


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """A finished command, what it took of the processor [s] and of the memory [bytes]."""

    status: int
    out: str
    err: str
    seconds: float
    memory: int


# The peak memory of a process holds what its parent had when it was forked: a small parent in between, which measures,
# keeps the memory of the tests out of the figure.
MEASURED = """
import json, os, subprocess, sys
process = subprocess.Popen(sys.argv[2:])
_, status, usage = os.wait4(process.pid, 0)
found = os.waitstatus_to_exitcode(status), usage.ru_utime + usage.ru_stime, usage.ru_maxrss
with open(sys.argv[1], "w") as file:
    json.dump(found, file)
"""


def command(folder: Path, *arguments: str | Path, stdout: Path | None = None, **environment: str) -> Answer:
    """Run `focalrow` as a user does, with nothing on standard input and no terminal; `folder` takes what it prints."""
    program = shutil.which("focalrow", path=Path(sys.executable).parent)
    assert program is not None, "the command is not installed beside this interpreter"
    kept = {"PATH", "TMPDIR", "SYSTEMROOT", "HOME", "XDG_CACHE_HOME", "PYTHONPATH"}
    surroundings = {key: value for key, value in os.environ.items() if key in kept} | environment
    printed, talked, measured = stdout or folder / "printed", folder / "talked", folder / "measured"
    measured.unlink(missing_ok=True)
    with printed.open("wb") as out, talked.open("wb") as err:
        process = subprocess.Popen(
            [sys.executable, "-S", "-c", MEASURED, measured, program, *map(str, arguments)],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=err,
            env=surroundings,
            cwd=folder,
            start_new_session=True,
        )
        try:
            process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    assert measured.exists(), f"killed after {PATIENCE:g} s: {arguments}"
    status, seconds, peak = json.loads(measured.read_text(encoding="utf-8"))
    measured.unlink()
    return Answer(
        status=status,
        out="" if stdout else printed.read_text(encoding="utf-8", errors="replace"),
        err=talked.read_text(encoding="utf-8", errors="replace"),
        seconds=seconds,
        memory=peak * (1 if sys.platform == "darwin" else 1024),
    )


def plain_scene(folder: Path, name: str = "plain.toml") -> Path:
    scene = folder / name
    scene.write_text(SIMPLE_SCENE, encoding="utf-8")
    return scene


LIGHT = ("--rays", "64", "--threads", "1")


def a_hostile_case(folder: Path, number: int) -> None:
    """A mutated scene or command line of the fuzz, as a real command."""
    case = make_case(ALL_CASES + number, folder)
    answer = command(folder, *usable(case.arguments), **ENVIRONMENTS[number % len(ENVIRONMENTS)])
    assert judge(answer.status, answer.out, answer.err, case, answer.seconds) is None, (case, answer)
    assert answer.memory < MOST_MEMORY


def usable(arguments: tuple[str, ...]) -> list[str]:
    """Arguments without what no system can pass to a command: zero bytes and half letters."""
    return [argument.replace("\x00", "").encode("utf-8", "ignore").decode() for argument in arguments]


def help_everywhere(folder: Path, number: int) -> None:
    """Help and a starter scene in every kind of console."""
    names = ("light", "day", "fit", "setpoints", "draw", "report", "year", "stray", "new")
    environment = ENVIRONMENTS[number % len(ENVIRONMENTS)]
    name = names[number // len(ENVIRONMENTS) % len(names)]
    answer = command(folder, name, "--help", **environment)
    assert (answer.status, answer.err) == (0, "")
    assert "Usage: focalrow" in answer.out
    answer = command(folder, "new", folder / "a scene ä ł 🌞.toml", **environment)
    assert (answer.status, answer.out.count("Traceback"), answer.err.count("Traceback")) == (0, 0, 0)


def no_place_to_write(folder: Path, number: int) -> None:
    """Output where nothing can be written: refused by one message, nothing left behind."""
    scene, file = plain_scene(folder), folder / "a file"
    file.write_text("kept", encoding="utf-8")
    places = (file, file / "below", Path("/proc/focalrow"), Path("/dev/null"), Path("/dev/full"), folder / ("x" * 300))
    before = sorted(path.name for path in folder.iterdir())
    answer = command(folder, "light", scene, *LIGHT, "--out", places[number % len(places)])
    assert answer.status in {1, 2}, answer
    assert answer.err.startswith(("focalrow: ", "Compiling")), answer
    assert "Traceback" not in answer.err
    assert sorted({path.name for path in folder.iterdir()} - {"printed", "talked"}) == before
    assert file.read_text(encoding="utf-8") == "kept"


def a_full_disk(folder: Path, number: int) -> None:
    """Standard output on a full disk: the status says so, in one message."""
    scene = plain_scene(folder)
    more = (["light", scene, *LIGHT, "--json"], ["light", scene, *LIGHT], ["light", "--help"])[number % 3]
    answer = command(folder, *more, stdout=Path("/dev/full"), **ENVIRONMENTS[number % len(ENVIRONMENTS)])
    assert answer.status == 1, answer
    assert "Traceback" not in answer.err, answer
    assert "focalrow: " in answer.err, answer


def garbage(folder: Path, number: int) -> None:
    """What is no scene at all, under names of every kind."""
    names = ("scene.toml", "a b c.toml", "Überläufer-ß.toml", "日本.toml", "-rf", "…", "new\nline.toml", ".toml")
    scene = folder / names[number % len(names)]
    rng = random.Random(f"garbage {number}")  # noqa: S311 - nothing secret
    kind = number // len(names) % 5
    if kind == 0:
        scene.write_bytes(rng.randbytes(10_000_000))
    elif kind == 1:
        scene.write_bytes(b"a = 1\n" * 1_600_000)
    elif kind == 2:
        scene.mkdir()
    elif kind == 3:
        os.mkfifo(scene)
    else:
        scene.write_bytes(b"")
    answer = command(folder, "light", scene, *LIGHT, **ENVIRONMENTS[number % len(ENVIRONMENTS)])
    case = Case(number=number, arguments=("light",), out=None)
    assert answer.status == 2, answer
    assert judge(answer.status, answer.out, answer.err, case, answer.seconds) is None, answer
    assert answer.memory < MOST_MEMORY


KINDS = (a_hostile_case, help_everywhere, no_place_to_write, garbage, a_full_disk, a_hostile_case)


def run_numbers(numbers: range, folder: Path) -> None:
    """Two at a time, as two processors are there."""

    def one(number: int) -> None:
        place = folder / str(number)
        place.mkdir()
        KINDS[number % len(KINDS)](place, number // len(KINDS))

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(one, numbers))


def test_some_real_commands(tmp_path: Path) -> None:
    run_numbers(range(len(KINDS)), tmp_path)


@pytest.mark.long
def test_all_real_commands(tmp_path: Path) -> None:
    run_numbers(range(REAL_COMMANDS), tmp_path)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 64 KiB; needs the right to mount one."""
    place = tmp_path / "small disk"
    place.mkdir()
    mount = shutil.which("mount") or pytest.skip("no program that mounts disks")
    mounted = subprocess.run([mount, "-t", "tmpfs", "-o", "size=64k", "tmpfs", place], capture_output=True, check=False)
    if mounted.returncode != 0:
        pytest.skip("no right to mount a small disk")
    yield place
    subprocess.run([str(shutil.which("umount")), place], check=True)


def test_files_on_a_full_disk_are_whole_or_not_there(small_disk: Path, tmp_path: Path) -> None:
    scene = plain_scene(tmp_path)
    (small_disk / "filler").write_bytes(b"x" * 56 * 1024)
    answer = command(tmp_path, "light", scene, *LIGHT, "--out", small_disk / "out")
    assert answer.status == 1, answer
    assert "Traceback" not in answer.err
    assert [path.name for path in small_disk.iterdir()] == ["filler"]


class FullDiskError(OSError):
    """As a full disk raises it."""


@pytest.mark.parametrize("at", range(4))
def test_a_disk_that_fills_up_while_files_are_written(at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same where no disk can be mounted: each write fails in turn. Old files stay, no new one is seen."""
    from tracking.cli.files import write_files

    folder = tmp_path / "out"
    texts = {"a.txt": "1", "b.json": "2", "c.bin": b"3"}
    write_files(folder, texts)
    written = iter(range(99))

    def fails(real: Callable[..., int]) -> Callable[..., int]:
        def write(self: Path, *arguments: object, **options: object) -> int:
            if next(written) == at:
                raise FullDiskError(errno.ENOSPC, "No space left on device")
            return real(self, *arguments, **options)

        return write

    monkeypatch.setattr(Path, "write_text", fails(Path.write_text))
    monkeypatch.setattr(Path, "write_bytes", fails(Path.write_bytes))
    new = {"a.txt": "new", "b.json": "new", "c.bin": b"new"}
    if at < len(texts):
        with pytest.raises(FullDiskError):
            write_files(folder, new)
    else:
        write_files(folder, new)
    found = {path.name: path.read_bytes().strip() for path in folder.iterdir()}
    whole = {"a.txt": b"1", "b.json": b"2", "c.bin": b"3"}
    assert found == (whole if at < len(texts) else dict.fromkeys(whole, b"new"))
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
