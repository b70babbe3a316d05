"""A day at each instant: settings of the lens, power on each tube from ray traces, and the day's sums."""

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from raytrace.response import ResponseTable
from raytrace.scene import RowPose
from raytrace.trace import prepare
from tracking.mount import MIN_ELEVATION
from tracking.plans.instant import Instant, instants_at
from tracking.plans.power import FIRST_RAYS, Effort, TracedPower, traced_power
from tracking.scenefile import SceneFile
from tracking.sky.site import Site
from tracking.sky.sunpath import SunEvents, day_instants, sun_events, sun_path

JOULES_PER_KWH = 3.6e6
SECONDS_PER_HOUR = 3600.0

SEARCH_STEP = dt.timedelta(minutes=2)
"""Step of the search for the moments at which aiming begins and ends; the sun moves half a degree in it."""

Progress = Callable[[float], None]
"""Called now and then with the share done, in [0, 1]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Powers:
    """Power at one instant [W], over the whole row and for each tube in order along the row; widths in [m]."""

    aperture: float
    intercepted: float
    intercepted_per_tube: tuple[float, ...]
    absorbed: float
    absorbed_per_tube: tuple[float, ...]
    absorbed_standard_error: float
    w90: float | None
    rays: int
    reached: bool | None
    source: Literal["trace", "table"] = "trace"

    @property
    def optical_efficiency(self) -> float | None:
        """Share of the aperture power that is absorbed; None where there is no aperture power."""
        return self.absorbed / self.aperture if self.aperture > 0.0 else None


@dataclass(frozen=True, kw_only=True, slots=True)
class DayInstant:
    """An instant of the day and the power at it."""

    instant: Instant
    powers: Powers


@dataclass(frozen=True, kw_only=True, slots=True)
class Totals:
    """The day's energies [J], and the time during which the lens is aimed [h]."""

    aperture: float
    intercepted: float
    intercepted_per_tube: tuple[float, ...]
    absorbed: float
    absorbed_per_tube: tuple[float, ...]
    hours_aimed: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Day:
    """A day's instants from sunrise to sunset at whole multiples of the step, its sums, and what the sun does on it."""

    date: dt.date
    step: dt.timedelta
    events: SunEvents
    instants: tuple[DayInstant, ...]
    totals: Totals

    @property
    def short_of_rays(self) -> tuple[DayInstant, ...]:
        """The instants whose traces did not reach the wanted error."""
        return tuple(entry for entry in self.instants if entry.powers.reached is False)


def day_plan(
    scene_file: SceneFile,
    date: dt.date,
    step: dt.timedelta,
    *,
    effort: Effort | None = None,
    table: ResponseTable | None = None,
    progress: Progress | None = None,
) -> Day:
    """Settings and power at each instant of a day, and the day's sums.

    Parameters
    ----------
    scene_file
        The scene with its site, sky and mount.
    date
        Civil date at the site.
    step
        Time between instants, above 0 and at most a day; instants lie at its whole multiples in local clock time.
    effort
        How many rays each instant gets; by default as many as a relative standard error of 0.5 % asks for.
    table
        The scene's response table: powers are then read from it, and `effort` does not count.
    progress
        Called now and then with the share done.

    Notes
    -----
    The sums follow the trapezoidal rule in UTC. Its nodes are the instants, and besides them the moments, found to a
    second, at which the sun rises through and sinks through the least elevation at which anything is aimed: with a
    trace of their own they close the pieces of a step before the first and after the last aimed instant.
    """
    site = scene_file.site
    events = sun_events(site, date)
    grid = {time.astimezone(dt.UTC) for time in day_instants(site, date, step)}
    spans = _aimed_spans(site, events)
    instants = instants_at(scene_file, sorted(grid.union(*spans)))
    if table is None:
        powers = _powers(scene_file, instants, effort or Effort(), progress)
    else:
        powers = _powers_from_table(scene_file, instants, table)
    nodes = tuple(DayInstant(instant=i, powers=p) for i, p in zip(instants, powers, strict=True))
    return Day(
        date=date,
        step=step,
        events=events,
        instants=tuple(node for node in nodes if node.instant.time_utc in grid),
        totals=_totals(nodes, spans, scene_file.scene.tubes.count),
    )


def _aimed_spans(site: Site, events: SunEvents) -> tuple[tuple[dt.datetime, dt.datetime], ...]:
    """Spans of time, in UTC, during which the sun stands at the least elevation for aiming or above."""
    starts: list[dt.datetime] = []
    ends: list[dt.datetime] = []
    for sunrise, sunset in events.up:
        times = _evenly(sunrise, sunset, SEARCH_STEP)
        high = _high_enough(site, times)
        if high[0]:
            starts.append(sunrise)
        for (before, after), (was_high, is_high) in zip(pairwise(times), pairwise(high), strict=True):
            if is_high != was_high:
                seconds = _evenly(before, after, dt.timedelta(seconds=1))
                aimed = [second for second, up in zip(seconds, _high_enough(site, seconds), strict=True) if up]
                (starts if is_high else ends).append(aimed[0] if is_high else aimed[-1])
        if high[-1]:
            ends.append(sunset)
    return tuple(zip(starts, ends, strict=True))


