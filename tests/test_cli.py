"""The command line: JSON shape, exit statuses, messages, files, start-up."""

import json
import math
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import ROOT, SIMPLE_SCENE, Run, flat_table

from tracking.cli.cautions import CAUTIONS

Command = Callable[..., Run]

LIGHT_KEYS = {
    "scene",
    "rays",
    "seed",
    "transversal_angle_deg",
    "longitudinal_angle_deg",
    "dni_w_m2",
    "aperture_power_w",
    "intercepted_fraction",
    "absorbed_fraction",
    "intercept_factor",
    "ledger",
    "tubes",
    "focal_line",
}
MOMENT_KEYS = {"solar_azimuth_deg", "solar_elevation_deg", "tilt_deg", "swivel_deg"}
LEDGER_KEYS = [
    "reflected_lens",
    "absorbed_lens",
    "upward_lens",
    "edge_lens",
    "trapped_lens",
    "missed",
    "envelope",
    "reflected_absorber",
    "absorbed",
]
TUBE_KEYS = {
    "intercepted_fraction",
    "absorbed_fraction",
    "intercepted_w",
    "absorbed_w",
    "absorbed_w_standard_error",
    "peak_flux_w_m2",
}
FOCAL_LINE_KEYS = {
    "centroid_m",
    "w50_m",
    "w90_m",
    "w95_m",
    "fwhm_m",
    "standard_error_w90_m",
    "share_within_absorber_diameter",
}
INSTANT_KEYS = {
    "time_local",
    "time_utc",
    "solar_azimuth_deg",
    "solar_elevation_deg",
    "dni_w_m2",
    "tilt_deg",
    "swivel_deg",
    "transversal_angle_deg",
    "longitudinal_angle_deg",
    "incidence_angle_deg",
    "aperture_power_w",
    "intercepted_w",
    "intercepted_w_per_tube",
    "absorbed_w",
    "absorbed_w_per_tube",
    "absorbed_w_standard_error",
    "optical_efficiency",
    "w90_m",
    "power_from",
}
TOTAL_KEYS = {"aperture_kwh", "intercepted_kwh", "absorbed_kwh", "absorbed_kwh_per_tube", "hours_aimed"}

FEW = ("--rays", "4096")
COARSE_DAY = ("--date", "2026-03-20", "--step", "3 h", *FEW)


def numbers_in(value: object) -> Iterator[float]:
    if isinstance(value, dict):
        for inner in value.values():
            yield from numbers_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from numbers_in(inner)
    elif isinstance(value, (int, float)):
        yield value


def parsed(run: Run) -> dict[str, Any]:
    """The JSON of a run; the words NaN and Infinity, which Python would read, are refused."""

    def refuse(word: str) -> None:
        raise AssertionError(word)

    assert run.status == 0, run.err
    numbers: dict[str, Any] = json.loads(run.out, parse_constant=refuse)
    assert all(math.isfinite(number) for number in numbers_in(numbers))
    return numbers


def message(run: Run) -> str:
    """The one message of a run that was given wrong input."""
    assert run.status == 2, run.err
    assert run.out == ""
    assert "Traceback" not in run.err
    assert run.err.startswith("focalrow: ")
    assert run.err.count("focalrow: ") == 1
    return run.err


