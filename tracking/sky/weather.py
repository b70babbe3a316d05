"""Direct normal irradiance: clear sky, a constant, or a weather file of a (typical) year. pvlib is imported where used.

A weather file holds one value an hour. An instant takes the value of the hour that contains it, found by month, day and
hour in the file's own standard time; the year is not looked at. Nothing is filled in: an hour without a value is an
error that names it. One exception, as a typical year has no 29 February: that day takes the hours of 28 February.

Simple CSV: a header line with the columns `time_utc` or `time_local` (ISO 8601; local times with their offset, such as
2026-06-21T13:00:00-05:00), `dni_w_m2` and, if wanted, `air_temperature_c`; commas between, decimal points. A time is
the end of its hour, as in TMY files. Lines that start with # are comments. At most one year, one line an hour.
"""

import calendar
import csv
import datetime as dt
import functools
import io
import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from raytrace.arrays import Floats, Ints
from tracking.errors import InputError
from tracking.sky.site import Site
from tracking.sky.sunpath import SunPath

SkySource = Literal["clear", "constant", "file"]
Bools = npt.NDArray[np.bool_]

MAX_DNI = 1420.0
"""Upper end of DNI [W/m2]: the sun outside the atmosphere in January, 1361 W/m2 x 1.034 (constants from memory, to be
confirmed), rounded up. What lies above is a fill value."""
TURBIDITY_RANGE = (1.0, 20.0)
"""Linke turbidity: 1 is a clean, dry atmosphere by definition; the upper end is common practice, no source."""
AIR_TEMPERATURE_RANGE = (-90.0, 65.0)
"""Air temperatures taken for real [degC], a little beyond the records. Common practice, no source."""
KEY = "[sky] file"
"""The key that messages about a weather file name."""

