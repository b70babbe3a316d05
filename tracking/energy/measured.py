"""Measured distillate against the boiler's, interval by interval of a log."""

import csv
import datetime as dt
import io
import math
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from tracking.energy.boiler import TubeRow
from tracking.energy.steam import pressure_at, steam_at, water_density
from tracking.energy.year import DISTILLATE_TEMPERATURE, Responds, places_of, share_not_condensed
from tracking.errors import InputError
from tracking.plans.day import aperture_power
from tracking.plans.instant import instants_at
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import civil_day

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

    def wrong(key: str, problem: str) -> InputError:
        allowed = "Allowed: lines such as 2026-06-21T10:00,2026-06-21T11:00,350 under start,end,distillate_ml."
        return InputError(file=str(path), key=key, problem=problem, allowed=allowed)

    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise wrong("--measured", f"cannot be read ({getattr(error, 'strerror', None) or error})") from None
    rows = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        raise wrong(missing[0], "the column is missing")
    intervals: list[Interval] = []
    for number, row in enumerate(rows, 2):
        try:
            start, end = (_time(row[name], scene_file) for name in ("start", "end"))
            measured = float(row["distillate_ml"])
            dni = float(row["dni_w_m2"]) if (row.get("dni_w_m2") or "").strip() else None
        except (ValueError, TypeError, AttributeError):
            raise wrong(f"line {number}", "this line cannot be read") from None
        if not (start < end and math.isfinite(measured) and measured >= 0.0):
            raise wrong(f"line {number}", "it ends before it starts, or its distillate is no amount")
        if dni is not None and not 0.0 <= dni <= 1420.0:
            raise wrong("dni_w_m2", f"line {number}: {dni:g} W/m^2 is no direct irradiance")
        if intervals and start < intervals[-1].end:
            raise wrong(f"line {number}", "it starts before the line above has ended")
        intervals.append(Interval(start=start, end=end, measured=measured, dni=dni))
    if not intervals:
        raise wrong("--measured", "holds no intervals")
    return tuple(intervals)


def _time(text: str, scene_file: SceneFile) -> dt.datetime:
    time = dt.datetime.fromisoformat(text.strip())
    return (time if time.tzinfo else time.replace(tzinfo=scene_file.site.zone)).astimezone(dt.UTC)


def compared(scene_file: SceneFile, intervals: tuple[Interval, ...], table: Responds) -> tuple[Compared, ...]:
    """Each interval with what the model gives; each day starts with cold tubes, filled.

    A measured DNI stands for the sky's in its interval, for the warming up before it the sky of the scene does.
    """
    predicted = [0.0] * len(intervals)
    for date in sorted({each.start.astimezone(scene_file.site.zone).date() for each in intervals}):
        start, end = civil_day(scene_file.site.zone, date)
        for k, kilograms in enumerate(_day(scene_file, start, end, intervals, table)):
            predicted[k] += 1000.0 * kilograms / water_density(DISTILLATE_TEMPERATURE)
    results = []
    for interval, millilitres in zip(intervals, predicted, strict=True):
        sky = MODEL_DNI_ERROR if interval.dni is None else MEASURED_DNI_ERROR
        model = millilitres * math.sqrt(sky**2 + OPTICS_ERROR**2 + BOILER_ERROR**2)
        reading = max(READING_FLOOR, READING_ERROR * interval.measured)
        results.append(Compared(interval=interval, predicted=millilitres, uncertainty=math.hypot(model, reading)))
    return tuple(results)


def _day(
    scene_file: SceneFile, start: dt.datetime, end: dt.datetime, intervals: tuple[Interval, ...], table: Responds
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
    row = TubeRow(boiler, steam, scene_file.scene.tubes.count)
    found = [0.0] * len(intervals)
    for k, instant in enumerate(instants):
        seconds = (times[k + 1] - times[k]).total_seconds()
        n = inside[k]
        dni = None if n is None else intervals[n].dni
        aperture = aperture_power(scene_file, instant if dni is None else replace(instant, dni=dni))
        flows = row.advance(seconds, aperture * response.absorbed[k], boiler.air_temperature)
        if n is not None:
            made = float(flows.steam.sum())
            air = np.array([boiler.air_temperature])
            missed = float(share_not_condensed(boiler, steam, np.array([made / seconds]), air)[0])
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
