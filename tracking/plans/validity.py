"""For which days a plan of moves holds: its marks and clock times tried on the days before and after."""

import datetime as dt
from dataclasses import dataclass

from raytrace.response import ResponseTable
from tracking.plans.moves import MovesPlan
from tracking.plans.season import DAY, kept_on, noon_offset
from tracking.scenefile import SceneFile

TOLERANCE = 0.05
"""How far the share may fall below the one that the plan keeps on its own day: chosen, no source."""
MOST_DAYS = 45
"""Days on either side beyond which nobody looks: the sheet then says the last day that was tried."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Validity:
    """First and last day, both included, on which a plan's marks and times may be used.

    `least_share` is the least share of the power of perfect aiming at any minute of any of these days; None in an empty
    plan.
    """

    first: dt.date
    last: dt.date
    least_share: float | None


def valid_days(scene_file: SceneFile, table: ResponseTable, plan: MovesPlan) -> Validity:
    """The days around the plan's own on which its marks and times lose no more than `TOLERANCE` besides.

    A day on which the clock has another offset from UTC ends the span.
    """
    ends, offset = [], noon_offset(scene_file.site, plan.date)
    shares = [] if plan.weakest is None else [plan.weakest.least_share]
    for way in (-DAY, DAY):
        last = plan.date
        for _ in range(MOST_DAYS if plan.stretches else 0):
            tried = last + way
            if noon_offset(scene_file.site, tried) != offset:
                break
            kept = kept_on(scene_file, table, plan.stretches, tried)
            if kept.lost_promise > TOLERANCE:
                break
            last = tried
            shares += [] if kept.least_share is None else [kept.least_share]
        ends.append(last)
    return Validity(first=ends[0], last=ends[1], least_share=min(shares, default=None))