_LEAP_YEAR = 2000
_SLOTS = 366 * 24
_HOUR_SECONDS = 3600
_RUNS_NAMED = 4
"""Runs of missing hours that a message spells out."""
_READ_ERRORS = (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError, EOFError, OSError)
"""What pvlib's readers raise on files of another format."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sky:
    """Where the direct normal irradiance comes from.

    `turbidity` is a constant Linke turbidity for "clear" (default: the monthly climatology); `dni` [W/m2] belongs to
    "constant", `file` to "file".

    Raises
    ------
    ValueError
        If a value is missing for this source or out of range.
    """

    source: SkySource = "clear"
    turbidity: float | None = None
    dni: float | None = None
    file: Path | None = None

    def __post_init__(self) -> None:
        if self.source not in {"clear", "constant", "file"}:
            raise ValueError(f"Sky.source must be 'clear' or 'constant' or 'file', got {self.source!r}.")
        low, high = TURBIDITY_RANGE
        if self.turbidity is not None and not low <= self.turbidity <= high:
            raise ValueError(f"Sky.turbidity must lie between {low:g} and {high:g}, got {self.turbidity!r}.")
        if self.dni is not None and not 0.0 <= self.dni <= MAX_DNI:
            raise ValueError(
                f"Sky.dni must lie between 0 and {MAX_DNI:g} W/m^2, got {self.dni!r} W/m^2: the sun outside the "
                f"atmosphere gives no more."
            )
        if self.source == "constant" and self.dni is None:
            raise ValueError('Sky.dni must be given for the source "constant", in W/m^2.')
        if self.source == "file" and self.file is None:
            raise ValueError('Sky.file must be given for the source "file".')


EARTH_RADIUS = 6_371_008.8
"""Mean radius of the earth (2 a + b) / 3 [m]: H. Moritz, Geodetic Reference System 1980, J. Geodesy 74 (2000) (from
memory, to be confirmed)."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WeatherYear:
    """A year of hourly weather by month, day and hour, with 29 February; 8784 hours.

    Attributes
    ----------
    path : Path
        The file.
    file_format : str
        "EPW", "TMY3", "TMY2" or "CSV".
    place : str
        As the file names it; may be empty.
    latitude, longitude : float or None
        Of the station [deg]; None where the file does not tell.
    utc_offset : float
        Of the file's clock [h]; for CSV the least of its offsets, less what its times are past the hour.
    dni : (8784,) float
        Direct normal irradiance of each hour [W/m2]; 0 where `has_dni` is False.
    air_temperature : (8784,) float
        Of each hour [degC]; 0 where `has_air_temperature` is False.
    has_dni, has_air_temperature : (8784,) bool
        Whether the file holds a usable value.
    notes : tuple of str
        What a reader of results should know about the file.
    """

    path: Path
    file_format: str
    place: str
    latitude: float | None
    longitude: float | None
    utc_offset: float
    dni: Floats
    air_temperature: Floats
    has_dni: Bools
    has_air_temperature: Bools
    notes: tuple[str, ...] = ()

    @property
    def gaps(self) -> tuple[str, ...]:
        """The hours without DNI as runs in words, in order; empty for a whole year."""
        return tuple(_runs_in_words(np.flatnonzero(~self.has_dni)))

    def distance_from(self, site: Site) -> float | None:
        """Great-circle distance [m] of the station from the site; None where the file does not tell where it stands.

        R. W. Sinnott, "Virtues of the haversine", Sky and Telescope 68, 159 (1984) (from memory, to be confirmed).
        """
        if self.latitude is None or self.longitude is None:
            return None
        here, there = math.radians(site.latitude), math.radians(self.latitude)
        apart = math.radians(self.longitude - site.longitude)
        haversine = (
            math.sin(0.5 * (there - here)) ** 2 + math.cos(here) * math.cos(there) * math.sin(0.5 * apart) ** 2
        )
        return 2.0 * EARTH_RADIUS * math.asin(min(1.0, math.sqrt(haversine)))

    def hours_of(self, times_utc: npt.NDArray[np.datetime64]) -> Ints:
        """Index (n,) into the year of the hour that contains each instant (n,) datetime64 in UTC."""
        offset = np.timedelta64(round(self.utc_offset * _HOUR_SECONDS), "s")
        local = times_utc + offset
        days = local.astype("datetime64[D]")
        months = days.astype("datetime64[M]")
        month = months.astype(np.int64) % 12
        day = (days - months.astype("datetime64[D]")).astype(np.int64)
        hour = (local - days).astype("timedelta64[h]").astype(np.int64)
        first_of_month = np.array([_slot(m, 1, 0) for m in range(1, 13)], dtype=np.int64)
        return np.asarray(first_of_month[month] + 24 * day + hour, dtype=np.int64)

    def lacks_dni(self, times_utc: npt.NDArray[np.datetime64]) -> Bools:
        """Whether the file has no DNI for each instant (n,) datetime64 in UTC: yearly sums skip and report these."""
        return ~self.has_dni[self.hours_of(times_utc)]

    def dni_at(self, times_utc: npt.NDArray[np.datetime64]) -> Floats:
        """DNI of the hour that contains each instant (n,) datetime64 in UTC [W/m2].

        Raises
        ------
        InputError
            If the file has no value for one of the instants; the message names the hours.
        """
        return self._values_at(times_utc, self.dni, self.has_dni, "direct normal irradiance")

    def air_temperature_at(self, times_utc: npt.NDArray[np.datetime64]) -> Floats:
        """Air temperature of the hour that contains each instant (n,) datetime64 in UTC [degC].

        Raises
        ------
        InputError
            If the file has no value for one of the instants; the message names the hours.
        """
        return self._values_at(times_utc, self.air_temperature, self.has_air_temperature, "air temperature")

    def _values_at(self, times_utc: npt.NDArray[np.datetime64], values: Floats, there: Bools, what: str) -> Floats:
        hours = self.hours_of(times_utc)
        missing = np.unique(hours[~there[hours]])
        if len(missing):
            runs = list(_runs_in_words(missing))
            named = "; ".join(runs[:_RUNS_NAMED]) + ("; and more" if len(runs) > _RUNS_NAMED else "")
            raise InputError(
                file=str(self.path),
                key=KEY,
                problem=f"has no {what} for {len(missing)} of the hours asked for: {named} (clock of the file, "
                f"UTC{self.utc_offset:+g} h)",
                allowed="Gaps are not filled: mend the file, choose another day, or take another source of the sky.",
            )
        return np.asarray(values[hours], dtype=np.float64)