def _evenly(start: dt.datetime, end: dt.datetime, step: dt.timedelta) -> list[dt.datetime]:
    """Times from `start` on, `step` apart, and `end`."""
    count = max(0, -((start - end) // step) - 1)
    return [*(start + k * step for k in range(count + 1)), end]


def _high_enough(site: Site, times: Sequence[dt.datetime]) -> list[bool]:
    return [bool(elevation >= MIN_ELEVATION) for elevation in sun_path(site, times).elevation]


ANGLE_DIGITS = 9
"""Decimals of a degree to which the sun's angles are rounded before a trace: far below what light can show."""


def _powers(
    scene_file: SceneFile, instants: Sequence[Instant], effort: Effort, progress: Progress | None
) -> list[Powers]:
    prepared = prepare(scene_file.scene)
    tubes = scene_file.scene.tubes.count
    powers = []
    # A lens that is aimed with both axes sees the sun in the same place at every instant; as the same angles, seed and
    # rays give the same bits, such a trace is not run again.
    known: dict[tuple[float, float, RowPose], TracedPower] = {}
    rays = FIRST_RAYS
    for k, instant in enumerate(instants):
        aperture = aperture_power(scene_file, instant)
        if instant.aim is None or aperture <= 0.0:
            powers.append(_no_power(tubes))
        else:
            angles = instant.aim.angles
            transversal, longitudinal = (
                round(angles.transversal, ANGLE_DIGITS),
                round(angles.longitudinal, ANGLE_DIGITS),
            )
            place = (transversal, longitudinal, instant.aim.row)
            if place not in known:
                known[place] = traced_power(
                    prepared,
                    transversal_angle=transversal,
                    longitudinal_angle=longitudinal,
                    row=instant.aim.row,
                    effort=effort,
                    first_rays=rays,
                )
            rays = max(FIRST_RAYS, known[place].trace.rays // 2)  # neighbours need about the same
            powers.append(_powers_of(known[place], aperture))
        if progress is not None:
            progress((k + 1) / len(instants))
    return powers


def _powers_from_table(scene_file: SceneFile, instants: Sequence[Instant], table: ResponseTable) -> list[Powers]:
    aims = [instant.aim for instant in instants]
    response = table.at(
        [0.0 if aim is None else aim.angles.transversal for aim in aims],
        [0.0 if aim is None else aim.angles.longitudinal for aim in aims],
        [0.0 if aim is None else aim.setting.tilt for aim in aims],
    )
    powers = []
    for k, instant in enumerate(instants):
        aperture = aperture_power(scene_file, instant)
        if aperture <= 0.0:
            powers.append(_no_power(scene_file.scene.tubes.count))
            continue
        intercepted, absorbed = aperture * response.intercepted[k], aperture * response.absorbed[k]
        powers.append(
            Powers(
                aperture=aperture,
                intercepted=float(intercepted.sum()),
                intercepted_per_tube=tuple(intercepted.tolist()),
                absorbed=float(absorbed.sum()),
                absorbed_per_tube=tuple(absorbed.tolist()),
                absorbed_standard_error=aperture * table.error.where_lit,
                w90=float(response.w90[k]),
                rays=0,
                reached=None,
                source="table",
            )
        )
    return powers


def aperture_power(scene_file: SceneFile, instant: Instant) -> float:
    """DNI times the aperture as the sun sees it [W]; 0 where nothing is aimed or the sun is not before the lens."""
    if instant.aim is None:
        return 0.0
    lens = scene_file.scene.lens
    cosine = math.cos(math.radians(instant.aim.angles.incidence))
    return max(0.0, instant.dni * lens.width * lens.length * cosine)


def _no_power(tubes: int) -> Powers:
    return Powers(
        aperture=0.0,
        intercepted=0.0,
        intercepted_per_tube=(0.0,) * tubes,
        absorbed=0.0,
        absorbed_per_tube=(0.0,) * tubes,
        absorbed_standard_error=0.0,
        w90=None,
        rays=0,
        reached=None,
    )


def _powers_of(traced: TracedPower, aperture: float) -> Powers:
    trace = traced.trace
    return Powers(
        aperture=aperture,
        intercepted=aperture * trace.intercepted_fraction.value,
        intercepted_per_tube=tuple(aperture * tube.intercepted_fraction.value for tube in trace.tubes),
        absorbed=aperture * trace.absorbed_fraction.value,
        absorbed_per_tube=tuple(aperture * tube.absorbed_fraction.value for tube in trace.tubes),
        absorbed_standard_error=aperture * trace.absorbed_fraction.standard_error,
        w90=trace.focal_line.w90,
        rays=trace.rays,
        reached=traced.reached,
    )


def _totals(nodes: Sequence[DayInstant], spans: Sequence[tuple[dt.datetime, dt.datetime]], tubes: int) -> Totals:
    """Energies by the trapezoidal rule over the nodes of each span."""
    aperture, intercepted, absorbed = 0.0, 0.0, 0.0
    intercepted_per_tube, absorbed_per_tube = np.zeros(tubes), np.zeros(tubes)
    for start, end in spans:
        inside = [node for node in nodes if start <= node.instant.time_utc <= end]
        seconds = [(node.instant.time_utc - start).total_seconds() for node in inside]
        powers = [node.powers for node in inside]
        aperture += float(np.trapezoid([p.aperture for p in powers], seconds))
        intercepted += float(np.trapezoid([p.intercepted for p in powers], seconds))
        absorbed += float(np.trapezoid([p.absorbed for p in powers], seconds))
        intercepted_per_tube += np.trapezoid([p.intercepted_per_tube for p in powers], seconds, axis=0)
        absorbed_per_tube += np.trapezoid([p.absorbed_per_tube for p in powers], seconds, axis=0)
    return Totals(
        aperture=aperture,
        intercepted=intercepted,
        intercepted_per_tube=tuple(intercepted_per_tube.tolist()),
        absorbed=absorbed,
        absorbed_per_tube=tuple(absorbed_per_tube.tolist()),
        hours_aimed=sum((end - start).total_seconds() for start, end in spans) / SECONDS_PER_HOUR,
    )
