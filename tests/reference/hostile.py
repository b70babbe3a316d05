"""Mutated scene files and command lines, and what must hold for each of them.

Run as a script it takes many cases in one process and prints what went wrong as JSON:
`python tests/reference/hostile.py FIRST LAST FOLDER`. Each case follows from its number alone.
"""

import io
import json
import random
import re
import resource
import signal
import sys
import time
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

ROOT = Path(__file__).parents[2]
LONGEST = 10.0  # [s] of the processor for one case
PATIENCE = 120.0  # [s] of a busy machine, until a case that waits for something is taken for hung
MOST_MEMORY = 1 << 30  # bytes
ENCODINGS = ("utf-8", "ascii", "latin-1", "cp437")

# What may stand in the place of a value: legal extremes, illegal ones, and what is no value at all.
VALUES = (
    "nan", "inf", "-inf", "-0.0", "0", "1", "-1", "1e400", "1e-400", "99999999999999999999", "0x7fffffffffffffff",
    "true", '""', '" "', '"nan mm"', '"inf m"', '"-inf deg"', '"1e308 m"', '"-0 m"', '"0 mm"', '"1e-9 m"',
    '"20 mm"', '"5 m"', '"10 m"', '"0.005 mm"', '"30 mm"', '"300 mm"', '"1 mm"', '"90 deg"', '"-90 deg"',
    '"89.999 deg"', '"1e5 deg"', '"15 deg"', '"50 mrad"', '"1200 W/m^2"', '"1 nm"', '"4000 nm"', '"2,5 m"',
    '"1 furlong"', '"5"', "5", "200", "1000000", '"５ m"', '"१ m"', '"1\u00a0m"', '"ｔubes"', '"\u202e"',
    '"\\u0000"', '"' + "x" * 3000 + '"', "[]", "{}", "[[]]", "[1, [2, [3]]]", "[" * 200 + "]" * 200, "1979-05-27",
    "07:32:00", "1979-05-27T07:32:00Z", '["0 deg", "0 deg"]', '["90 deg", "0 deg"]',
    '[["0 deg", 1.0], ["0 deg", 0.0]]', '[["90 deg", nan]]', '{ index = 1.3, absorption = "0 1/m" }',
    '{ index = 2, absorption = "1000 1/m" }', '"PMMA"', '"sun"', '"tubes"', '"polar"', '"fixed"', '"tilt"',
    '"swivel-tilt"', '"upslope"', '"level"', '"base"', '"lens"', '"point"', '"uniform"', '"file"', '"constant"',
    '"clear"', '"UTC"', '"Europe/Nowhere"', '"../../etc/passwd"', '"/dev/zero"', '"/dev/null"', '"C:\\\\CON"',
    "'''", '"""', "=", "#", "",
)  # fmt: skip
WORDS = (
    "", " ", "-", "--", "---", "nan", "inf", "-inf", "0", "-1", "1", "1e308", "1e-308", "99999999999999999999",
    "0x10", "1_000", "1,5", "1.5 deg", "-1.5 deg", "89.99 deg", "90 deg", "1e9 deg", "nan deg", "5 parsec",
    "15 min", "0 s", "1e9 h", "-5 min", "2026-02-30", "2026-13-01", "0000-00-00", "9999-12-31", "0001-01-01",
    "2026-06-21", "2026-06-21T10:00:00", "2026-06-21T10:00:00-03:00", "2026-06-21T10:00:00+99:00",
    "2026-06-21T25:00:00Z", "yesterday", "é", "\u202e", "\udcff", "\x00", "\n", "\t", "a" * 5000, "/", "/dev/null",
    "..", "%s%n", "$(true)", "'", '"', "--help", "--json", "--out", "A4", "en",
)  # fmt: skip
OPTIONS = {
    "light": ("--transversal", "--longitudinal", "--tilt", "--at", "--rays", "--target-error", "--seed", "--threads"),
    "day": ("--date", "--step", "--rays", "--relative-error", "--seed", "--threads", "--share", "--moves", "--from",
            "--to", "--by", "--paper", "--language", "--measured", "--sheet"),
    "fit": ("--over", "--year", "--moved", "--marks", "--hours", "--rays", "--seed", "--threads", "--widths",
            "--places"),
    "setpoints": ("--date", "--from", "--to", "--step", "--bytes", "--loss", "--observations"),
    "draw": ("--transversal", "--longitudinal", "--at", "--date", "--rays", "--seed", "--paper", "--language", "--pin",
             "--level-pin", "--radius"),
    "report": ("--at", "--date", "--rays", "--seed"),
    "year": ("--year", "--step"),
    "stray": ("--date", "--tilt", "--swivel", "--step", "--rays", "--missing-tube", "--threshold"),
    "new": ("--force",),
}  # fmt: skip
QUICK = {
    "light": ("--rays", "64", "--threads", "1"),
    "day": ("--date", "2026-03-20", "--step", "8 h", "--rays", "64", "--threads", "1", "--direct"),
}
"""The two commands that are quick enough to run a scene that turns out to be legal; their options make them so."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A command line and the scene file that it reads."""

    number: int
    arguments: tuple[str, ...]
    out: Path | None