class TestLight:
    def test_json_has_the_agreed_shape(self, focalrow: Command, simple_scene: Path) -> None:
        light = parsed(focalrow("light", simple_scene, "--json", "--seed", "3", *FEW))
        assert set(light) == LIGHT_KEYS
        assert list(light["ledger"]) == LEDGER_KEYS
        assert set(light["focal_line"]) == FOCAL_LINE_KEYS
        assert [set(tube) for tube in light["tubes"]] == [TUBE_KEYS, TUBE_KEYS]
        for name in ("intercepted_fraction", "absorbed_fraction", "intercept_factor"):
            assert set(light[name]) == {"value", "standard_error"}
        assert light["scene"] == str(simple_scene)
        assert light["rays"] >= 4096
        assert light["seed"] == 3

    def test_numbers_belong_together(self, focalrow: Command, simple_scene: Path) -> None:
        light = parsed(
            focalrow("light", simple_scene, "--json", "--transversal", "1.5 deg", "--longitudinal", "-10 deg", *FEW)
        )
        assert light["transversal_angle_deg"] == 1.5
        assert light["longitudinal_angle_deg"] == -10.0
        assert light["dni_w_m2"] == 800.0
        cosine = 1.0 / math.hypot(1.0, math.tan(math.radians(1.5)), math.tan(math.radians(10.0)))
        assert light["aperture_power_w"] == pytest.approx(800.0 * 0.4 * 0.6 * cosine, rel=1e-12)
        assert sum(light["ledger"].values()) == pytest.approx(1.0, abs=1e-12)
        assert light["ledger"]["absorbed"] == pytest.approx(light["absorbed_fraction"]["value"], rel=1e-12)
        absorbed = sum(tube["absorbed_w"] for tube in light["tubes"])
        assert absorbed == pytest.approx(light["aperture_power_w"] * light["absorbed_fraction"]["value"], rel=1e-12)
        for tube in light["tubes"]:
            assert tube["intercepted_w"] == pytest.approx(tube["intercepted_fraction"] * light["aperture_power_w"])

    def test_a_moment_adds_sun_and_settings(self, focalrow: Command, simple_scene: Path) -> None:
        light = parsed(focalrow("light", simple_scene, "--json", "--at", "2026-06-21T12:00:00+02:00", *FEW))
        assert set(light) == LIGHT_KEYS | MOMENT_KEYS
        # A lens that is aimed with both axes has the sun on its normal, so the tilt is the sun's zenith angle.
        assert light["transversal_angle_deg"] == pytest.approx(0.0, abs=1e-6)
        assert light["tilt_deg"] == pytest.approx(90.0 - light["solar_elevation_deg"], abs=1e-6)
        assert light["swivel_deg"] == pytest.approx(light["solar_azimuth_deg"], abs=1e-6)

    def test_target_error_says_whether_it_was_reached(self, focalrow: Command, simple_scene: Path) -> None:
        light = parsed(focalrow("light", simple_scene, "--json", "--target-error", "0.01"))
        assert set(light) == LIGHT_KEYS | {"target_reached"}
        assert light["target_reached"] is True
        assert light["intercepted_fraction"]["standard_error"] <= 0.01

    def test_dni_is_an_assumption_where_the_scene_names_none(self, focalrow: Command, tmp_path: Path) -> None:
        path = tmp_path / "clear.toml"
        path.write_text(SIMPLE_SCENE.replace('source = "constant"\ndni = "800 W/m^2"\n', ""), encoding="utf-8")
        run = focalrow("light", path, *FEW)
        assert run.status == 0
        assert "DNI: 850 W/m2, an assumption" in run.out
        assert parsed(focalrow("light", path, "--json", *FEW))["dni_w_m2"] == 850.0

    def test_same_seed_same_bits_on_any_number_of_threads(self, focalrow: Command, simple_scene: Path) -> None:
        runs = [focalrow("light", simple_scene, "--json", "--threads", str(count), *FEW) for count in (1, 2, 3)]
        assert runs[0].out == runs[1].out == runs[2].out

    def test_table_is_for_a_builder(self, focalrow: Command, simple_scene: Path) -> None:
        run = focalrow("light", simple_scene, *FEW)
        assert run.status == 0
        for words in (
            "800 W/m2",
            "groove pitch 2 mm",
            "rays ran, seed 0",
            "+-",
            "missed every tube",
            "within one absorber diameter (38 mm)",
            "lens.draft_angle = ",
        ):
            assert words in run.out
        flowing = " ".join(run.out.split())
        for caution in CAUTIONS:
            assert caution in flowing
        assert run.out.isascii()

    def test_stray_light_is_told(self, focalrow: Command, simple_scene: Path) -> None:
        run = focalrow("light", simple_scene, "--longitudinal", "40 deg", *FEW)
        light = parsed(focalrow("light", simple_scene, "--longitudinal", "40 deg", "--json", *FEW))
        line = light["focal_line"]
        in_stray_light = line["w90_m"] > 3.0 * line["fwhm_m"] or line["w95_m"] > 3.0 * line["fwhm_m"]
        assert ("lies in stray light" in run.out) == in_stray_light

    def test_pose_of_the_row_follows_the_tilt(self, focalrow: Command, tmp_path: Path) -> None:
        path = tmp_path / "base.toml"
        path.write_text(SIMPLE_SCENE + 'row_turns_with = "base"\ntilt_range = ["0 deg", "60 deg"]\n', encoding="utf-8")
        flat = parsed(focalrow("light", path, "--json", *FEW))
        leaning = parsed(focalrow("light", path, "--json", "--tilt", "50 deg", *FEW))
        assert leaning["absorbed_fraction"]["value"] != flat["absorbed_fraction"]["value"]