def direct_normal_irradiance(sky: Sky, site: Site, sun_path: SunPath, *, weather: WeatherYear | None = None) -> Floats:
    """Direct normal irradiance at each instant of the sun's path.

    Parameters
    ----------
    sky : Sky
        The source.
    site : Site
        Where.
    sun_path : SunPath
        (n,) positions of the sun.
    weather : WeatherYear, optional
        The weather file as already read; by default `sky.file` is read for the source "file".

    Returns
    -------
    (n,) float
        [W/m2]; 0 with the sun down. "clear" is 0 as soon as the sun's centre is below the horizon, the other sources
        when its whole disc is.

    Raises
    ------
    InputError
        If the weather file cannot be used or has no value for an instant with the sun up.

    Notes
    -----
    Clear sky: P. Ineichen and R. Perez, "A new airmass independent formulation for the Linke turbidity coefficient",
    Solar Energy 73, 2002; turbidity by month (interpolated from day to day), extraterrestrial irradiance of the day
    (J. W. Spencer, 1971), air mass of F. Kasten and A. T. Young, Applied Optics 28, 1989, at the apparent zenith, times
    pressure from altitude; all as pvlib holds them.
    """
    dni = np.zeros(len(sun_path))
    if sky.source == "clear":
        shines = sun_path.elevation > 0.0
        dni[shines] = _clear_sky_dni(site, sun_path, shines, sky.turbidity)
        return dni
    up = sun_path.is_up
    if sky.source == "constant" and sky.dni is not None:
        dni[up] = sky.dni
    elif sky.file is not None:
        dni[up] = (weather or read_weather(sky.file)).dni_at(sun_path.times_utc[up])
    return dni


def _clear_sky_dni(site: Site, sun_path: SunPath, shines: Bools, turbidity: float | None) -> Floats:
    if not shines.any():
        return np.zeros(0)
    from pvlib import atmosphere, clearsky
    from pvlib.irradiance import get_extra_radiation

    apparent_zenith = 90.0 - sun_path.elevation[shines]
    day_of_year = _day_of_year(sun_path.times_utc[shines])
    airmass = atmosphere.get_relative_airmass(apparent_zenith, model="kastenyoung1989")
    sky = clearsky.ineichen(
        apparent_zenith,
        atmosphere.get_absolute_airmass(airmass, atmosphere.alt2pres(site.altitude)),
        climatological_turbidity(site, day_of_year) if turbidity is None else np.full(len(day_of_year), turbidity),
        altitude=site.altitude,
        dni_extra=np.asarray(get_extra_radiation(np.floor(day_of_year), method="spencer"), dtype=np.float64),
    )
    return np.asarray(sky["dni"], dtype=np.float64)


def climatological_turbidity(site: Site, day_of_year: Floats) -> Floats:
    """Linke turbidity (n,) of a site on days of the year (n,), 1.0 to 367.0, linear between the middles of the months.

    Notes
    -----
    The monthly maps are pvlib's: J. Remund and others, "Worldwide Linke turbidity information", ISES Solar World
    Congress, Goteborg, 2003. They are read at the site's own cell, as they jump between cells.
    """
    values = _monthly_turbidity(site.latitude, site.longitude)
    lengths = np.array([calendar.monthrange(2001, month)[1] for month in range(1, 13)], dtype=np.float64)
    middles = 1.0 + np.cumsum(lengths) - 0.5 * lengths
    return np.asarray(np.interp(day_of_year, middles, values, period=float(lengths.sum())), dtype=np.float64)


@functools.lru_cache(maxsize=16)
def _monthly_turbidity(latitude: float, longitude: float) -> Floats:
    """The maps' values of a site for the twelve months, (12,) float. Remembered: one is asked for again and again."""
    import pandas as pd
    from pvlib.clearsky import lookup_linke_turbidity

    months = pd.date_range("2001-01-01", periods=12, freq="MS", tz="UTC")
    monthly = lookup_linke_turbidity(months, latitude, longitude, interp_turbidity=False)
    values: Floats = monthly.to_numpy(dtype=np.float64)
    return values


