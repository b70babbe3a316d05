"""The exported C, compiled with gcc and run for every minute of its period, against the schedule and against traces."""

import datetime as dt
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from conftest import ROOT, SIMPLE_SCENE
from test_blind_follower import Machine, Vector, sun_at
from test_motors import ACTUATORS, ZENITH_DAY, drive_of, simple_chart, smooth_response

from raytrace.arrays import Floats, Ints
from raytrace.trace import prepare, trace_prepared
from tracking.motors import schedule as schedule_module
from tracking.motors.export_c import CExport
from tracking.motors.firmware import exports, firmware
from tracking.motors.plan import MotorPlan, motor_plan
from tracking.motors.safety import IGNITION_FLUX, STRONGEST_SUN, WayOut
from tracking.motors.schedule import day_schedule, setpoint_at
from tracking.motors.table import STATE_NAMES, look_up
from tracking.scenefile import read_scene
from tracking.sky.site import Site
from tracking.sky.sunpath import sun_path
from tracking.stray.ways_out import traced_ways_out

pytestmark = pytest.mark.long  # needs gcc, and compiles again and again

FLAGS = ["-std=c99", "-O1", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror"]

MAIN = r"""
#include "focalrow_setpoints.h"
#include <stdio.h>
int main(void)
{
    uint32_t t;
    printf("%d %d %lu\n", focalrow_check_table(), focalrow_self_test(),
           (unsigned long)focalrow_crc32((const uint8_t *)"123456789", 9u));
    for (t = FOCALROW_VALID_FROM - 60u; t <= FOCALROW_VALID_UNTIL; t += 60u) {
        focalrow_setpoint at = focalrow_lookup(t), out = focalrow_emergency(at.tilt, at.swivel);
        focalrow_setpoint ways[3];
        int k;
        ways[0] = focalrow_emergency_by(0u, at.tilt, at.swivel);
        ways[1] = focalrow_emergency_by(1u, at.tilt, at.swivel);
        ways[2] = focalrow_wind(at.tilt, at.swivel);
        printf("%lu %d %ld %ld %d %ld %ld %u", (unsigned long)t, (int)at.state, (long)at.tilt, (long)at.swivel,
               (int)out.state, (long)out.tilt, (long)out.swivel, (unsigned)focalrow_swivel_binary_angle(at.swivel));
        for (k = 0; k < 3; k++) {
            printf(" %d %ld %ld", (int)ways[k].state, (long)ways[k].tilt, (long)ways[k].swivel);
        }
        printf("\n");
    }
    return 0;
}
"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Built:
    """A compiled export and what it printed."""

    plan: MotorPlan
    export: CExport
    folder: Path
    checks: list[int]
    numbers: Ints


def compiled(folder: Path, main: str, *sources: str) -> str:
    """What a program of these sources prints."""
    assert shutil.which("gcc"), "these tests need gcc"
    (folder / "main.c").write_text(main, encoding="ascii")
    subprocess.run(["gcc", *FLAGS, "main.c", *sources, "-o", "program", "-lm"], cwd=folder, check=True)  # noqa: S607
    return subprocess.run([folder / "program"], capture_output=True, text=True, check=True).stdout


def built(plan: MotorPlan, budget: int, folder: Path) -> Built:
    export = firmware(plan, budget)
    folder.mkdir(exist_ok=True)
    for name, text in exports(plan, export).items():
        (folder / name).write_text(text, encoding="ascii")
    first, *rest = compiled(folder, MAIN, "focalrow_setpoints.c").splitlines()
    numbers = np.array([[int(word) for word in line.split()] for line in rest], dtype=np.int64)
    return Built(plan=plan, export=export, folder=folder, checks=[int(word) for word in first.split()], numbers=numbers)


def scene(tmp_path: Path, name: str) -> Path:
    path = tmp_path / "scene.toml"
    shipped = ROOT / "scenes" / f"{name}.toml"
    path.write_text(SIMPLE_SCENE + ACTUATORS if name == "simple" else shipped.read_text(encoding="utf-8"), "utf-8")
    return path


PERIODS = {
    "simple": (dt.date(2026, 1, 1), 75, 4096),
    "tropics": (dt.date(2026, 4, 18), 20, 8192),
    "south": (dt.date(2026, 5, 1), 60, 3000),
    "north": (dt.date(2026, 6, 1), 60, 70000),  # more than one array of 32,767 bytes; ends of the range
}


@pytest.mark.parametrize("name", PERIODS)
def test_every_minute_of_the_compiled_table(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schedule_module, "absorbed_fraction", lambda *_: smooth_response)
    monkeypatch.setattr(schedule_module, "concentration_map", lambda _: simple_chart())
    first, count, budget = PERIODS[name]
    plan = motor_plan(
        read_scene(scene(tmp_path, name)), first, first + dt.timedelta(days=count - 1), dt.timedelta(hours=6),
        wanted_loss=0.01,
    )  # fmt: skip
    made = built(plan, budget, tmp_path / "out")
    assert made.checks == [1, 1, 0xCBF43926]  # the check value of CRC-32/ISO-HDLC, as in zlib
    table, error = made.export.table, made.export.error
    source = (made.folder / "focalrow_setpoints.c").read_text(encoding="ascii")
    assert_arrays_small(source)
    assert ("rows_1" in source) == (name == "north")
    held = sum(
        (2 if f"uint16_t {name}[]" in source else 4) * body.count(",") for name, body in arrays_of(source).items()
    )
    assert held <= budget
    assert "float" not in source
    assert "double" not in source
    assert "malloc" not in source

    # Bit for bit the look-up whose errors were measured.
    axes = [scale.axis for scale in table.axes]
    columns = [2 if axis == "tilt" else 3 for axis in axes]
    found = look_up(table, made.numbers[:, 0])
    assert np.array_equal(found.state, made.numbers[:, 1])
    assert np.array_equal(found.counts, made.numbers[:, columns])
    assert made.numbers[0, 1] == made.numbers[-1, 1] == 4  # out of the period on both sides

    # Within the promised error of the schedule in double precision.
    by_time = {int(row[0]): row for row in made.numbers}
    for day in plan.days:
        if day.track is None:
            continue
        rows = np.array([by_time[int(second)] for second in day.track.seconds])
        aimed = (rows[:, 1] == 0) | (rows[:, 1] == 3)
        edge = int(np.ceil(error.edge_seconds / 60.0)) + 1
        assert aimed[edge:-edge].all()
        for row in rows[edge:-edge:7]:
            assert STATE_NAMES[row[1]] == setpoint_at(plan.drive, day, float(row[0])).state
        for k, (axis, each) in enumerate(plan.drive.actuators.axes()):
            wanted = each.counts(day.track.tilt if axis == "tilt" else day.track.swivel)
            off = np.abs(rows[aimed, columns[k]] - wanted[aimed])
            assert off.max() <= error.counts[k] + 1e-6
    # The safe poses lie within the soft limits; the binary angle is that of the swivel.
    for axis, each in plan.drive.actuators.axes():
        if each.limits is None:
            continue
        low, high = sorted(float(each.counts(limit)) for limit in each.limits)
        for way in (5, 9, 12, 15):
            column = way if axis == "tilt" else way + 1
            assert made.numbers[:, column].min() >= low - 1
            assert made.numbers[:, column].max() <= high + 1
    swivel = plan.drive.actuators.swivel
    if swivel is not None:
        turned = np.asarray(swivel.angle(made.numbers[:, 3])) / 360.0 * 65536.0
        off_turn = (made.numbers[:, 7] - turned + 32768.0) % 65536.0 - 32768.0
        assert np.abs(off_turn).max() <= 2.0


def assert_arrays_small(source: str) -> None:
    """No array of 16-bit words above 32,767 bytes."""
    for part in source.split("static const uint16_t ")[1:]:
        body = part[part.index("{") : part.index("}")]
        assert 2 * body.count(",") <= 32767


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Built]:
    """A compiled export of four days."""
    folder = tmp_path_factory.mktemp("small")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(schedule_module, "absorbed_fraction", lambda *_: smooth_response)
        patch.setattr(schedule_module, "concentration_map", lambda _: simple_chart())
        first, last = dt.date(2026, 6, 1), dt.date(2026, 6, 4)
        plan = motor_plan(read_scene(scene(folder, "simple")), first, last, dt.timedelta(hours=6), wanted_loss=0.01)
        yield built(plan, 2000, folder / "out")


def test_emergency_of_the_c_code_is_that_of_the_bins(small: Built) -> None:
    drives = dict(small.plan.drive.actuators.axes())
    steps = {scale.axis: scale.scale for scale in small.export.poses.scales}

    def told(way: WayOut | None, row: Ints) -> tuple[int, int, int]:
        """State and counts that the C must give for a way."""
        pose = {"tilt": int(row[2]), "swivel": int(row[3])}
        if way is not None:
            pose[way.axis] = round(float(drives[way.axis].counts(way.angle)))
        return 6 if way is None else 5, pose["tilt"], pose["swivel"]

    seen = set()
    for row in small.numbers[::37]:
        angles = [float(drives[axis].angle(row[column])) for axis, column in (("tilt", 2), ("swivel", 3))]
        here = [
            each
            for each in small.plan.bins
            if all(
                low - 0.01 <= angle <= high + 0.01
                for angle, (low, high) in zip(angles, (each.tilt, each.swivel), strict=True)
            )
        ]
        assert here
        for column, ways in (
            (4, [each.way_out for each in here]), (8, [each.by_tilt for each in here]),
            (11, [each.by_swivel for each in here]), (14, [each.wind for each in here]),
        ):  # fmt: skip
            state, tilt, swivel = (int(word) for word in row[column : column + 3])
            seen.add((column, state))
            # A word of the table stands for some counts, and the C never goes beyond: at most that many short.
            assert any(
                state == wanted[0]
                and 0 <= wanted[1] - tilt < steps["tilt"]
                and 0 <= wanted[2] - swivel < steps["swivel"]
                for wanted in (told(way, row) for way in ways)
            )
    assert {(4, 5), (8, 5), (11, 5), (14, 5)} <= seen


CORRUPT = r"""
#include <stdint.h>
#include <stdio.h>
#define const /* so that the arrays can be damaged */
#include "focalrow_setpoints.c"
#undef const
static unsigned long tried = 0ul, missed = 0ul;
static void damage(void *array, unsigned long bytes)
{
    unsigned char *at = (unsigned char *)array;
    unsigned long k;
    unsigned int bit;
    for (k = 0ul; k < bytes; k++) {
        for (bit = 0u; bit < 8u; bit++) {
            at[k] = (unsigned char)(at[k] ^ (1u << bit));
            tried++;
            missed += focalrow_check_table() != 0 ? 1ul : 0ul;
            at[k] = (unsigned char)(at[k] ^ (1u << bit));
        }
    }
}
int main(void)
{
    int before = focalrow_check_table();
    ARRAYS
    printf("%d %lu %lu %d\n", before, tried, missed, focalrow_check_table());
    return 0;
}
"""


def arrays_of(source: str) -> dict[str, str]:
    """Names of the arrays of a source, and what they hold."""
    return dict(re.findall(r"static const u?int\d\d_t (\w+)\[\] FOCALROW_FLASH = \{([^}]*)\}", source))


def test_each_flipped_bit_of_the_arrays_is_noticed(small: Built) -> None:
    source = (small.folder / "focalrow_setpoints.c").read_text(encoding="ascii")
    names = [name for name in arrays_of(source) if name not in {"vectors", "spans"}]  # no span of another state here
    assert {"stamp", "node_days", "rows_0", "tilt_edges", "swivel_edges", "ways"} == set(names)
    calls = " ".join(f"damage({name}, sizeof {name});" for name in names)
    before, tried, missed, after = compiled(small.folder, CORRUPT.replace("ARRAYS", calls)).split()
    table, poses = small.export.table, small.export.poses
    assert (before, missed, after) == ("1", "0", "1")
    assert int(tried) == 8 * (table.size + poses.size + 8)  # and the stamp


def test_arrays_in_a_memory_of_their_own_are_read_by_the_macros_alone(small: Built) -> None:
    # Every word is stored with its bits turned over, and only the macros turn them back: as where an 8-bit controller
    # keeps constants apart from what its pointers reach.
    source = (small.folder / "focalrow_setpoints.c").read_text(encoding="ascii")
    turned = source.replace("{FOCALROW_MAGIC, 1u}", "{~FOCALROW_MAGIC, ~UINT32_C(1)}")
    for name, body in arrays_of(turned).items():
        if name == "stamp":
            continue
        kind = "uint16_t" if f"uint16_t {name}[]" in turned else "int32_t"
        flipped = re.sub(r"\(?-?(?:INT32_C\()?\d+\)*(?=,)", rf"({kind})~\g<0>", body)
        assert flipped.count("~") == body.count(",")
        turned = turned.replace(body, flipped)
    (small.folder / "turned.c").write_text(turned, encoding="ascii")
    macros = (
        "#define FOCALROW_READ16(place) ((uint16_t)(*(place) ^ 0xFFFFu))\n"
        "#define FOCALROW_READ32(place) ((uint32_t)*(place) ^ UINT32_C(0xFFFFFFFF))\n"
    )
    printed = compiled(small.folder, macros + '#include "turned.c"\n' + MAIN).splitlines()
    assert printed[0].split()[:2] == ["1", "1"]
    assert [[int(word) for word in line.split()] for line in printed[1:]] == small.numbers.tolist()


def test_an_independent_follower_of_the_c_code_loses_no_more_than_promised(tmp_path: Path) -> None:
    # Counts of the compiled table at every minute of a period in which the sun passes within 1 deg of the zenith,
    # turned into angles by the drives' own geometry, under a sun and a mount of another code, with direct traces.
    first, last = ZENITH_DAY - dt.timedelta(days=1), ZENITH_DAY
    plan = motor_plan(read_scene(scene(tmp_path, "tropics")), first, last, dt.timedelta(hours=1), wanted_loss=0.01)
    made = built(plan, 2500, tmp_path / "out")
    file = plan.drive.scene_file
    machine, prepared = Machine(file), prepare(file.scene)

    def power(tilt: float, swivel: float, sun: Vector) -> tuple[float, float]:
        transversal, longitudinal, cosine, row = machine.seen(tilt, swivel, sun)
        traced = trace_prepared(
            prepared, transversal_angle=transversal, longitudinal_angle=longitudinal, rays=1 << 11, seed=77, row=row
        )
        return cosine * traced.absorbed_fraction.value, cosine * traced.absorbed_fraction.standard_error

    by_time = {int(row[0]): row for row in made.numbers}
    energy, lost, variance, highest, minutes = 0.0, 0.0, 0.0, 0.0, 0
    for day in plan.days:
        track = day.track
        assert track is not None
        for k in range(len(track)):
            row = by_time[int(track.seconds[k])]
            if row[1] not in {0, 3}:
                continue  # the edges of the day, which the header tells in seconds
            sun = sun_at(dt.datetime.fromtimestamp(int(row[0]), tz=dt.UTC), file.site.latitude, file.site.longitude)
            highest = max(highest, sun[2])
            meant, error = power(float(track.tilt[k]), float(track.swivel[k]), sun)
            told, _ = power(*tropics_angles(int(row[2]), int(row[3])), sun)
            # Both traces start the same rays, but what they meet differs: 4 standard errors of the difference. The
            # promise comes from the response table, whose worst error is 0.002.
            assert meant - told <= made.export.error.power + 4.0 * np.sqrt(2.0) * error + 0.002
            energy += meant
            lost += meant - told
            variance += 2.0 * error * error
            minutes += 1
    assert minutes > 0.98 * sum(len(day.track) for day in plan.days if day.track is not None)
    assert np.degrees(np.arccos(highest)) < 1.0
    assert lost / energy <= made.export.error.energy + 4.0 * np.sqrt(variance) / energy

    # The ways out, of single poses and of the table of bins: no thing around the row sees what can set wood on fire,
    # and no tube a tenth of what it gets when aimed.
    out = traced_ways_out(plan)
    assert out is not None
    assert len(out.times) > 20
    if out.worst is not None:
        assert out.worst.flux <= IGNITION_FLUX + 4.0 * out.worst.flux_error
    aimed = energy / minutes * STRONGEST_SUN * file.scene.lens.width * file.scene.lens.length / file.scene.tubes.count
    assert max(out.tubes) < 0.1 * aimed


def tropics_angles(tilt_counts: int, swivel_counts: int) -> tuple[float, float]:
    """Tilt and swivel [deg] of the tropics scene's drives: its triangle by the law of cosines, and its gear."""
    base, arm, offset = 0.70, 0.45, 30.0
    length = 0.38 + tilt_counts / 40.0 / 1000.0
    included = np.degrees(np.arccos((base**2 + arm**2 - length**2) / (2.0 * base * arm)))
    return float(included) - offset, 180.0 + swivel_counts / (8.888889 * 50.0)


def test_schedule_of_the_real_scene_on_the_day_of_the_zenith(tmp_path: Path) -> None:
    drive = drive_of(read_scene(scene(tmp_path, "tropics")))
    day = day_schedule(drive, ZENITH_DAY)
    assert day.losses.loss < 0.02


SUN_MAIN = r"""
#include "focalrow_sun.h"
#include <stdio.h>
int main(void)
{
    unsigned long t;
    double latitude, longitude;
    while (scanf("%lu %lf %lf", &t, &latitude, &longitude) == 3) {
        focalrow_sun_position at = focalrow_sun((uint32_t)t, latitude, longitude);
        printf("%.6f %.6f %.6f\n", at.azimuth, at.true_elevation, at.elevation);
    }
    return 0;
}
"""


def test_the_plain_c_sun_is_as_exact_as_it_says(tmp_path: Path) -> None:
    # Against NREL's SPA (I. Reda and A. Andreas, NREL/TP-560-34302, 2008) in pvlib's implementation.
    for name in ("focalrow_sun.h", "focalrow_sun.c"):
        shutil.copy(ROOT / "tracking" / "motors" / "c" / name, tmp_path / name)
    (tmp_path / "main.c").write_text(SUN_MAIN, encoding="ascii")
    subprocess.run(["gcc", *FLAGS, "main.c", "focalrow_sun.c", "-o", "sun", "-lm"], cwd=tmp_path, check=True)  # noqa: S607
    rng = np.random.default_rng(11)
    begin, end = (dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp() for year in (1970, 2050))
    worst, bent = 0.0, 0.0
    for latitude, longitude in ((13.9, -90.4), (-27.4, 26.1), (52.3, 20.4), (0.0, 179.9)):
        seconds = np.sort(rng.integers(int(begin), int(end), 1500))
        asked = "".join(f"{second} {latitude} {longitude}\n" for second in seconds)
        printed = subprocess.run([tmp_path / "sun"], input=asked, capture_output=True, text=True, check=True).stdout
        azimuth, true_elevation, elevation = np.array([line.split() for line in printed.splitlines()], dtype=float).T
        site = Site(name="x", latitude=latitude, longitude=longitude, altitude=0.0, timezone="UTC")
        spa = sun_path(site, [dt.datetime.fromtimestamp(int(second), tz=dt.UTC) for second in seconds])
        off = apart(azimuth, true_elevation, spa.azimuth, 90.0 - spa.true_zenith)
        worst = max(worst, float(off.max()))
        aimed = spa.elevation > 5.0
        bent = max(bent, float(np.abs(elevation - spa.elevation)[aimed].max()))
    assert worst < 0.015  # [deg], as the header states
    assert bent < 0.025  # besides, another refraction formula, at 10 instead of 12 degC


def apart(azimuth: Floats, elevation: Floats, other_azimuth: Floats, other_elevation: Floats) -> Floats:
    """Angle between directions [deg]."""
    a, e, b, f = (np.radians(x) for x in (azimuth, elevation, other_azimuth, other_elevation))
    x = np.stack([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])
    y = np.stack([np.cos(f) * np.sin(b), np.cos(f) * np.cos(b), np.sin(f)])
    return np.degrees(2.0 * np.arcsin(0.5 * np.linalg.norm(x - y, axis=0)))
