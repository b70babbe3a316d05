"""When the cover of a lens must be on."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

COVER_DAYS = 14
"""Days of one stretch."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoverTime:
    """A stretch of days, both included, and the clock time from and until which the cover must be on."""

    first_day: dt.date
    last_day: dt.date
    begins: dt.time
    ends: dt.time


def cover_times(year: int, over: Sequence[dt.datetime], step: float) -> tuple[CoverTime, ...]:
    """Stretches of days of a year with the clock times at which the cover must be on.

    Parameters
    ----------
    year
        Whose days.
    over
        Local times of the instants traced at which a surface may see too much.
    step
        Time between instants that were traced [min].

    Notes
    -----
    The span of a stretch holds all instants traced in it and in the stretches beside it, so that the days between and a
    change of the clock lie within, and is a step wider each way.
    """
    start = dt.date(year, 1, 1) - dt.timedelta(days=COVER_DAYS // 2)
    last = (dt.date(year, 12, 31) - start).days // COVER_DAYS
    minutes: dict[int, list[int]] = {}
    for time in over:
        block = min(last, max(0, (time.date() - start).days // COVER_DAYS))
        minutes.setdefault(block, []).append(time.hour * 60 + time.minute)
    spans = []
    for block in range(last + 1):
        # The year is a ring: the days before January are those of December.
        near = [m for k in (block - 1, block, block + 1) for m in minutes.get(k % (last + 1), [])]
        if not near:
            continue
        begins, ends = max(0, min(near) - int(step)), min(24 * 60 - 1, max(near) + int(step))
        first = start + dt.timedelta(days=block * COVER_DAYS)
        spans.append(
            CoverTime(
                first_day=max(first, dt.date(year, 1, 1)),
                last_day=min(first + dt.timedelta(days=COVER_DAYS - 1), dt.date(year, 12, 31)),
                begins=dt.time(*divmod(begins, 60)), ends=dt.time(*divmod(ends, 60)),
            )
        )  # fmt: skip
    return tuple(spans)
