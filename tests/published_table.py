"""Holds computed values against published ones and books both for the table tests/published/README.md.

A test asks for the fixture `published`. The rows travel with the tests' reports, so any number of processes may run
the tests. `python -m pytest tests/published --write-table` writes the table anew; a test whose rows are not in the
table fails, and so does a whole run in which a row of the table is booked by no test.
"""

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

import pytest

Basis = Literal["seen", "quoted", "memory", "computed", "derived", "same library"]

BASES: dict[Basis, str] = {
    "seen": "seen in the source",
    "quoted": "seen where a second source quotes it",
    "memory": "value from memory, to be confirmed",
    "computed": "computed from the published formula or data, without this code",
    "derived": "derived from first principles: exact, but no publication",
    "same library": "computed by the library that is called here too: a regression value",
}
"""How a value is known, and the words for it in the table."""

PUBLISHED: tuple[Basis, ...] = ("seen", "quoted", "memory", "computed")
"""What counts as a published value."""

MOST_OF_ONE_TABLE = 5
"""Further rows of one published table are checked too, but not counted."""

FOLDER = Path(__file__).parent / "published"
TABLE = FOLDER / "README.md"
COMMAND = "python -m pytest tests/published --write-table"
COLUMNS = ("what", "published", "computed here", "difference", "tolerance", "why that tolerance", "source", "counts")
SUBJECTS = {
    "test_sun": "Sun, air mass",
    "test_tracking_geometry": "Tracking geometry",
    "test_surfaces": "Surfaces",
    "test_materials": "Materials",
    "test_lens": "Lens",
    "test_concentration": "Concentration",
    "test_sunshape": "Sunshape",
    "test_sun_directions": "Sunshape, as it is sampled",
    "test_spectrum": "Spectrum",
    "test_evacuated_tubes": "Tubes",
    "test_steam": "Steam and pressure",
    "test_magnetic": "Geomagnetism",
    "test_safety": "Safety thresholds",
}
"""Modules in the order of the table, and their headings."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """Where a value is published, and how it is known. One `Source` for each published table: rows of it are counted
    together.
    """

    text: str
    basis: Basis


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One check: all cells as text, and where it stands."""

    module: str
    test: str
    order: int
    what: str
    published: str
    found: str
    difference: str
    tolerance: str
    why: str
    source: str
    basis: Basis

    def cells(self) -> tuple[str, ...]:
        """All cells but the last, as they stand in the table."""
        source = f"{self.source} ({BASES[self.basis]})"
        return (self.what, self.published, self.found, self.difference, self.tolerance, self.why, source)


def _number(value: float, step: float) -> str:
    """A number with one digit more than its tolerance needs."""
    decimals = max(0, 1 - math.floor(math.log10(step)))
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def _as_printed(value: float) -> str:
    """A published value without the noise of binary digits."""
    text = f"{value:.10g}"
    return text if "e" not in text or abs(value) < 1.0 else f"{value:.0f}"


class Published:
    """Asserts that a computed value is the published one within a tolerance, and books the row."""

    def __init__(self, request: pytest.FixtureRequest) -> None:
        self._item = request.node
        self._writing = bool(request.config.getoption("--write-table"))
        self._order = request.session.items.index(request.node)
        self.asked = False

    def __call__(
        self,
        source: Source,
        what: str,
        found: float,
        value: float,
        *,
        within: float | None = None,
        relative: float | None = None,
        why: str,
    ) -> None:
        """Check one value.

        Parameters
        ----------
        source
            Where `value` is published.
        what
            The quantity with its case and unit, for people; no two rows of one module alike.
        found, value
            Computed here, and published.
        within, relative
            The tolerance: absolute, or as a share of `value`; exactly one of them.
        why
            Why the tolerance is that size.
        """
        self.asked = True
        assert (within is None) != (relative is None)
        step = float(within if within is not None else relative * abs(value))  # type: ignore[operator]
        assert found == pytest.approx(value, abs=step, rel=0.0), f"{what}: {source.text}"
        row = Row(
            module=self._item.path.stem,
            test=self._item.originalname,
            order=self._order,
            what=what,
            published=_as_printed(value),
            found=_number(found, step),
            difference=_number(found - value, step),
            tolerance=f"{100.0 * relative:.2g} %" if relative is not None else f"{within:.2g}",
            why=why,
            source=source.text,
            basis=source.basis,
        )
        self._item.user_properties.append(("published", asdict(row)))
        if not self._writing:
            _check_row(row, step)


def _check_row(row: Row, step: float) -> None:
    """Fail the test where the table has another row; a computed value may differ by a fifth of its tolerance, as
    libraries and processors do.
    """
    written = {cells[0]: cells for cells in _written().get(row.module, ())}.get(row.what)
    stale = f"tests/published/README.md is stale at {row.what!r} ({row.module}): write it anew with {COMMAND}"
    assert written is not None, stale
    assert [*written[:2], *written[4:7]] == [*row.cells()[:2], *row.cells()[4:7]], stale
    for old, new in zip(written[2:4], (row.found, row.difference), strict=True):
        assert float(old) == pytest.approx(float(new), abs=0.2 * step, rel=0.0), stale