def scenes() -> list[bytes]:
    """What is mutated: the scenes of the repository and the starter scene with all its keys."""
    starter = (ROOT / "tracking" / "cli" / "starter.toml").read_text(encoding="utf-8")
    # The starter's keys in comments, those that the reader may use one by one: some wake up in a mutation.
    return [path.read_bytes() for path in sorted((ROOT / "scenes").glob("*.toml"))] + [starter.encode()]


def _lines(change: Callable[[random.Random, list[bytes]], None]) -> Callable[[random.Random, bytes], bytes]:
    def mutate(rng: random.Random, raw: bytes) -> bytes:
        lines = raw.split(b"\n")
        change(rng, lines)
        return b"\n".join(lines)

    return mutate


def _set_value(rng: random.Random, raw: bytes) -> bytes:
    text = raw.decode("utf-8", errors="replace")
    places = list(re.finditer(r"(?m)^(# )?([a-z_]+) = (.*)$", text))
    if not places:
        return raw
    for place in sorted(rng.sample(places, min(len(places), rng.choice((1, 1, 1, 2, 4)))), key=lambda m: -m.start()):
        new = f"{place[2]} = {rng.choice(VALUES)}"
        text = text[: place.start()] + new + text[place.end() :]
    return text.encode("utf-8", errors="surrogatepass")


def _flip(rng: random.Random, raw: bytes) -> bytes:
    changed = bytearray(raw)
    for _ in range(rng.choice((1, 3, 30))):
        if changed:
            changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def _digit(rng: random.Random, raw: bytes) -> bytes:
    places = [k for k, byte in enumerate(raw) if 48 <= byte <= 57]
    changed = bytearray(raw)
    for k in rng.sample(places, min(len(places), rng.choice((1, 2, 5)))):
        changed[k] = rng.choice(b"0123456789-.eE")
    return bytes(changed)


def _insert_many(rng: random.Random, raw: bytes) -> bytes:
    k = rng.randrange(len(raw) + 1)
    piece = rng.choice(
        (b"[[surroundings]]\n", b"\x00", b"\xff\xfe", b"[lens]\n", b"[", b"'" * 3, b"a.b.c.d = 1\n", b"\r", b"\\")
    )
    return raw[:k] + piece * rng.choice((1, 1, 2, 400)) + raw[k:]


def _encode(rng: random.Random, raw: bytes) -> bytes:
    text = raw.decode("utf-8", errors="replace")
    return rng.choice(
        (
            lambda: text.encode("utf-16"),
            lambda: text.replace("invented", "erdacht äöü").encode("latin-1", errors="replace"),
            lambda: b"\xef\xbb\xbf" + raw,
            lambda: raw.replace(b"\n", b"\r\n"),
            lambda: raw.replace(b"\n", b"\r"),
            lambda: text.encode("utf-32-le"),
            lambda: b"",
            lambda: b"\x00" * rng.choice((1, 4096)),
            lambda: rng.randbytes(rng.choice((1, 100, 20_000))),
        )
    )()


MUTATIONS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _set_value,
    _set_value,
    _set_value,
    _flip,
    _digit,
    _insert_many,
    _encode,
    lambda rng, raw: raw[: rng.randrange(len(raw) + 1)],
    lambda rng, raw: raw[rng.randrange(len(raw) + 1) :],
    _lines(lambda rng, lines: lines.pop(rng.randrange(len(lines)))),  # type: ignore[arg-type,return-value]
    _lines(lambda rng, lines: lines.insert(rng.randrange(len(lines)), rng.choice(lines))),
    _lines(lambda rng, lines: rng.shuffle(lines)),
    _lines(lambda rng, lines: lines.extend(lines[: rng.randrange(len(lines))])),
)


def make_case(number: int, folder: Path) -> Case:
    """The case of a number; writes its scene file into `folder`."""
    rng = random.Random(f"hostile {number}")  # noqa: S311 - nothing secret
    raw = rng.choice(scenes())
    command = rng.choice(("light", "light", "day")) if number % 3 else rng.choice(tuple(OPTIONS))
    hostile_line = number % 3 == 0
    if not hostile_line or rng.random() < 0.3:
        for _ in range(rng.choice((1, 1, 2, 3))):
            raw = rng.choice(MUTATIONS)(rng, raw)
    scene = folder / rng.choice(("scene.toml", "with space.toml", "ścena é.toml", "-scene.toml"))
    scene.write_bytes(raw)
    out = folder / "out" if rng.random() < 0.2 else None
    arguments = [command, str(scene), *QUICK.get(command, ())]
    if hostile_line:
        arguments = _hostile_line(rng, command, arguments)
    if out is not None:
        arguments += ["--out", str(out)]
    if rng.random() < 0.3:
        arguments.append("--json")
    return Case(number=number, arguments=tuple(arguments), out=out)


