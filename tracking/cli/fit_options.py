"""Reads the options of `focalrow fit` that are more than a word or a whole number."""

import datetime as dt
import re
import zoneinfo

from tracking.cli import options
from tracking.energy.fit.hours import Span
from tracking.energy.fit.result import WAYS, Way
from tracking.energy.fit.sample import REPLICATES, Effort

MOST_HOURS, MOST_RAYS = 100_000, 1 << 20
"""Far more than a comparison of designs needs."""

WORST_MONTH = "worst-month"


def way_of(text: str) -> Way:
    """How the mount is moved.

    Raises
    ------
    InputError
        If it is none of the words.
    """
    for way in WAYS:
        if text == way:
            return way
    raise options.wrong("--moved", f'"{text}" is no way to move a lens', ", ".join(f'"{way}"' for way in WAYS))


def effort_of(hours: int, rays: int, seed: int, threads: int | None) -> Effort:
    """Hours and rays for each candidate.

    Raises
    ------
    InputError
        If a number is out of range.
    """
    for option, value, low, high in (("--hours", hours, 1, MOST_HOURS), ("--rays", rays, 1, MOST_RAYS)):
        if not low <= value <= high:
            raise options.wrong(option, f"{value} is out of range", f"a whole number from {low} to {high}")
    return Effort(draws=-(-hours // REPLICATES), rays=1 << (rays - 1).bit_length(), seed=seed, threads=threads)


def this_year(year: int | None, timezone: str) -> int:
    """The year asked for, or the present one on a clock.

    Raises
    ------
    InputError
        If it is out of range.
    """
    if year is None:
        return dt.datetime.now(zoneinfo.ZoneInfo(timezone)).year
    if not options.FIRST_YEAR <= year <= options.LAST_YEAR:
        raise options.wrong("--year", f"{year} is out of range", f"{options.FIRST_YEAR} to {options.LAST_YEAR}")
    return year


def span_of(text: str, year: int) -> Span:
    """The time that is written as "year", year-month or year-month-day.

    Raises
    ------
    InputError
        If it is none of these, or not in the calendar.
    """
    if text == "year":
        return Span(year=year)
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, flags=re.ASCII):
        day = options.date("--over", text)
        return Span(year=day.year, month=day.month, day=day.day)
    if re.fullmatch(r"\d{4}-\d{2}", text, flags=re.ASCII):
        first = options.date("--over", f"{text}-01")
        return Span(year=first.year, month=first.month)
    raise options.wrong(
        "--over", f'"{text}" is no span of time', '"year", "worst-month", a month "2026-06" or a day "2026-06-21"'
    )