def _day_of_year(times_utc: npt.NDArray[np.datetime64]) -> Floats:
    """Day of the year and its fraction, 1.0 at its start."""
    since_new_year = times_utc - times_utc.astype("datetime64[Y]").astype(times_utc.dtype)
    seconds = since_new_year.astype("timedelta64[s]").astype(np.float64)
    return np.asarray(1.0 + seconds / (24 * _HOUR_SECONDS), dtype=np.float64)


class _Row(NamedTuple):
    """One hour of a file: where it belongs in the year, and what stands there (NaN where nothing does)."""

    slot: int
    dni: float
    air_temperature: float


class _Header(NamedTuple):
    place: str
    latitude: float | None
    longitude: float | None
    utc_offset: float


def read_weather(path: Path) -> WeatherYear:
    """A year of hourly weather from an EPW, TMY3, TMY2 or simple CSV file; the format is told from the first lines.

    Parameters
    ----------
    path : Path
        The file. What its columns must hold is described at the top of this module.

    Returns
    -------
    WeatherYear
        Hours that the file lacks or marks with a fill value are left out and listed in `gaps`.

    Raises
    ------
    InputError
        If the file is not there, is of another format, or holds an hour twice.
    """
    path = Path(path)
    try:
        with path.open(encoding="utf-8-sig", errors="replace") as stream:
            text = stream.read()
    except OSError as error:
        raise InputError(
            file=str(path), key=KEY, problem=f"cannot be read ({error.strerror})", allowed="Give the path of a file."
        ) from None
    file_format, reader = _reader_for(path, text)
    try:
        header, rows = reader(path, text)
        return _year(path, file_format, header, rows)
    except _READ_ERRORS as error:
        raise InputError(
            file=str(path),
            key=KEY,
            problem=f"looks like {file_format} but cannot be read as such ({_one_line(error)})",
            allowed="EPW, TMY3, TMY2, or CSV with the columns time_utc or time_local, and dni_w_m2.",
        ) from None


_Reader = Callable[[Path, str], tuple[_Header, list[_Row]]]


def _reader_for(path: Path, text: str) -> tuple[str, _Reader]:
    lines = list(itertools.islice((line for line in text.splitlines() if line and not line.startswith("#")), 2))
    first, second = (*lines, "", "")[:2]
    if first.startswith("LOCATION,"):
        return "EPW", _read_epw
    if second.startswith("Date (MM/DD/YYYY)"):
        return "TMY3", _read_tmy3
    if {"time_utc", "time_local"} & {name.strip() for name in first.split(",")}:
        return "CSV", _read_csv
    if first[1:6].strip().isdigit() and len(second) >= 142 and second[1:9].strip().isdigit():
        return "TMY2", _read_tmy2
    raise InputError(
        file=str(path),
        key=KEY,
        problem="is no weather file of a known format",
        allowed="EPW, TMY3, TMY2, or CSV with the columns time_utc or time_local, and dni_w_m2.",
    )


def _read_epw(_path: Path, text: str) -> tuple[_Header, list[_Row]]:
    from pvlib.iotools import read_epw

    table, meta = read_epw(io.StringIO(text))
    # Hours 1 to 24 name their end.
    slots = _slots(table["month"], table["day"], [int(hour) - 1 for hour in table["hour"]])
    header = _Header(str(meta["city"]), meta["latitude"], meta["longitude"], meta["TZ"])
    return header, _rows(slots, _numbers(table["dni"]), _numbers(table["temp_air"]))


def _read_tmy3(path: Path, _text: str) -> tuple[_Header, list[_Row]]:
    from pvlib.iotools import read_tmy3

    table, meta = read_tmy3(str(path), map_variables=True, encoding="latin-1")
    # The written date and time, not pvlib's index: that moves the last hour of 28 February of a leap year.
    dates = [[int(part) for part in str(date).split("/")] for date in table["Date (MM/DD/YYYY)"]]
    clock = [[int(part) for part in str(time).split(":")] for time in table["Time (HH:MM)"]]
    if any(minute for _, minute in clock):
        raise ValueError("its times are not whole hours")
    slots = _slots([date[0] for date in dates], [date[1] for date in dates], [hour - 1 for hour, _ in clock])
    header = _Header(str(meta["Name"]).strip('" '), meta["latitude"], meta["longitude"], meta["TZ"])
    return header, _rows(slots, _numbers(table["dni"]), _numbers(table["temp_air"]))