def _written() -> dict[str, list[tuple[str, ...]]]:
    """The rows of the table as it stands, by module."""
    if not TABLE.exists():
        return {}
    found: dict[str, list[tuple[str, ...]]] = {}
    module = ""
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        if line.startswith("Checked in `"):
            module = line.split("`")[1].removesuffix(".py")
        elif line.startswith("| ") and module and not line.startswith(("| what ", "| --- ")):
            found.setdefault(module, []).append(tuple(cell.strip() for cell in line.strip("| ").split(" | ")))
    return found


def _counted(rows: list[Row]) -> dict[int, bool]:
    """Which rows count, by their place: published ones, the first five of each source."""
    seen: Counter[str] = Counter()
    counted = {}
    for place, row in enumerate(rows):
        published = row.basis in PUBLISHED
        seen[row.source] += published
        counted[place] = published and seen[row.source] <= MOST_OF_ONE_TABLE
    return counted


def _text(rows: list[Row]) -> str:
    """The whole table."""
    counted = _counted(rows)
    by_basis = Counter(row.basis for place, row in enumerate(rows) if counted[place])
    sums = "; ".join(f"{by_basis[basis]} {BASES[basis]}" for basis in PUBLISHED)
    lines = [
        "# Published values and what is computed here",
        "",
        f"Made by `{COMMAND}` from the tests in this folder; not to be edited by hand. A test whose rows differ from",
        "this table fails.",
        "",
        f"**{sum(counted.values())} published values count**: {sums}.",
        "",
        f"{len(rows) - sum(counted.values())} rows more are checked and do not count: rows of one published table",
        f"after its first {MOST_OF_ONE_TABLE}, values derived from first principles, and values computed by the same",
        "library that is called here.",
        "",
        "The difference is computed less published. Values that come from sampled rays may differ between machines by",
        "far less than their tolerance.",
    ]  # fmt: skip
    modules = [*SUBJECTS, *sorted({row.module for row in rows} - set(SUBJECTS))]
    for module in modules:
        mine = [(place, row) for place, row in enumerate(rows) if row.module == module]
        if not mine:
            continue
        lines += ["", f"## {SUBJECTS.get(module, module)}", "", f"Checked in `{module}.py`.", ""]
        lines += ["| " + " | ".join(COLUMNS) + " |", "|" + " --- |" * len(COLUMNS)]
        lines += ["| " + " | ".join((*row.cells(), "yes" if counted[place] else "no")) + " |" for place, row in mine]
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------- hooks and fixture, taken over by conftest.py


class Bookkeeper:
    """Gathers the rows of all tests that pass, wherever they run."""

    def __init__(self, config: pytest.Config) -> None:
        self.config = config
        self.rows: list[Row] = []
        self.message = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """The report of one phase of one test; rows come with that of the test itself."""
        if report.when == "call" and report.passed:
            self.rows += [Row(**value) for name, value in report.user_properties if name == "published"]  # type: ignore[arg-type]

    def pytest_sessionfinish(self, session: pytest.Session, exitstatus: int) -> None:
        """Write the table or look for rows that no test has booked."""
        if exitstatus != 0:
            return
        rows = sorted(self.rows, key=lambda row: row.order)
        doubled = [name for name, count in Counter((row.module, row.what) for row in rows).items() if count > 1]
        if doubled:
            self.message = f"more than one published value is called {doubled[0][1]!r} in {doubled[0][0]}"
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
        elif self.config.getoption("--write-table") and not set(SUBJECTS) <= {row.module for row in rows}:
            self.message = "the table is written by a run of all of tests/published only"
            session.exitstatus = pytest.ExitCode.USAGE_ERROR
        elif self.config.getoption("--write-table"):
            TABLE.write_text(_text(rows), encoding="utf-8")
            self.message = f"{TABLE} written: {sum(_counted(rows).values())} published values of {len(rows)} rows count"
        elif self._whole_modules():
            booked = {(row.module, row.what) for row in rows}
            lost = [
                (module, cells[0])
                for module, written in _written().items()
                for cells in written
                if module in {row.module for row in rows} and (module, cells[0]) not in booked
            ]
            if lost:
                self.message = (
                    f"tests/published/README.md is stale, nothing books {lost[0]}: write it anew with {COMMAND}"
                )
                session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def _whole_modules(self) -> bool:
        """Whether no test of a module has been left out."""
        option = self.config.option
        chosen = option.keyword or getattr(option, "lf", False) or getattr(option, "deselect", None)
        return not chosen and not any("::" in str(argument) for argument in self.config.args)

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Say what was written or what is wrong."""
        if self.message:
            terminalreporter.write_line(self.message)


def pytest_addoption(parser: pytest.Parser) -> None:
    """The option that writes the table."""
    parser.addoption("--write-table", action="store_true", help="write tests/published/README.md from its tests")


def pytest_configure(config: pytest.Config) -> None:
    """One bookkeeper for the process that gathers all reports."""
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(Bookkeeper(config), "published-values")


@pytest.fixture
def published(request: pytest.FixtureRequest) -> Iterator[Published]:
    """Holds values against published ones; a test that asks for it must book at least one."""
    holder = Published(request)
    yield holder
    assert holder.asked, "this test books no published value"
