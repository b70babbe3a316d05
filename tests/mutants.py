"""Plants faults in the optics, one at a time, and asks whether quick tests notice.

`python tests/mutants.py` copies the tree, changes one text of it and runs the tests named beside the fault, without
the compiler so that each takes seconds. It prints each fault with its fate and ends with status 1 where a fault is
not noticed, where the tests fail without any, or where a text to change is not found exactly once: then the list below
needs mending. `python tests/mutants.py WORD` takes only faults in whose file or description the word stands.
"""

import contextlib
import os
import re
import shutil
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
PARTS = ("raytrace", "tracking", "tests", "scenes", "pyproject.toml", "README.md")
CRASH = 99  # status of a child that could not run its tests


@dataclass(frozen=True, kw_only=True, slots=True)
class Mutant:
    """A fault: in `file` (below raytrace/) the text `old` becomes `new`; `tests` below tests/ must notice."""

    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


SURFACES = (
    "published/test_surfaces.py::test_reflectance_at_normal_incidence",
    "published/test_surfaces.py::test_lens_without_facet_angle_is_a_slab",
    "published/test_surfaces.py::test_example_5_3_1_of_duffie_and_beckman",
    "published/test_surfaces.py::test_total_internal_reflection_loses_nothing",
    "published/test_surfaces.py::test_critical_angle",
)
FACETS = (
    "published/test_lens.py::test_light_through_one_facet",
    "published/test_lens.py::test_facet_angles",
    "published/test_lens.py::test_depth_of_a_groove_with_draft",
    "published/test_surfaces.py::test_total_internal_reflection_loses_nothing",
)
RISERS = ("test_risers.py",)
SUN = ("published/test_sun_directions.py",)
SUNSHAPE = ("published/test_sunshape.py::test_aureole", "published/test_sunshape.py::test_radiance_of_the_disc")
TUBES = ("test_tubes.py",)
_BY_HAND = "test_trace.py::test_a_trace_books_what_its_rays_do_one_by_one"
WHOLE_BELOW = (f"{_BY_HAND}[plain]",)
WHOLE_ABOVE = (f"{_BY_HAND}[row in glass under skewed light]",)
WHOLE_ASKEW = (f"{_BY_HAND}[water-clear sheet of glass index]",)
WHOLE_SAGGING = (f"{_BY_HAND}[row across a sagging lens]",)
WHOLE_GRAZING = (f"{_BY_HAND}[grazing sun]",)
WHOLE_COARSE = (f"{_BY_HAND}[coarse grooves, point sun]",)
BESIDE = ("test_trace.py::test_a_tube_beside_its_place_gets_what_the_tube_of_a_row_gets_there",)
BEFORE = ("test_stray.py::test_a_face_before_the_tubes_sees_their_light_too_and_casts_no_shadow",)

