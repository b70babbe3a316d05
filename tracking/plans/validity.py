"""For which days a plan of moves holds: its marks and clock times tried on the days before and after."""

import datetime as dt

from raytrace.response import ResponseTable
from tracking.plans.moves import MovesPlan
from tracking.plans.season import DAY, kept_on, noon_offset
from tracking.scenefile import SceneFile

TOLERANCE = 0.05
"""How far the share may fall below the one that the plan keeps on its own day: chosen, no source."""
MOST_DAYS = 45
"""Days on either side beyond which nobody looks: the sheet then says the last day that was tried."""


def valid_days(scene_file: SceneFile, table: ResponseTable, plan: MovesPlan) -> tuple[dt.date, dt.date]:
    """First and last day around the plan's own for which its marks and times lose no more than `TOLERANCE` besides.

    A day on which the clock has another offset from UTC ends the span.
    """
    ends = []
    offset = noon_offset(scene_file.site, plan.date)
    for way in (-DAY, DAY):
        last = plan.date
        for _ in range(MOST_DAYS if plan.stretches else 0):
            tried = last + way
            if noon_offset(scene_file.site, tried) != offset:
                break
            if kept_on(scene_file, table, plan.stretches, tried).lost_promise > TOLERANCE:
                break
            last = tried
        ends.append(last)
    return ends[0], ends[1]