def _read_tmy2(path: Path, _text: str) -> tuple[_Header, list[_Row]]:
    from pvlib.iotools import read_tmy2

    table, meta = read_tmy2(str(path))
    slots = _slots(table.index.month, table.index.day, table.index.hour)  # pvlib has moved them to the hour's start
    header = _Header(str(meta["City"]).strip(), meta["latitude"], meta["longitude"], meta["TZ"])
    tenths_of_degrees = _numbers(table["DryBulb"])
    return header, _rows(slots, _numbers(table["DNI"]), 0.1 * tenths_of_degrees)


def _read_csv(path: Path, text: str) -> tuple[_Header, list[_Row]]:
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip() and line[0] != "#"]
    table = csv.reader(line for _, line in lines)
    columns = [name.strip() for name in next(table)]
    time_column = "time_utc" if "time_utc" in columns else "time_local"
    if "dni_w_m2" not in columns:
        raise InputError(
            file=str(path), key="dni_w_m2", problem="the column is missing", allowed="It holds the DNI in W/m2."
        )
    stamped: list[tuple[dt.datetime, float, float]] = []
    offsets: list[dt.timedelta] = []
    for (number, _), cells in zip(lines[1:], table, strict=True):
        if len(cells) != len(columns):
            raise InputError(
                file=str(path),
                key=f"line {number}",
                problem=f"has {len(cells)} cells where the header has {len(columns)}",
                allowed="Commas stand between cells, so write 850.5, not 850,5.",
            )
        row = dict(zip(columns, cells, strict=True))
        end = _csv_time(path, number, time_column, row[time_column])
        dni = _csv_number(path, number, "dni_w_m2", row["dni_w_m2"])
        warmth = _csv_number(path, number, "air_temperature_c", row.get("air_temperature_c", ""))
        offsets.append(end.utcoffset() or dt.timedelta(0))
        stamped.append((end.astimezone(dt.UTC) - dt.timedelta(hours=1), dni, warmth))
    # Standard time is the least of the offsets in the file; without one, a clock on which the hours are whole.
    offset = min(offsets, default=dt.timedelta(0))
    past_the_hour = {(start + offset).minute * 60 + (start + offset).second for start, _, _ in stamped}
    if len(past_the_hour) > 1:
        raise InputError(
            file=str(path), key=time_column, problem="the times are not whole hours apart", allowed="One line an hour."
        )
    offset -= dt.timedelta(seconds=past_the_hour.pop() if past_the_hour else 0)
    rows = [
        _Row(_slot(start.month, start.day, start.hour), dni, warmth)
        for start, dni, warmth in ((start + offset, dni, warmth) for start, dni, warmth in stamped)
    ]
    return _Header("", None, None, offset.total_seconds() / _HOUR_SECONDS), rows


def _csv_time(path: Path, number: int, column: str, text: str) -> dt.datetime:
    """The instant that a cell names, with its offset from UTC."""
    allowed = {
        "time_utc": "ISO 8601 in UTC, such as 2026-06-21T18:00:00Z.",
        "time_local": "ISO 8601 with its offset from UTC, such as 2026-06-21T13:00:00-05:00.",
    }[column]
    problem = f"line {number}: {text.strip()!r} is no time of this kind"
    try:
        time = dt.datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(file=str(path), key=column, problem=problem, allowed=allowed) from None
    if column == "time_utc" and time.tzinfo is None:
        time = time.replace(tzinfo=dt.UTC)
    offset = time.utcoffset()
    if offset is None or (column == "time_utc" and offset):
        raise InputError(file=str(path), key=column, problem=problem, allowed=allowed)
    return time


def _csv_number(path: Path, number: int, column: str, text: str) -> float:
    """The number in a cell; NaN for an empty one or one that says so, which makes it a gap."""
    text = text.strip()
    if text.lower() in {"", "nan", "na"}:
        return math.nan
    try:
        return float(text)
    except ValueError:
        raise InputError(
            file=str(path),
            key=column,
            problem=f"line {number}: {text!r} is no number",
            allowed="A number with a decimal point, or nothing where there is no value.",
        ) from None