MUTANTS = (
    Mutant(
        what="one polarisation is never reflected", file="kernels/refract.py",
        old="(s_part * s_part + p_part * p_part)", new="(s_part * s_part)", tests=SURFACES,
    ),
    Mutant(
        what="Snell's law with the indices swapped", file="kernels/refract.py",
        old="n_to * n_to - n_from * n_from +", new="n_from * n_from - n_to * n_to +", tests=SURFACES,
    ),
    Mutant(
        what="absorption halved", file="kernels/refract.py", old="HALVINGS = 6", new="HALVINGS = 5", tests=SURFACES,
    ),
    Mutant(
        what="total reflection turns the wrong way", file="kernels/sheet.py",
        old="return px + 2.0 * normal * nx", new="return px - 2.0 * normal * nx", tests=SURFACES,
    ),
    Mutant(
        what="sine and cosine of the facet swapped", file="kernels/sheet.py",
        old="nx, nz = -sheet.sin_facet[groove], sheet.cos_facet[groove]",
        new="nx, nz = -sheet.cos_facet[groove], sheet.sin_facet[groove]", tests=FACETS,
    ),
    Mutant(
        what="the riser leans the wrong way", file="kernels/sheet.py",
        old="nx, nz = norm, sheet.tan_draft * norm", new="nx, nz = norm, -sheet.tan_draft * norm", tests=RISERS,
    ),
    Mutant(
        what="the neighbouring groove's facet is met", file="kernels/sheet.py",
        old="gap = sign * (zeta - x * tan_facet)", new="gap = sign * (zeta - (x + pitch) * tan_facet)", tests=FACETS,
    ),
    Mutant(
        what="absorption forgets that a path is in units of |p|", file="kernels/sheet.py",
        old="path += s * n", new="path += s", tests=WHOLE_COARSE,
    ),
    Mutant(
        what="the axes of the sun's disc are not at right angles", file="kernels/sun.py",
        old="(cosine * cos_l - b * cos_t * sin_l) * norm", new="(cosine * cos_l + b * cos_t * sin_l) * norm",
        tests=SUN,
    ),
    Mutant(
        what="the aiming error turns the wrong way", file="kernels/sun.py",
        old="return sine * c + cosine * s, cosine * c - sine * s",
        new="return sine * c - cosine * s, cosine * c + sine * s", tests=SUN,
    ),
    Mutant(
        what="the aiming error along the grooves is dropped", file="kernels/starts.py",
        old="turned(sin_l, cos_l, look(along, k))", new="turned(sin_l, cos_l, 0.0 * look(along, k))",
        tests=WHOLE_GRAZING,
    ),
    Mutant(
        what="half of the sun's disc is drawn twice", file="kernels/points.py",
        old="return s, c if t < 0.0 else -c", new="return s, c", tests=SUN,
    ),
    Mutant(
        what="a table is read backwards within its cells", file="kernels/points.py",
        old="(high - low) * float(position - cell)", new="(low - high) * float(position - cell)", tests=SUN,
    ),
    Mutant(
        what="a chord of a circle loses its slant", file="kernels/tube.py",
        old="(radius * radius - pu * pu - pw * pw) / a", new="radius * radius - pu * pu - pw * pw", tests=TUBES,
    ),
    Mutant(
        what="light bends the wrong way on entering the glass", file="kernels/tube.py",
        old="pu, pw = pu + (normal - after) * nu, pw + (normal - after) * nw\n                state = _GLASS",
        new="pu, pw = pu - (normal - after) * nu, pw - (normal - after) * nw\n                state = _GLASS",
        tests=TUBES,
    ),
    Mutant(
        what="the glass takes up too little", file="kernels/tube.py",
        old="left = attenuation(absorption, s * n)", new="left = attenuation(absorption, s)", tests=TUBES,
    ),
    Mutant(
        what="the row is not centred", file="kernels/tube.py",
        old="axis = (tube - middle) * row.spacing", new="axis = tube * row.spacing", tests=TUBES,
    ),
    Mutant(
        what="the angle on the absorber has a wrong sign in it", file="kernels/tube.py",
        old="cosine = -(pu * cu + pw * w) / row.outer_radius", new="cosine = -(pu * cu - pw * w) / row.outer_radius",
        tests=TUBES,
    ),
    Mutant(
        what="the row's axes are transposed", file="kernels/tube.py",
        old="return a[0] * x + a[1] * y + a[2] * z,", new="return a[0] * x + a[3] * y + a[6] * z,",
        tests=WHOLE_ASKEW,
    ),
    Mutant(
        what="a row beside its place lies on the other side", file="kernels/ray.py",
        old="x - row.shift_x, y - row.shift_y", new="x + row.shift_x, y + row.shift_y", tests=BESIDE,
    ),
    Mutant(
        what="both halves of a sagging sheet lean the same way", file="kernels/ray.py",
        old="sin_piece = math.copysign(1.0, x) * sheet.sin_piece[groove]", new="sin_piece = sheet.sin_piece[groove]",
        tests=WHOLE_SAGGING,
    ),
    Mutant(
        what="what the absorber reflects is booked as what it takes", file="kernels/path.py",
        old="sums[REFLECTED_ABSORBER] += arrived * (1.0 - factor)", new="sums[REFLECTED_ABSORBER] += arrived * factor",
        tests=WHOLE_ASKEW,
    ),
    Mutant(
        what="the focal line is mirrored on the general path", file="kernels/path.py",
        old="x + (z + row.height) / -pz * px", new="x + (z + row.height) / pz * px", tests=WHOLE_ABOVE,
    ),
    Mutant(
        what="rays lean the wrong way inside the sheet", file="kernels/grooves.py",
        old="bottom = start * side + qx * per_after * t", new="bottom = start * side - qx * per_after * t",
        tests=WHOLE_COARSE,
    ),
    Mutant(
        what="a riser under the grooves turns rays too far", file="kernels/grooves.py",
        old="lean, fall = qx + kick, after - kick * tan_q", new="lean, fall = qx + 2.0 * kick, after - kick * tan_q",
        tests=WHOLE_BELOW,
    ),
    Mutant(
        what="the way to a riser toward the sun takes no light", file="kernels/grooves.py",
        old="s += s_riser", new="s += 0.0 * s_riser", tests=WHOLE_ABOVE,
    ),
    Mutant(
        what="a ray that leaves one envelope meets the wrong tube next", file="kernels/landing.py",
        old="following = look(number0, j) + sense", new="following = look(number0, j) - sense", tests=WHOLE_ABOVE,
    ),
    Mutant(
        what="the second surface takes the first one's share", file="kernels/grooves.py",
        old="share_2 = transmittance(n, 1.0, abs(normal) + TINY, out)",
        new="share_2 = transmittance(1.0, n, abs(normal) + TINY, out)", tests=WHOLE_BELOW,
    ),
    Mutant(
        what="grooves toward the sun bend too little", file="kernels/grooves.py",
        old="after = math.sqrt(n * n - 1.0 + normal * normal)", new="after = math.sqrt(n * n + normal * normal)",
        tests=WHOLE_ABOVE,
    ),
    Mutant(
        what="the glass of plain rays is clear", file="kernels/landing.py",
        old="share *= attenuation(absorption, s_glass * n)", new="share *= 1.0", tests=WHOLE_ABOVE,
    ),
    Mutant(
        what="light beside the absorber passes its glass once only", file="kernels/landing.py",
        old="share *= share * attenuation(", new="share *= attenuation(", tests=WHOLE_ABOVE,
    ),
    Mutant(
        what="facet law with the wrong sign", file="lens.py",
        old="index - np.cos(deflection)", new="index + np.cos(deflection)", tests=FACETS,
    ),
    Mutant(
        what="facet law of the other side", file="lens.py",
        old="np.sqrt(index * index - sine * sine) - 1.0", new="index - np.cos(deflection)", tests=FACETS,
    ),
    Mutant(
        what="the draft makes grooves deeper", file="lens.py",
        old="(1.0 + tan_facet * math.tan(", new="(1.0 - tan_facet * math.tan(", tests=FACETS,
    ),
    Mutant(
        what="the aureole falls off otherwise", file="optics/sunshape.py", old="* chi**-0.3", new="* chi**0.3",
        tests=SUNSHAPE,
    ),
    Mutant(
        what="what stands before the tubes sees only the light that misses them", file="kernels/surroundings.py",
        old="path < clear_path(row.outer_radius, w, pw)", new="path < 0.0", tests=BEFORE,
    ),
    Mutant(
        what="what stands behind the tubes sees the light that they take", file="kernels/surroundings.py",
        old="return (abs(w) - radius) / abs(pw) if w * pw < 0.0 else math.inf", new="return math.inf", tests=BEFORE,
    ),
)  # fmt: skip