class TestDay:
    def test_json_has_the_agreed_shape(self, focalrow: Command, simple_scene: Path) -> None:
        day = parsed(focalrow("day", simple_scene, "--json", *COARSE_DAY))
        assert set(day) == {"instants", "totals", "tube_slopes_deg", "plan"}
        assert set(day["totals"]) == TOTAL_KEYS
        assert [instant["time_local"][11:16] for instant in day["instants"]] == ["09:00", "12:00", "15:00", "18:00"]
        assert len(day["tube_slopes_deg"]) == len(day["instants"])
        for instant in day["instants"]:
            assert set(instant) == INSTANT_KEYS
            assert len(instant["absorbed_w_per_tube"]) == len(instant["intercepted_w_per_tube"]) == 2
            assert sum(instant["absorbed_w_per_tube"]) == pytest.approx(instant["absorbed_w"], rel=1e-12)
            assert instant["power_from"] == "trace"

    def test_low_sun_is_not_aimed_at(self, focalrow: Command, simple_scene: Path) -> None:
        day = parsed(
            focalrow("day", simple_scene, "--json", "--date", "2026-03-20", "--step", "10 min", "--rays", "16")
        )
        low = [instant for instant in day["instants"] if instant["solar_elevation_deg"] < 5.0]
        assert low
        for instant in low:
            for key in ("aperture_power_w", "intercepted_w", "absorbed_w", "absorbed_w_standard_error"):
                assert instant[key] == 0.0
            for key in ("tilt_deg", "swivel_deg", "transversal_angle_deg", "incidence_angle_deg", "w90_m"):
                assert instant[key] is None

    def test_a_table_fits_the_console(
        self, focalrow: Command, simple_scene: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for width in (80, 120):
            monkeypatch.setenv("COLUMNS", str(width))
            run = focalrow("day", simple_scene, *COARSE_DAY)
            assert run.status == 0
            assert max(len(line) for line in run.out.splitlines()) <= width
            assert run.out.isascii()

    def test_table_tells_what_a_builder_needs(self, focalrow: Command, simple_scene: Path) -> None:
        run = focalrow("day", simple_scene, *COARSE_DAY)
        flowing = " ".join(run.out.split())
        for words in (
            "Test Field, 2026-03-20 ======",
            "Times are local clock time of Europe/Madrid, UTC+01:00.",
            "Sunrise 07:",
            "MJ",
            "kWh",
            "the same at every instant, as the scene says",
            "must have its open end up",
            *CAUTIONS,
        ):
            assert words in flowing

    def test_a_day_without_sunrise_says_so(self, focalrow: Command, tmp_path: Path) -> None:
        path = tmp_path / "polar-night.toml"
        path.write_text(SIMPLE_SCENE.replace('latitude = "40 deg"', 'latitude = "75 deg"'), encoding="utf-8")
        run = focalrow("day", path, "--date", "2026-12-21")
        assert run.status == 0
        assert "The sun does not rise at Test Field on 2026-12-21" in " ".join(run.out.split())
        day = parsed(focalrow("day", path, "--date", "2026-12-21", "--json"))
        assert day["instants"] == []
        assert day["totals"]["absorbed_kwh"] == 0.0
        assert day["totals"]["hours_aimed"] == 0.0

    def test_a_kept_table_makes_no_plan_where_nothing_is_aimed(
        self, focalrow: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        path = tmp_path / "polar-night.toml"
        path.write_text(SIMPLE_SCENE.replace('latitude = "40 deg"', 'latitude = "75 deg"'), encoding="utf-8")
        kept = flat_table(tubes=2)
        monkeypatch.setattr("tracking.response.kept_response_table", lambda _: kept)
        day = parsed(focalrow("day", path, "--date", "2026-12-21", "--json"))
        assert day["instants"] == []
        assert day["plan"] is None
        assert "plan of moves" not in focalrow("day", path, "--date", "2026-12-21").out
        for options in (("--lazy",), ("--sheet", tmp_path / "sheet.pdf")):
            run = focalrow("day", path, "--date", "2026-12-21", *options)
            assert run.status == 2
            assert "no moves to plan on 2026-12-21" in run.err
        assert not (tmp_path / "sheet.pdf").exists()

    def test_without_a_date_it_is_today(self, focalrow: Command, simple_scene: Path) -> None:
        run = focalrow("day", simple_scene, "--step", "12 h", "--rays", "16")
        assert run.status == 0


WRONG_OPTIONS = [
    (["light", "SCENE", "--rays", "0"], "--rays"),
    (["light", "SCENE", "--rays", "-5"], "--rays: -5 is out of range. Allowed: a whole number from 1 to"),
    (["light", "SCENE", "--rays", "many"], "--rays"),
    (["light", "SCENE", "--seed", "-1"], "--seed"),
    (["light", "SCENE", "--threads", "0"], "--threads"),
    (["light", "SCENE", "--target-error", "nan"], "--target-error: nan is out of range. Allowed: a number above 0"),
    (["light", "SCENE", "--target-error", "0"], "--target-error"),
    (["light", "SCENE", "--target-error", "0.1", "--rays", "10"], "--target-error"),
    (["light", "SCENE", "--transversal", "1.5"], '--transversal: "1.5" has no unit'),
    (["light", "SCENE", "--transversal", "1,5 deg"], "write 1.5, not 1,5"),
    (["light", "SCENE", "--transversal", "90 deg"], "between -90 and 90 deg"),
    (["light", "SCENE", "--longitudinal", "nan deg"], "--longitudinal"),
    (["light", "SCENE", "--tilt", "3 mm"], "--tilt"),
    (["light", "SCENE", "--at", "2026-06-21T10:00:00"], "has no offset from UTC"),
    (["light", "SCENE", "--at", "noon"], "--at"),
    (["light", "SCENE", "--at", "2026-06-21T00:00:00+02:00"], "nothing is aimed"),
    (["light", "SCENE", "--at", "2026-06-21T12:00:00+02:00", "--transversal", "1 deg"], "--transversal"),
    (["light", "SCENE", "--wrong"], "--wrong"),
    (["light"], "SCENE"),
    (["light", "nowhere.toml"], "nowhere.toml"),
    (["day", "SCENE", "--rays", "0"], "--rays"),
    (["day", "SCENE", "--relative-error", "-1"], "--relative-error"),
    (["day", "SCENE", "--relative-error", "inf"], "--relative-error"),
    (["day", "SCENE", "--relative-error", "0.1", "--rays", "10"], "--relative-error"),
    (["day", "SCENE", "--step", "0 min"], "--step"),
    (["day", "SCENE", "--step", "25 h"], "--step"),
    (["day", "SCENE", "--step", "15"], '--step: "15" has no unit'),
    (["day", "SCENE", "--date", "2026-02-30"], '--date: "2026-02-30" is not in the calendar'),
    (["day", "SCENE", "--date", "20 March"], "--date"),
    (["day", "SCENE", "--date", "0001-01-01"], "from 1950 to 2050"),
    (["dusk", "SCENE"], "dusk"),
    ([], "command"),
]


@pytest.mark.parametrize(("arguments", "words"), WRONG_OPTIONS, ids=lambda value: " ".join(value)[:60])
def test_a_wrong_option_gives_one_message(
    focalrow: Command, simple_scene: Path, arguments: list[str], words: str
) -> None:
    run = focalrow(*(simple_scene if argument == "SCENE" else argument for argument in arguments))
    assert words in message(run)


def test_a_date_that_the_clock_skipped(focalrow: Command, tmp_path: Path) -> None:
    # Samoa went over the date line on 2011-12-30, a day that its clocks never showed (IANA time zone database).
    path = tmp_path / "apia.toml"
    path.write_text(SIMPLE_SCENE.replace("Europe/Madrid", "Pacific/Apia"), encoding="utf-8")
    assert "2011-12-30" in message(focalrow("day", path, "--date", "2011-12-30"))


def test_a_wrong_scene_gives_one_message_with_file_and_key(focalrow: Command, tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(SIMPLE_SCENE.replace('width = "400 mm"', "width = 400"), encoding="utf-8")
    for command in ("light", "day"):
        told = message(focalrow(command, path))
        assert "wrong.toml" in told
        assert "lens.width" in told


def test_unforeseen_errors_end_with_status_1_and_no_traceback(
    focalrow: Command, simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("somewhere")

    monkeypatch.setattr("raytrace.trace.trace", broken)
    monkeypatch.delenv("FOCALROW_DEBUG", raising=False)
    run = focalrow("light", simple_scene)
    assert run.status == 1
    assert "ZeroDivisionError: somewhere" in run.err
    assert "Traceback" not in run.err


def test_ctrl_c_ends_with_status_130_and_a_line(
    focalrow: Command, simple_scene: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("raytrace.trace.trace", interrupted)
    run = focalrow("light", simple_scene)
    assert run.status == 130
    assert run.out == ""
    assert "interrupted" in run.err


class TestFiles:
    def test_light_writes_its_files(self, focalrow: Command, simple_scene: Path, tmp_path: Path) -> None:
        folder = tmp_path / "deep" / "results"
        run = focalrow("light", simple_scene, "--json", "--out", folder, *FEW)
        assert sorted(path.name for path in folder.iterdir()) == ["light.csv", "light.json", "light.txt"]
        assert (folder / "light.json").read_text(encoding="utf-8") == run.out
        assert len((folder / "light.csv").read_text(encoding="utf-8").splitlines()) == 3

    def test_day_writes_its_files_over_older_ones(self, focalrow: Command, simple_scene: Path, tmp_path: Path) -> None:
        (tmp_path / "results").mkdir()
        (tmp_path / "results" / "day.txt").write_text("old", encoding="utf-8")
        (tmp_path / "results" / "mine.txt").write_text("kept", encoding="utf-8")
        run = focalrow("day", simple_scene, "--out", tmp_path / "results", *COARSE_DAY)
        names = sorted(path.name for path in (tmp_path / "results").iterdir())
        assert names == ["day.csv", "day.json", "day.txt", "mine.txt"]
        assert (tmp_path / "results" / "day.txt").read_text(encoding="utf-8") == run.out
        lines = (tmp_path / "results" / "day.csv").read_text(encoding="utf-8").splitlines()
        assert "absorbed_w_tube_2" in lines[0].split(",")
        assert len(lines) == 5

    def test_nothing_is_written_when_a_run_fails(
        self, focalrow: Command, simple_scene: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full_disk(*_: object, **__: object) -> None:
            raise OSError(28, "No space left on device")

        (tmp_path / "results").mkdir()
        monkeypatch.setattr(Path, "write_text", full_disk)
        run = focalrow("light", simple_scene, "--out", tmp_path / "results", *FEW)
        assert run.status == 1
        assert "No space left on device" in run.err
        assert list((tmp_path / "results").iterdir()) == []

    def test_a_file_in_place_of_the_folder_is_refused(self, focalrow: Command, simple_scene: Path) -> None:
        assert "--out" in message(focalrow("light", simple_scene, "--out", simple_scene))
        assert "--out" in message(focalrow("day", simple_scene, "--out", simple_scene / "below"))


class TestNew:
    def test_a_starter_scene_works_and_is_not_overwritten(self, focalrow: Command, tmp_path: Path) -> None:
        path = tmp_path / "mine.toml"
        assert focalrow("new", path).status == 0
        first = path.read_text(encoding="utf-8")
        parsed(focalrow("light", path, "--json", *FEW))
        path.write_text("# my changes\n" + first, encoding="utf-8")
        assert "mine.toml" in message(focalrow("new", path))
        assert path.read_text(encoding="utf-8").startswith("# my changes")
        assert focalrow("new", path, "--force").status == 0
        assert path.read_text(encoding="utf-8") == first


def python(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=os.environ | environment,
        timeout=300,
        check=False,
    )


def modules_after(code: str) -> set[str]:
    done = python("-c", f"{code}\nimport sys\nprint(*sorted(sys.modules), file=sys.stderr)")
    assert done.returncode == 0, done.stderr
    return set(done.stderr.splitlines()[-1].split())


def test_raytrace_loads_no_library_of_tracking() -> None:
    loaded = modules_after("import raytrace, raytrace.scene, raytrace.trace, raytrace.result, raytrace.lens")
    assert not loaded & {"pandas", "pvlib", "matplotlib", "trimesh", "typer", "rich", "pydantic", "tracking"}


def test_help_loads_nothing_slow() -> None:
    loaded = modules_after("from tracking.cli.main import main\nassert main(['--help']) == 0")
    assert not loaded & {"numpy", "numba", "pandas", "pvlib", "matplotlib", "trimesh", "pydantic", "rich"}


def test_light_without_a_moment_loads_no_solar_library(simple_scene: Path) -> None:
    arguments = ["light", str(simple_scene), "--json", *FEW]
    loaded = modules_after(f"from tracking.cli.main import main\nassert main({arguments!r}) == 0")
    assert not loaded & {"pvlib", "pandas", "matplotlib", "trimesh"}


def test_no_colour_and_no_bar_where_there_is_no_terminal(simple_scene: Path) -> None:
    done = python("-m", "tracking.cli.main", "light", str(simple_scene), *FEW, FORCE_COLOR="1")
    assert done.returncode == 0
    assert done.stderr == ""
    assert "\x1b" not in done.stdout


def test_a_name_that_the_console_cannot_show(tmp_path: Path) -> None:
    path = tmp_path / "accents.toml"
    path.write_text(SIMPLE_SCENE.replace("Test Field", "São João → Łąka"), encoding="utf-8")
    done = python("-m", "tracking.cli.main", "day", str(path), *COARSE_DAY, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 0, done.stderr
    assert "Sao Joao ? ?aka, 2026-03-20" in done.stdout


def test_a_reader_that_leaves_early_hears_no_complaint(simple_scene: Path) -> None:
    command = [sys.executable, "-m", "tracking.cli.main", "light", str(simple_scene), *FEW]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == ""


def test_a_table_and_traces_cannot_both_be_asked_for(focalrow: Command, simple_scene: Path) -> None:
    run = focalrow("day", str(simple_scene), "--table", "--direct")
    assert run.status == 2
    assert "--table" in run.err


README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```console\n\$ focalrow ([^\n]*)\n(.*?)```", README, flags=re.DOTALL)
LEFT_OUT = "[...]"


def as_printed(token: str, shown: str) -> bool:
    """Whether a token is the one shown, a number within two units of its last digit: processors round differently."""
    number = r"(.*?)(-?\d+(?:\.(\d+))?)(\D*)"
    here, there = re.fullmatch(number, token), re.fullmatch(number, shown)
    if here is None or there is None:
        return token == shown
    unit = 10.0 ** -len(there[3] or "")
    return (here[1], here[4]) == (there[1], there[4]) and abs(float(here[2]) - float(there[2])) <= 2.01 * unit


def begins_with(tokens: list[str], part: list[str]) -> bool:
    return len(tokens) >= len(part) and all(map(as_printed, tokens, part))


@pytest.mark.parametrize(("arguments", "printed"), EXAMPLES, ids=lambda text: text.split("\n")[0][:40])
def test_examples_of_the_readme_print_what_stands_there(
    focalrow: Command, monkeypatch: pytest.MonkeyPatch, arguments: str, printed: str
) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "100")
    run = focalrow(*shlex.split(arguments))
    assert run.status == 0
    rest = run.out.split()
    for part in printed.split(LEFT_OUT):
        tokens = part.split()
        while rest and not begins_with(rest, tokens):
            rest = rest[1:]
        assert begins_with(rest, tokens), f"not printed any more:\n{part}"
        rest = rest[len(tokens) :]


def test_the_readme_has_examples_and_cautions() -> None:
    assert len(EXAMPLES) >= 2
    flowing = " ".join(README.split())
    for caution in CAUTIONS:
        assert caution in flowing
