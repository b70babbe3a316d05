"""Reads the options that are more than a word or a whole number, with messages that say what to write."""

import datetime as dt
import math
import re

from tracking.errors import InputError

MOST_RAYS = 1_000_000_000
"""Rays that can be asked for: some minutes of work, and far more than any scene needs."""

LARGEST_SEED = 2**63 - 1
"""The largest whole number that other programs read back from JSON as it was written, as a rule."""

MOST_THREADS = 256

SHORTEST_STEP, LONGEST_STEP = "10 s", "24 h"


def wrong(option: str, problem: str, allowed: str) -> InputError:
    """The error for an option that cannot be used."""
    return InputError(key=option, problem=problem, allowed=f"Allowed: {allowed}.")


def _quantity(option: str, text: str, kind: str, *, low: str | None = None, high: str | None = None) -> float:
    """A number with a unit, in the unit that we calculate in.

    The grammar is that of scene files; it is read here only, as its package brings in all that scenes are made of.
    """
    from tracking.scenefile.units import ANGLE, DURATION, IRRADIANCE, QuantityError, quantity

    kinds = {"angle": ANGLE, "duration": DURATION, "irradiance": IRRADIANCE}
    try:
        return quantity(text, kinds[kind], low=low, high=high)
    except QuantityError as error:
        raise wrong(option, error.problem, error.allowed) from None


def angle(option: str, text: str, *, limit: float = 90.0) -> float:
    """An angle in [deg], strictly between -limit and limit.

    Raises
    ------
    InputError
        If it is not written as number, space, unit, or lies outside.
    """
    value = _quantity(option, text, "angle")
    if not -limit < value < limit:
        raise wrong(option, f'"{text}" is out of range', f"between -{limit:g} and {limit:g} deg")
    return value


def flux(option: str, text: str) -> float:
    """A flux in [W/m2].

    Raises
    ------
    InputError
        If it is not written as number, space, unit, or lies outside.
    """
    return _quantity(option, text, "irradiance", low="100 W/m^2", high="100 kW/m^2")


def step(option: str, text: str) -> dt.timedelta:
    """A step of time, above zero and at most a day.

    Raises
    ------
    InputError
        If it is not written as number, space, unit, or lies outside.
    """
    return dt.timedelta(seconds=_quantity(option, text, "duration", low=SHORTEST_STEP, high=LONGEST_STEP))


def date(option: str, text: str) -> dt.date:
    """A civil date of the calendar.

    Raises
    ------
    InputError
        If it is not written as year-month-day, or the calendar has no such day.
    """
    allowed = 'a day of the calendar from 1950 to 2050, written as year-month-day, such as "2026-03-20"'
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, flags=re.ASCII):
        raise wrong(option, f'"{text}" is not a date', allowed)
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise wrong(option, f'"{text}" is not in the calendar', allowed) from None
    return _within_years(option, text, day, allowed)


def instant(option: str, text: str) -> dt.datetime:
    """A moment with its offset from UTC.

    Raises
    ------
    InputError
        If it is not ISO 8601 or has no offset.
    """
    allowed = 'date, time and offset from UTC as in ISO 8601, years 1950 to 2050, such as "2026-06-21T10:00:00-03:00"'
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise wrong(option, f'"{text}" is not a moment', allowed) from None
    if moment.tzinfo is None:
        raise wrong(option, f'"{text}" has no offset from UTC', allowed)
    _within_years(option, text, moment.date(), allowed)
    return moment


FIRST_YEAR, LAST_YEAR = 1950, 2050
"""Years for which the difference between clock and Earth's rotation is known or well foreseen."""


def _within_years(option: str, text: str, day: dt.date, allowed: str) -> dt.date:
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise wrong(option, f'the year of "{text}" is out of range', allowed)
    return day


def small_fraction(option: str, value: float) -> float:
    """An error that is asked for: above 0 and below 1.

    Raises
    ------
    InputError
        If it is not.
    """
    if not (math.isfinite(value) and 0.0 < value < 1.0):
        raise wrong(option, f"{value:g} is out of range", "a number above 0 and below 1")
    return value


def check_run(*, rays: int | None, seed: int, threads: int | None) -> None:
    """Refuse numbers of rays, seeds and threads that are out of range.

    Raises
    ------
    InputError
        Naming the option and its range.
    """
    for option, value, low, high in (
        ("--rays", rays, 1, MOST_RAYS),
        ("--seed", seed, 0, LARGEST_SEED),
        ("--threads", threads, 1, MOST_THREADS),
    ):
        if value is not None and not low <= value <= high:
            raise wrong(option, f"{value} is out of range", f"a whole number from {low} to {high}")


def check_plan(*, share: float | None, moves: int | None, lazy: bool) -> None:
    """Refuse options of a plan of moves that contradict each other or are out of range.

    Raises
    ------
    InputError
        Naming the option and what is allowed.
    """
    if (share is not None) + (moves is not None) + lazy > 1:
        raise wrong("--share, --moves, --lazy", "more than one of them is given", "one of the three")
    if share is not None and not (math.isfinite(share) and LEAST_SHARE <= share <= LARGEST_SHARE):
        raise wrong("--share", f"{share:g} is out of range", f"a number from {LEAST_SHARE:g} to {LARGEST_SHARE:g}")
    if moves is not None and not 1 <= moves <= MOST_MOVES:
        raise wrong("--moves", f"{moves} is out of range", f"a whole number from 1 to {MOST_MOVES}")


LEAST_SHARE, LARGEST_SHARE = 0.3, 0.99
"""Shares of the power of perfect aiming that a plan can keep; 1 would ask for endless moves."""

MOST_MOVES = 150