def _slot(month: int, day: int, hour: int) -> int:
    """Place in the year of an hour by its start; hour -1 is the last of the day before."""
    start = dt.datetime(_LEAP_YEAR, int(month), int(day), tzinfo=dt.UTC) + dt.timedelta(hours=int(hour))
    since_new_year = start - dt.datetime(_LEAP_YEAR, 1, 1, tzinfo=dt.UTC)
    return int(since_new_year.total_seconds()) // _HOUR_SECONDS % _SLOTS


def _slots(months: Iterable[int], days: Iterable[int], hours: Iterable[int]) -> list[int]:
    return [_slot(month, day, hour) for month, day, hour in zip(months, days, hours, strict=True)]


def _numbers(column: object) -> Floats:
    import pandas as pd

    return np.asarray(pd.to_numeric(column, errors="coerce"), dtype=np.float64)


def _rows(slots: list[int], dni: Floats, air_temperature: Floats) -> list[_Row]:
    return [_Row(slot, float(a), float(b)) for slot, a, b in zip(slots, dni, air_temperature, strict=True)]


def _year(path: Path, file_format: str, header: _Header, rows: list[_Row]) -> WeatherYear:
    if not rows:
        raise InputError(file=str(path), key=KEY, problem="holds no hours at all", allowed="One line an hour.")
    dni, air = np.full(_SLOTS, np.nan), np.full(_SLOTS, np.nan)
    seen = np.zeros(_SLOTS, dtype=np.bool_)
    for row in rows:
        if seen[row.slot]:
            raise InputError(
                file=str(path),
                key=KEY,
                problem=f"holds the hour {_slot_in_words(row.slot)} twice",
                allowed=f"One year at most, one line an hour; the file has {len(rows)} lines.",
            )
        seen[row.slot] = True
        dni[row.slot], air[row.slot] = row.dni, row.air_temperature
    notes = []
    leap_day, day_before = slice(_slot(2, 29, 0), _slot(3, 1, 0)), slice(_slot(2, 28, 0), _slot(2, 29, 0))
    if not seen[leap_day].any():
        dni[leap_day], air[leap_day] = dni[day_before], air[day_before]
        seen[leap_day] = seen[day_before]
        notes.append("29 February takes the hours of 28 February: the file has no leap day.")
    has_dni = (dni >= 0.0) & (dni <= MAX_DNI)
    low, high = AIR_TEMPERATURE_RANGE
    has_air = (air >= low) & (air <= high)
    if not has_dni.all():
        notes.append(f"{np.count_nonzero(~has_dni)} of {_SLOTS} hours of the year have no direct normal irradiance.")
    return WeatherYear(
        path=path,
        file_format=file_format,
        place=header.place,
        latitude=header.latitude,
        longitude=header.longitude,
        utc_offset=float(header.utc_offset),
        dni=np.where(has_dni, dni, 0.0),
        air_temperature=np.where(has_air, air, 0.0),
        has_dni=has_dni,
        has_air_temperature=has_air,
        notes=tuple(notes),
    )


def _slot_in_words(slot: int, end: int | None = None) -> str:
    """An hour, or a run of hours: "5 March 13:00 to 14:00", "5 March 13:00 to 6 March 02:00"."""
    new_year = dt.datetime(_LEAP_YEAR, 1, 1, tzinfo=dt.UTC)
    first, last = (new_year + dt.timedelta(hours=int(hour)) for hour in (slot, slot if end is None else end))
    other_day = f"{last.day} {calendar.month_name[last.month]} " if last.date() != first.date() else ""
    start = f"{first.day} {calendar.month_name[first.month]} {first.hour:02d}:00"
    return f"{start} to {other_day}{last.hour + 1:02d}:00"


def _runs_in_words(slots: Ints) -> Iterator[str]:
    """Rising hours, neighbours joined to runs."""
    for run in np.split(slots, np.flatnonzero(np.diff(slots) > 1) + 1) if len(slots) else ():
        yield _slot_in_words(int(run[0]), int(run[-1]))


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__