def _hostile_line(rng: random.Random, command: str, arguments: list[str]) -> list[str]:
    """Options with words that they were not made for. Slow commands always get one that must be refused."""
    if command not in QUICK:
        arguments = [*arguments, *rng.choice((("--no-such-option",), ("--rays", "many"), ("--seed", "-1"), ("x", "y")))]
    for _ in range(rng.choice((1, 2, 3))):
        option = rng.choice((*OPTIONS[command], *OPTIONS[command], "--no-such", "-x", "--"))
        word = rng.choice(WORDS)
        place = rng.randrange(len(arguments) + 1)
        arguments[place:place] = rng.choice(([option, word], [f"{option}={word}"], [option], [word]))
    # So many rays, such a small error or so fine a step may be asked for; it takes its time. Not here.
    slow = {"--target-error": "0.05", "--relative-error": "0.5", "--moves": "1", "--share": "2"}
    for k, argument in enumerate(arguments[:-1]):
        if argument in slow and _positive(arguments[k + 1]):
            arguments[k + 1] = slow[argument]
    return arguments


def _positive(word: str) -> bool:
    try:
        return float(word) > 0.0
    except ValueError:
        return False


class TooLongError(Exception):
    """A case took longer than is allowed."""


def _too_long(_signal: int, _frame: FrameType | None) -> None:
    raise TooLongError


def judge(status: int, out: str, err: str, case: Case, seconds: float) -> str | None:  # noqa: PLR0911
    """What is wrong with the answer to a case, or None."""
    if "Traceback" in err or "this went wrong" in err or "Warning:" in err:
        return f"an unforeseen error: {err[-600:]}"
    if status not in {0, 2}:
        return f"exit status {status}: {err[-600:]}"
    if status == 2 and (out or not err.lstrip().startswith(("focalrow: ", "Compiling"))):
        return f"refused, but not by one message: {err[:300]!r}, {out[:200]!r}"
    if seconds > LONGEST:
        return f"took {seconds:.1f} s"
    if status == 0 and "--json" in case.arguments and "--help" not in case.arguments and case.arguments[0] in QUICK:
        found = re.search(r"\b(NaN|-?Infinity)\b", out)
        if found:
            return f"{found[0]} in its JSON"
        json.loads(out)
    if case.out is not None and case.out.parent.exists():
        left = [path.name for path in case.out.parent.iterdir() if path.name.startswith(".")]
        inside = [path.name for path in case.out.iterdir()] if case.out.is_dir() else []
        if left or any(name.startswith(".") for name in inside):
            return f"left behind what was written aside: {left + inside}"
        if status != 0 and inside:
            return f"refused, but wrote {inside}"
    return None


def run_case(case: Case) -> tuple[int, str | None]:
    """Run a case inside this process; its exit status, and what is wrong with the answer or None."""
    from tracking.cli.main import main

    encoding = ENCODINGS[case.number % len(ENCODINGS)]
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True) for _ in range(2))
    streams = sys.stdout, sys.stderr, sys.stdin
    signal.signal(signal.SIGALRM, _too_long)
    signal.setitimer(signal.ITIMER_REAL, PATIENCE)
    begun = time.process_time()  # a machine may be busy with other things
    try:
        sys.stdout, sys.stderr, sys.stdin = out, err, io.StringIO("")
        with warnings.catch_warnings():
            warnings.simplefilter("default")
            status = main(list(case.arguments))
    except BaseException as error:  # noqa: BLE001 - whatever comes through is a finding
        return 1, f"{type(error).__name__} came through: {error}"
    finally:
        seconds = time.process_time() - begun
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        sys.stdout, sys.stderr, sys.stdin = streams
    texts = [stream.buffer.getvalue().decode(encoding) for stream in (out, err)]  # type: ignore[attr-defined]
    return status, judge(status, texts[0], texts[1], case, seconds)


def _clear(folder: Path) -> None:
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()


def _peak_memory() -> int:
    """Peak memory of this process [bytes].

    By Linux's own count since the program started: the common one holds what the parent had when it forked, too.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text(encoding="ascii").splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def main() -> None:
    """Run the cases FIRST to LAST - 1 with files in FOLDER and print the findings."""
    first, last, folder = int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    findings: dict[int, list[object]] = {}
    answers: Counter[int] = Counter()
    slowest = 0.0
    for number in range(first, last):
        case = make_case(number, folder)
        begun = time.process_time()
        status, wrong = run_case(case)
        slowest = max(slowest, time.process_time() - begun)
        answers[status] += 1
        if wrong is not None:
            findings[number] = [list(case.arguments), wrong]
        _clear(folder)
    memory = _peak_memory()
    found = {"findings": findings, "memory": memory, "slowest": slowest, "answers": {k: answers[k] for k in (0, 1, 2)}}
    sys.stdout.write(json.dumps(found) + "\n")


if __name__ == "__main__":
    main()