@dataclass(slots=True)
class Run:
    """Tests that run in a child process on a tree of their own."""

    name: str
    tests: tuple[str, ...]
    mutant: Mutant | None
    folder: Path
    begun: float = field(default_factory=time.monotonic)


def plant(mutant: Mutant | None, tree: Path) -> None:
    """A copy of the repository's parts with the fault in it."""
    tree.mkdir()
    for part in PARTS:
        source = ROOT / part
        if source.is_dir():
            shutil.copytree(source, tree / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, tree / part)
    if mutant is not None:
        path = tree / "raytrace" / mutant.file
        text = path.read_text(encoding="utf-8")
        if text.count(mutant.old) != 1:
            sys.exit(f"{mutant.file}: {mutant.old!r} is there {text.count(mutant.old)} times, not once: mend the list.")
        path.write_text(text.replace(mutant.old, mutant.new), encoding="utf-8")


def run_tests(run: Run) -> int:
    """Run the tests in this process, a child, with what they print in a file; pytest's exit status."""
    import pytest

    tree = run.folder / "tree"
    os.chdir(tree)
    sys.path[:0] = [str(tree), str(tree / "tests")]
    with (run.folder / "log").open("w", encoding="utf-8") as log, contextlib.redirect_stdout(log):
        status = pytest.main(
            ["-q", "-x", "--tb=line", "-p", "no:cacheprovider", "-o", "addopts="]
            + [f"tests/{test}" for test in run.tests]
        )
        import raytrace

        if not str(raytrace.__file__).startswith(str(tree)):
            return CRASH  # another tree was tested
        return int(status)


