"""The boiler through all steps of a year, and what it must be warned of."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from raytrace.trace import Progress
from tracking.boiler import Boiler
from tracking.energy.boiler import FLOW_NAMES, Bools, Flows, TubeRow, concentration, is_dry
from tracking.energy.steam import Steam
from tracking.energy.tube_times import SAFE_SHOCK
from tracking.energy.year_result import Alarm, Design, Steps


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Boiled:
    """The row through all steps: temperatures and flows (n, tubes), alarms, salt, worst imbalance."""

    temperature: Floats
    flows: dict[str, Floats]
    alarms: tuple[Alarm, ...]
    drains: int
    highest_concentration: float
    largest_imbalance: float


def boil(
    boiler: Boiler,
    steam: Steam,
    starts: Sequence[dt.datetime],
    step: dt.timedelta,
    absorbed: Floats,
    air: Floats,
    progress: Progress | None = None,
) -> Boiled:
    """The row through all steps: each midnight drained where it is too salty, and filled up where it may be."""
    row = TubeRow(boiler, steam, absorbed.shape[1])
    seconds = step.total_seconds()
    a_day = round(dt.timedelta(days=1) / step)
    flows = {name: np.zeros(absorbed.shape) for name in FLOW_NAMES}
    temperature = np.zeros(absorbed.shape)
    alarms: list[Alarm] = []
    hottest = _Hottest()
    drains, highest, imbalance, cold = 0, 0.0, 0.0, False

    def booked(steps: int | slice, part: Flows) -> None:
        nonlocal imbalance
        for name in FLOW_NAMES:
            flows[name][steps] += getattr(part, name)
        passed = np.maximum(part.absorbed + abs(part.lost) + abs(part.stored), 1.0)
        imbalance = max(imbalance, float(np.abs(part.imbalance() / passed).max()))

    for k in range(0, len(starts), a_day):
        if progress is not None:
            progress(k / len(starts))
        salty = row.concentration > boiler.solids_limit
        if salty.any():
            drains += int(salty.sum())
            if not any(alarm.kind == "solids" for alarm in alarms):
                alarms.append(_solids_alarm(starts[k], salty))
            booked(k, row.drain(salty))
            booked(k, row.fill_up(math.inf, salty))  # let in while warm water runs out: no shock
        booked(k, row.fill_up(SAFE_SHOCK))
        of_day = slice(k, k + a_day)
        part, states = row.advance_steps(seconds, absorbed[of_day], air[of_day])
        booked(of_day, part)
        temperature[of_day] = states.temperature
        highest = max(highest, float(concentration(states.solids, states.water).max()))
        dry = is_dry(states.water)
        hottest.look(starts[of_day], step, states.temperature, dry)
        for m, tube in np.argwhere(np.isfinite(part.dry_after)):
            time = (starts[k + m] + dt.timedelta(seconds=float(part.dry_after[m, tube]))).replace(tzinfo=None)
            words = f"Tube {tube + 1} runs dry on {time:%d %B} at {time:%H:%M}, with the sun on it."
            alarms.append(Alarm(kind="dry", time=time, tube=int(tube) + 1, words=words))
        freezing = np.flatnonzero((~dry & (states.temperature < 0.0)).any(axis=1))
        if not cold and len(freezing):
            cold = True
            start = starts[k + int(freezing[0])]
            words = f"Water in a tube may freeze, first on {start:%d %B} at {start:%H:%M}: drain tubes before frost."
            alarms.append(Alarm(kind="frost", time=start.replace(tzinfo=None), tube=None, words=words))
    return Boiled(
        temperature=temperature,
        flows=flows,
        alarms=(*alarms, *hottest.alarms(boiler)),
        drains=drains,
        highest_concentration=highest,
        largest_imbalance=imbalance,
    )


def _solids_alarm(start: dt.datetime, salty: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Alarm:
    first = int(np.flatnonzero(salty)[0])
    words = (
        f"Tube {first + 1} is past the limit of dissolved solids by the evening before {start:%d %B}: drain and refill "
        f"it, cold."
    )
    return Alarm(kind="solids", time=start.replace(tzinfo=None), tube=first + 1, words=words)


def condenser_alarms(steps: Steps, design: Design, boiler: Boiler) -> list[Alarm]:
    """The worst moment of a condenser that is too small, and what the best hour needs."""
    worst = int(np.argmax(steps.not_condensed))
    if steps.not_condensed[worst] <= 0.0:
        return []
    needed = "" if design.condenser_needed is None else f"; the best hour needs {design.condenser_needed:.3g} W/K"
    words = (
        f"The condenser of {boiler.condenser_conductance:g} W/K is too small: at worst, on "
        f"{steps.start_local[worst]:%d %B} at {steps.start_local[worst]:%H:%M}, "
        f"{100 * steps.not_condensed[worst]:.0f} % of the steam escapes{needed}."
    )
    return [Alarm(kind="condenser", time=steps.start_local[worst], tube=None, words=words)]


class _Hottest:
    """The hottest dry tube so far."""

    def __init__(self) -> None:
        self.temperature, self.tube = -math.inf, 0
        self.time: dt.datetime | None = None

    def look(self, starts: Sequence[dt.datetime], step: dt.timedelta, temperature: Floats, dry: Bools) -> None:
        """Take note of the tubes behind each of n steps: temperature [degC] and whether dry, (n, tubes)."""
        of_dry = np.where(dry, temperature, -math.inf)
        if float(of_dry.max()) > self.temperature:
            k, tube = np.unravel_index(int(of_dry.argmax()), of_dry.shape)
            self.temperature, self.tube = float(of_dry[k, tube]), int(tube)
            self.time = (starts[int(k)] + step).replace(tzinfo=None)

    def alarms(self, boiler: Boiler) -> list[Alarm]:
        """How hot dry tubes get, if any is too hot for cold water."""
        if self.time is None or self.temperature - boiler.feed_temperature <= SAFE_SHOCK:
            return []
        words = (
            f"A dry tube stagnates at up to {self.temperature:.0f} degC on average, tube {self.tube + 1} on "
            f"{self.time:%d %B} at {self.time:%H:%M}: cover the lens, and let no cold water in."
        )
        return [Alarm(kind="stagnation", time=self.time, tube=self.tube + 1, words=words)]


def feed_alarms(design: Design, boiler: Boiler) -> list[Alarm]:
    """Whether a constant feed is less than what boils away at the best moment."""
    if boiler.feeding != "rate" or design.best_time is None or boiler.feed_rate >= design.needed_feed:
        return []
    words = (
        f"The feed of {boiler.feed_rate:.3g} L/h is too small: at the best moment, on {design.best_time:%d %B} at "
        f"{design.best_time:%H:%M}, tube {design.best_tube} needs {design.needed_feed:.3g} L/h."
    )
    return [Alarm(kind="feed", time=design.best_time, tube=design.best_tube, words=words)]
