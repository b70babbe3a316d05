"""For which days a plan of moves holds: its marks and clock times tried on the days before and after."""

import datetime as dt
from collections.abc import Sequence

import numpy as np

from raytrace.response import ResponseTable
from tracking.plans.moves import MovesPlan, Stretch, minute_instants, perfect_powers, setting_powers
from tracking.scenefile import SceneFile

TOLERANCE = 0.05
"""How far the share may fall below the one that the plan keeps on its own day: chosen, no source."""
MOST_DAYS = 45
"""Days on either side beyond which nobody looks: the sheet then says the last day that was tried."""
DAY = dt.timedelta(days=1)


def shortfall(scene_file: SceneFile, table: ResponseTable, stretches: Sequence[Stretch], date: dt.date) -> float:
    """How far the share falls at worst below the least share of its stretch, on another day at the same clock times.

    Minutes at which the sun of that day is too low for aiming do not count. 0 or more; 1 where no minute is left.
    """
    instants = minute_instants(scene_file, date)
    if not instants:
        return 1.0
    minute = np.array([60 * i.time_local.hour + i.time_local.minute for i in instants])
    power = np.full(len(instants), np.inf)
    promised = np.zeros(len(instants))
    for stretch in stretches:
        start = 60 * stretch.start.hour + stretch.start.minute
        end = 60 * stretch.until.hour + stretch.until.minute
        inside = np.flatnonzero((minute >= start) & (minute <= end))
        served = [instants[k] for k in inside]
        count = len(served)
        here = setting_powers(
            scene_file, served, table, [stretch.setting.tilt] * count, [stretch.setting.swivel] * count
        )
        power[inside] = np.minimum(power[inside], here)
        promised[inside] = np.maximum(promised[inside], stretch.least_share)
    lit = np.isfinite(power)
    perfect = perfect_powers(scene_file, instants, table)
    lit &= perfect > 0.0
    if not lit.any():
        return 1.0
    return max(0.0, float(np.max(promised[lit] - power[lit] / perfect[lit])))


def valid_days(scene_file: SceneFile, table: ResponseTable, plan: MovesPlan) -> tuple[dt.date, dt.date]:
    """First and last day around the plan's own for which its marks and times lose no more than `TOLERANCE` besides.

    A day on which the clock has another offset from UTC ends the span.
    """
    ends = []
    offset = plan.stretches[0].start.utcoffset() if plan.stretches else None
    for way in (-DAY, DAY):
        last = plan.date
        for _ in range(MOST_DAYS if plan.stretches else 0):
            tried = last + way
            noon = dt.datetime.combine(tried, dt.time(12), tzinfo=scene_file.site.zone)
            if noon.utcoffset() != offset or shortfall(scene_file, table, plan.stretches, tried) > TOLERANCE:
                break
            last = tried
        ends.append(last)
    return ends[0], ends[1]