def start(run: Run) -> int:
    """Start the tests in a child, which has the slow libraries loaded already; its process id."""
    child = os.fork()
    if child == 0:
        status = CRASH
        try:
            status = run_tests(run)
        except BaseException:  # noqa: BLE001 - this process must end here, whatever happens
            (run.folder / "log").write_text(traceback.format_exc(), encoding="utf-8")
        os._exit(status)
    return child


def fate(run: Run, status: int) -> tuple[bool, str]:
    """Whether a run ended as it must, and how in words."""
    log = (run.folder / "log").read_text(encoding="utf-8") if (run.folder / "log").exists() else ""
    first = re.search(r"^FAILED tests/(\S+)", log, re.MULTILINE)
    if run.mutant is None:
        return status == 0, "passes, as it must" if status == 0 else f"FAILS WITHOUT A FAULT: {log[-800:]}"
    if status == 1 and first:
        return True, f"noticed by {first[1]}"
    return False, "NOT NOTICED" if status == 0 else f"DID NOT RUN (status {status}): {log[-800:]}"


def load_slow_libraries() -> None:
    """What every child needs, so that it need not load it again; nothing of this project."""
    sys.dont_write_bytecode = True
    os.environ["NUMBA_DISABLE_JIT"] = "1"
    os.environ.setdefault("CI", "1")  # the same examples each time
    for name in ("numba", "numba.extending", "numpy", "pandas", "pvlib", "pytest", "scipy.integrate"):
        __import__(name)


def main() -> int:
    """Run all, or those that hold a word, as many at a time as there are processors."""
    word = sys.argv[1] if len(sys.argv) > 1 else ""
    chosen = [mutant for mutant in MUTANTS if word in f"{mutant.file} {mutant.what}"]
    load_slow_libraries()
    all_tests = tuple(dict.fromkeys(test for mutant in chosen for test in mutant.tests))
    waiting: list[tuple[str, tuple[str, ...], Mutant | None]] = [("no fault at all", all_tests, None)]
    waiting += [(f"{mutant.file}: {mutant.what}", mutant.tests, mutant) for mutant in chosen]
    running: dict[int, Run] = {}
    good = True
    with tempfile.TemporaryDirectory() as folder:
        number = 0
        while waiting or running:
            while waiting and len(running) < max(1, os.cpu_count() or 1):
                name, tests, mutant = waiting.pop(0)
                run = Run(name=name, tests=tests, mutant=mutant, folder=Path(folder) / str(number))
                number += 1
                run.folder.mkdir()
                plant(mutant, run.folder / "tree")
                running[start(run)] = run
            child, status = os.wait()
            run = running.pop(child)
            well, words = fate(run, os.waitstatus_to_exitcode(status))
            good &= well
            sys.stdout.write(f"{time.monotonic() - run.begun:5.1f} s  {run.name}: {words}\n")
            sys.stdout.flush()
            shutil.rmtree(run.folder)
    sys.stdout.write(f"{len(chosen)} faults planted; {'all noticed' if good else 'NOT ALL NOTICED'}.\n")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
