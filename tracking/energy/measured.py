"""Measured distillate against the boiler's, interval by interval of a log."""

import csv
import datetime as dt
import io
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from tracking.energy.boiler import TubeRow
from tracking.energy.steam import pressure_at, steam_at, water_density
from tracking.energy.year import DISTILLATE_TEMPERATURE, Responds, air_temperatures, places_of, share_not_condensed
from tracking.errors import InputError
from tracking.plans.day import aperture_power
from tracking.plans.instant import instants_at
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import civil_day
from tracking.sky.weather import MAX_DNI, WeatherYear, read_weather

COLUMNS = ("start", "end", "distillate_ml")
STEP = dt.timedelta(minutes=5)
MEASURED_DNI_ERROR, MODEL_DNI_ERROR = 0.03, 0.15
"""Relative standard uncertainty of the DNI: read from an instrument; from a model of the sky. Common practice, no
source."""
OPTICS_ERROR, BOILER_ERROR = 0.05, 0.10
"""The same of lens and aim, and of heat losses and warm-up. Common practice, no source."""
READING_ERROR, READING_FLOOR = 0.02, 5.0
"""The same of a measured volume, and at least so much [mL]. Common practice, no source."""
COVERAGE = 2.0
"""Standard uncertainties that a difference may have: about 95 % of honest differences."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Interval:
    """One line of a log: aware times, [mL], measured DNI [W/m2] if any."""

    start: dt.datetime
    end: dt.datetime
    measured: float
    dni: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """An interval with its prediction and the standard uncertainty of the difference [mL]."""

    interval: Interval
    predicted: float
    uncertainty: float

    @property
    def ratio(self) -> float | None:
        """Measured over predicted; None where nothing is predicted."""
        return self.interval.measured / self.predicted if self.predicted > 0.0 else None

    @property
    def agrees(self) -> bool:
        """Whether the difference lies within what the uncertainties allow."""
        return abs(self.interval.measured - self.predicted) <= COVERAGE * self.uncertainty


def read_log(path: Path, scene_file: SceneFile) -> tuple[Interval, ...]:
    """The intervals of a CSV with the columns start, end, distillate_ml and, if wanted, dni_w_m2.

    Times are ISO 8601; without an offset they are clock time at the site.

    Raises
    ------
    InputError
        If the file cannot be read or a line does not hold what it must.
    """

    def wrong(key: str, problem: str, allowed: str = EXAMPLE_LINES) -> InputError:
        return InputError(file=str(path), key=key, problem=problem, allowed=f"Allowed: {allowed}")

    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise wrong("--measured", f"cannot be read ({getattr(error, 'strerror', None) or error})") from None
    rows = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        raise wrong("line 1", f"the column {missing[0]} is missing")
    intervals: list[Interval] = []
    for row in rows:
        line = f"line {rows.line_num}"
        try:
            values = _values(row)
        except _BadCell as bad:
            raise wrong(f"{line}, column {bad.column}", f'"{bad.written}" cannot be read', bad.allowed) from None
        start, end = (_at_site(row[name].strip(), scene_file) for name in ("start", "end"))
        if not start < end:
            raise wrong(f"{line}, column end", f'"{row["end"].strip()}" is not after the start', "a later time.")
        if intervals and start < intervals[-1].end:
            raise wrong(
                f"{line}, column start",
                f'"{row["start"].strip()}" lies before the end of the line above',
                "intervals in order of time that do not overlap.",
            )
        intervals.append(
            Interval(start=start, end=end, measured=values["distillate_ml"], dni=values.get(DNI_COLUMN))
        )
    if not intervals:
        raise wrong("--measured", "holds no intervals")
    return tuple(intervals)


class _BadCell(Exception):  # noqa: N818  # never leaves this module
    """A cell that does not hold what its column must."""

    def __init__(self, column: str, written: str, allowed: str) -> None:
        super().__init__(column)
        self.column, self.written, self.allowed = column, written, allowed


def _values(row: dict[str, str]) -> dict[str, float]:
    """The numbers of a line by column; times are looked at only."""
    values = {}
    for name, read, allowed in _READERS:
        written = (row.get(name) or "").strip()
        if name == DNI_COLUMN and not written:
            continue
        try:
            values[name] = read(written)
        except ValueError:
            raise _BadCell(name, written, allowed) from None
    return values


def _number_up_to(most: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = float(text)
        if not 0.0 <= value <= most:  # NaN too
            raise ValueError(text)
        return value

    return read


def _is_time(text: str) -> float:
    dt.datetime.fromisoformat(text)
    return 0.0


EXAMPLE_LINES = (
    "lines such as 2026-06-21T10:00,2026-06-21T11:00,350 under start,end,distillate_ml; a column dni_w_m2 if wanted."
)
A_TIME = "a date and time such as 2026-06-21T10:00, clock time of the site, or with an offset: 2026-06-21T10:00-06:00."
DNI_COLUMN = "dni_w_m2"
MOST_DISTILLATE = 1e6
"""[mL]; a cubic metre in one interval is a slip of the pen."""

_READERS: tuple[tuple[str, Callable[[str], float], str], ...] = (
    ("start", _is_time, A_TIME),
    ("end", _is_time, A_TIME),
    ("distillate_ml", _number_up_to(MOST_DISTILLATE), f"a number from 0 to {MOST_DISTILLATE:.0f}, in mL, no unit."),
    (DNI_COLUMN, _number_up_to(MAX_DNI), f"nothing, or a number from 0 to {MAX_DNI:g}, in W/m^2, without a unit."),
)


def _at_site(text: str, scene_file: SceneFile) -> dt.datetime:
    time = dt.datetime.fromisoformat(text.strip())
    return (time if time.tzinfo else time.replace(tzinfo=scene_file.site.zone)).astimezone(dt.UTC)


def compared(scene_file: SceneFile, intervals: tuple[Interval, ...], table: Responds) -> tuple[Compared, ...]:
    """Each interval with what the model gives; each day starts with cold tubes, filled.

    A measured DNI stands for the sky's in its interval, for the warming up before it the sky of the scene does.
    """
    predicted = [0.0] * len(intervals)
    sky = scene_file.sky
    weather = read_weather(sky.file) if sky.source == "file" and sky.file is not None else None
    for date in sorted({each.start.astimezone(scene_file.site.zone).date() for each in intervals}):
        start, end = civil_day(scene_file.site.zone, date)
        for k, kilograms in enumerate(_day(scene_file, start, end, intervals, table, weather)):
            predicted[k] += 1000.0 * kilograms / water_density(DISTILLATE_TEMPERATURE)
    results = []
    for interval, millilitres in zip(intervals, predicted, strict=True):
        dni_error = MODEL_DNI_ERROR if interval.dni is None else MEASURED_DNI_ERROR
        model = millilitres * math.sqrt(dni_error**2 + OPTICS_ERROR**2 + BOILER_ERROR**2)
        reading = max(READING_FLOOR, READING_ERROR * interval.measured)
        results.append(Compared(interval=interval, predicted=millilitres, uncertainty=math.hypot(model, reading)))
    return tuple(results)


def _day(
    scene_file: SceneFile,
    start: dt.datetime,
    end: dt.datetime,
    intervals: tuple[Interval, ...],
    table: Responds,
    weather: WeatherYear | None,
) -> list[float]:
    """Distillate of the row in each interval on one day [kg]."""
    edges = {start + k * STEP for k in range((end - start) // STEP + 1)} | {end}
    edges |= {time for each in intervals for time in (each.start, each.end) if start < time < end}
    times = sorted(edges)
    middles = [a + 0.5 * (b - a) for a, b in pairwise(times)]
    instants = instants_at(scene_file, middles)
    inside = [
        next((n for n, each in enumerate(intervals) if each.start <= middle < each.end), None) for middle in middles
    ]
    places = places_of(instants)
    response = table.at(places[:, 0], places[:, 1], places[:, 2])
    boiler, steam = scene_file.boiler, steam_at(pressure_at(scene_file.site.altitude))
    clock = np.array([middle.astimezone(dt.UTC).replace(tzinfo=None) for middle in middles], dtype="datetime64[s]")
    airs = air_temperatures(weather, boiler, clock)
    row = TubeRow(boiler, steam, scene_file.scene.tubes.count)
    found = [0.0] * len(intervals)
    for k, instant in enumerate(instants):
        seconds = (times[k + 1] - times[k]).total_seconds()
        n = inside[k]
        dni = None if n is None else intervals[n].dni
        aperture = aperture_power(scene_file, instant if dni is None else replace(instant, dni=dni))
        flows = row.advance(seconds, aperture * response.absorbed[k], float(airs[k]))
        if n is not None:
            made = float(flows.steam.sum())
            missed = float(share_not_condensed(boiler, steam, np.array([made / seconds]), airs[k : k + 1])[0])
            found[n] += made * (1.0 - missed)
    return found


def table_words(results: tuple[Compared, ...], scene_file: SceneFile) -> str:
    """The comparison as lines of text, times on the clock of the site."""
    head = f"{'start':16}  {'end':5}  {'measured mL':>11}  {'predicted mL':>12}  {'+- mL':>6}  {'ratio':>5}  within"
    lines = ["Measured against predicted", "==========================", head]
    for each in results:
        begin, end = (time.astimezone(scene_file.site.zone) for time in (each.interval.start, each.interval.end))
        ratio = "-" if each.ratio is None else f"{each.ratio:.2f}"
        lines.append(
            f"{begin:%Y-%m-%d %H:%M}  {end:%H:%M}  {each.interval.measured:11.0f}  {each.predicted:12.0f}  "
            f"{COVERAGE * each.uncertainty:6.0f}  {ratio:>5}  {'yes' if each.agrees else 'NO'}"
        )
    lines.append("+- is twice the standard uncertainty of sky, optics, boiler and reading. Each day starts with cold, "
                 "full tubes.")
    return "\n".join(lines)
