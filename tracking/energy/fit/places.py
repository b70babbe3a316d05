"""One scene at many places: a CSV file of places, and the fit of each of them, here or on a Dask cluster.

Each place is one task, the same one everywhere: its numbers follow from the scene, the place and the seed, not from
where, beside what or on how many threads it runs. A place that fails keeps its error; the others stand.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tracking.energy.fit.csv_file import Cell, CsvFile, read_csv
from tracking.energy.fit.fit import fit_of
from tracking.energy.fit.hours import Span
from tracking.energy.fit.result import Fit, Way
from tracking.energy.fit.sample import Effort
from tracking.errors import InputError
from tracking.response import response_table
from tracking.scenefile import SceneFile
from tracking.scenefile.units import ANGLE, LENGTH, Kind, QuantityError, quantity
from tracking.sky.site import ALTITUDE_RANGE, Site

EXAMPLE = ("name,latitude,longitude,altitude,timezone", "Invented Town,13.9,-90.4,700,America/Guatemala")
NEEDED = ("name", "latitude", "longitude", "timezone")
MOST_PLACES = 10_000

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """What is asked at each place; all but the scene's site and the place is the same everywhere."""

    scene_file: SceneFile
    span: Span
    worst_month: bool
    moved: Way
    with_tilt: bool
    effort: Effort


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """The fit at a place, or why there is none."""

    site: Site
    fit: Fit | None
    error: str | None


def read_places(path: Path) -> tuple[Site, ...]:
    """Places from a CSV file with the columns name, latitude, longitude, altitude and timezone.

    Latitude and longitude are numbers in degrees (north and east positive), the altitude one in metres; or a number
    with its unit, such as "2300 ft". The columns may also be called latitude_deg, longitude_deg and altitude_m. Without
    the column altitude all places lie at sea level. The time zone is a name of the IANA database.

    Raises
    ------
    InputError
        Naming file, line and column.
    """
    file = read_csv(path, example=EXAMPLE)
    kinds = {"latitude": (ANGLE, "deg"), "longitude": (ANGLE, "deg"), "altitude": (LENGTH, "m")}
    columns = {}
    for column in file.columns:
        name, _, unit = column.partition("_")
        if name not in {*NEEDED, "altitude"} or (unit and (name not in kinds or unit != kinds[name][1])):
            raise file.wrong(f'the column "{column}" is not known', EXAMPLE[0].replace(",", ", "), key="header")
        if name in columns:
            raise file.wrong(f"two columns hold the {name}", "one of them", key="header")
        columns[name] = column
    for name in NEEDED:
        if name not in columns:
            raise file.wrong(f'the column "{name}" is missing', EXAMPLE[0].replace(",", ", "), key="header")
    if not file.rows:
        raise file.wrong("there is no place in this file", f'lines such as "{EXAMPLE[1]}"')
    if len(file.rows) > MOST_PLACES:
        raise file.wrong(f"{len(file.rows)} places are too many", f"at most {MOST_PLACES}")
    return _sites(file, columns)


def _sites(file: CsvFile, columns: dict[str, str]) -> tuple[Site, ...]:
    sites: list[Site] = []
    seen: set[str] = set()
    for row in file.rows:
        name, timezone = row[columns["name"]], row[columns["timezone"]]
        if not name.text:
            raise name.wrong("this place has no name", "a name, each one once")
        if name.text in seen:
            raise name.wrong(f'"{name.text}" stands in this file twice', "a name, each one once")
        seen.add(name.text)
        latitude = _value(row[columns["latitude"]], ANGLE, -90.0, 90.0)
        longitude = _value(row[columns["longitude"]], ANGLE, -180.0, 180.0)
        altitude = _value(row[columns["altitude"]], LENGTH, *ALTITUDE_RANGE) if "altitude" in columns else 0.0
        try:
            site = Site(
                name=name.text, latitude=latitude, longitude=longitude, altitude=altitude, timezone=timezone.text
            )
        except ValueError as error:
            raise timezone.wrong(
                str(error).removeprefix("Site.timezone "), 'a name such as "America/Santiago"'
            ) from None
        sites.append(site)
    return tuple(sites)


def _value(cell: Cell, kind: Kind, low: float, high: float) -> float:
    """A number in the base unit, or a quantity with a unit."""
    allowed = f'a number from {low:g} to {high:g} [{kind.base}], or one with its unit such as "{kind.example}"'
    if " " not in cell.text:
        return cell.number(low=low, high=high, allowed=allowed)
    try:
        value = quantity(cell.text, kind)
    except QuantityError as error:
        raise cell.wrong(error.problem, allowed) from None
    if not low <= value <= high:
        raise cell.wrong(f'"{cell.text}" is out of range', allowed)
    return value


def scene_at(scene_file: SceneFile, site: Site) -> SceneFile:
    """The scene at another place; a polar mount points to the pole there.

    Raises
    ------
    InputError
        If its sky comes from a weather file, which belongs to one place.
    """
    if scene_file.sky.source == "file":
        raise InputError(
            file=str(scene_file.path),
            key="sky.file",
            problem="a weather file belongs to one place, and the places are many",
            allowed='Allowed: source = "clear" or "constant".',
        )
    mount = scene_file.mount
    if mount.kind == "polar":
        mount = replace(mount, latitude=site.latitude)
    values = tuple(value for value in scene_file.values if not value.key.startswith("site."))
    return replace(scene_file, site=site, mount=mount, values=values)


def answer_at(question: Question, site: Site) -> Answer:
    """The fit at a place. Never raises but for Ctrl-C: what goes wrong is told in the answer."""
    try:
        fitted = fit_of(
            scene_at(question.scene_file, site),
            question.span,
            table_of=lambda built, tell: response_table(built, progress=tell),
            worst_month=question.worst_month,
            moved=question.moved,
            with_tilt=question.with_tilt,
            effort=question.effort,
        )
    except Exception as error:  # noqa: BLE001  one place must not take the others along
        return failed(site, error)
    return Answer(site=site, fit=fitted.fit, error=None)


def failed(site: Site, error: BaseException) -> Answer:
    """The answer where something went wrong."""
    told = str(error) if isinstance(error, (InputError, ValueError)) else f"{type(error).__name__}: {error}"
    return Answer(site=site, fit=None, error=" ".join(told.split()) or type(error).__name__)


def not_run(site: Site) -> Answer:
    """The answer where Ctrl-C came first."""
    return Answer(site=site, fit=None, error="interrupted before it was done")


def in_order(sites: Sequence[Site], answers: dict[str, Answer]) -> tuple[Answer, ...]:
    """Answers in the order of the places."""
    return tuple(answers.get(site.name) or not_run(site) for site in sites)
