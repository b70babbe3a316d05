"""The picture of the sun's path over the sky that the mount reaches, with the day's moves, and the day's settings."""

import datetime as dt
import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from raytrace.arrays import Floats
from tracking.mount import MIN_ELEVATION, aim, lens_angles
from tracking.paper import style
from tracking.paper.style import Picture, new_figure
from tracking.plans.day import Day
from tracking.plans.instant import Instant
from tracking.plans.marks import mount_axes
from tracking.plans.moves import MovesPlan, Stretch
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants, sun_path

REACH_STEP = 5.0  # [deg], of the grid over the sky on which the reach is looked at
REACHED_TRANSVERSAL = 0.5
"""Sun's angle across the grooves [deg] within which the lens counts as aimed: the line is off by 7 mm at 0.8 m."""

LEAST_SPAN = 10.0
"""Least span of an axis of settings [deg]: tenths of a degree, which nobody sets, shall not look like much."""

ROOMY = 25
"""Marks of a day up to which they keep their full size."""

PATH_STEP = dt.timedelta(minutes=5)
EDGE = 20.0
"""Azimuth from the left edge [deg] within which there is no room for words on the left."""

HOURS_APART = 3
"""Hours of the day that are written beside its path."""

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LINES = tuple(zip(style.LINE_COLOURS, ("-", "--", "-.", ":"), ("o", "s", "^", "D"), strict=True))
"""Colour, dashes and marker of each of several days."""

POINTS = {0: "N", 90: "E", 180: "S", 270: "W"}


def four_dates(date: dt.date) -> tuple[dt.date, ...]:
    """The year's solstices, an equinox, and the date itself, each once, in order."""
    fixed = [dt.date(date.year, 3, 20), dt.date(date.year, 6, 21), dt.date(date.year, 12, 21)]
    return tuple(sorted({*fixed, date}))


def sun_and_reach(scene_file: SceneFile, plan: Day, moves: MovesPlan | None) -> Picture:
    """The sun's path on several days over the sky that the mount reaches, and the day's settings below.

    `moves` is the plan of moves, None on a day without one: each of its moves is marked where the sun then stands.
    """
    # The sun of noon stands in the middle, so that no day's path is cut in two outside the tropics.
    start = 0.0 if scene_file.site.latitude >= 0.0 else -180.0
    dates = four_dates(plan.date)
    figure = new_figure(6.9)
    sky, settings = figure.subplots(2, 1, height_ratios=(1.6, 1.0))
    _draw_reach(sky, scene_file, start)
    for k, date in enumerate(dates):
        _draw_sun(sky, scene_file, date, start, LINES[k % len(LINES)], named=date == plan.date)
    suns = _suns_of_moves(scene_file, moves, start)
    if len(suns):
        sky.plot(suns[:, 0], suns[:, 1], ls="", marker="o", ms=_size(len(suns), 8.5), mfc="white", mec="black", mew=0.9,
                 label=f"set the lens, {plan.date.day} {MONTHS[plan.date.month - 1]}")  # fmt: skip
    sky.set_xlim(start, start + 360.0)
    sky.set_ylim(0.0, 92.0)
    sky.set_yticks(range(0, 91, 15))
    marks = np.arange(start, start + 361.0, 45.0)
    sky.set_xticks(marks, [POINTS.get(round(mark) % 360, f"{round(mark) % 360}") for mark in marks])
    sky.set_xlabel("azimuth, clockwise from true north [deg]")
    sky.set_ylabel("elevation [deg]")
    sky.set_title(
        "Dots: full hours. Grey, crossed: out of the mount's reach. Thin lines: skew along the grooves", fontsize=8.5
    )
    figure.legend(handles=sky.get_legend_handles_labels()[0], loc="outside upper left", ncols=5, fontsize=8.0)
    aimed = [entry.instant for entry in plan.instants if entry.instant.aim is not None]
    reached = [i for i in aimed if i.aim is not None and abs(i.aim.angles.transversal) <= REACHED_TRANSVERSAL]
    _draw_settings(settings, scene_file, plan, aimed, moves)
    tilts = [i.aim.setting.tilt for i in aimed if i.aim is not None]
    name = "declination setting" if scene_file.mount.kind == "polar" else "tilt"
    worst = max((abs(i.aim.angles.longitudinal) for i in aimed if i.aim is not None), default=0.0)
    told = f"the sun stays below {MIN_ELEVATION:g} deg and nothing is aimed."
    if tilts:
        told = (
            f"the lens can be aimed at {len(reached)} of {len(aimed)} instants with the sun at {MIN_ELEVATION:g} deg "
            f"or above; its {name} runs from {round(min(tilts))} to {round(max(tilts))} deg and the skew along the "
            f"grooves goes up to {worst:.0f} deg. {_moves_words(moves)}"
        )
    return Picture(
        name="sun-and-reach",
        title="The sun's path, the mount's reach and the day's moves",
        alt=(
            f"The sun's path at {scene_file.site.name or 'the site'} on {len(dates)} days over the mount's reach. On "
            f"{plan.date.isoformat()} {told}"
        ),
        figure=figure,
        numbers={
            "date": plan.date.isoformat(),
            "instants_aimed": len(aimed),
            "instants_within_reach": len(reached),
            "largest_longitudinal_angle_deg": worst,
            "tilt_deg": tilts,
            "moves": [
                {
                    "set_at_local": s.start.isoformat(),
                    "good_until_local": s.until.isoformat(),
                    "tilt_deg": s.setting.tilt,
                    "swivel_deg": s.setting.swivel,
                    "solar_azimuth_deg": float(sun[0]) % 360.0,
                    "solar_elevation_deg": float(sun[1]),
                }
                for s, sun in zip(() if moves is None else moves.stretches, suns, strict=True)
            ],
        },
    )


def _moves_words(moves: MovesPlan | None) -> str:
    if moves is None or not moves.stretches:
        return "There are no moves to plan."
    first, last = moves.stretches[0], moves.stretches[-1]
    return (
        f"The plan sets the lens {moves.moves} times, first at {first.start:%H:%M}, last at {last.start:%H:%M} until "
        f"{last.until:%H:%M}."
    )


def _size(count: int, largest: float) -> float:
    """Size of marks [pt] that do not hide each other where there are many."""
    return max(0.35 * largest, min(largest, largest * ROOMY / max(count, 1)))


def _turned(azimuth: Floats, start: float) -> Floats:
    """Azimuths [deg] counted on from the picture's left edge."""
    return np.asarray((azimuth - start) % 360.0 + start)


def _draw_reach(axes: Axes, scene_file: SceneFile, start: float) -> None:
    azimuth = np.arange(start, start + 360.0 + 0.5 * REACH_STEP, REACH_STEP)
    elevation = np.arange(MIN_ELEVATION, 90.0 + 0.5 * REACH_STEP, REACH_STEP)
    off, skew = _reach(scene_file, azimuth, elevation)
    axes.contourf(azimuth, elevation, np.minimum(off, 2.0 * REACHED_TRANSVERSAL), levels=[REACHED_TRANSVERSAL, 90.0],
                  colors=["#d9d9d9"], hatches=["xx"])  # fmt: skip
    shown = np.where(off > REACHED_TRANSVERSAL, np.nan, skew)
    if np.isfinite(shown).any() and np.nanmax(shown) > 1.0:
        lines = axes.contour(azimuth, elevation, np.ma.masked_invalid(shown), levels=[10, 20, 30, 45, 60],
                             colors="#5f5f5f", linewidths=0.7)  # fmt: skip
        axes.clabel(lines, fmt="%d deg", fontsize=7.5)


def _reach(scene_file: SceneFile, azimuth: Floats, elevation: Floats) -> tuple[Floats, Floats]:
    """|transversal| and |longitudinal| angle [deg] at the best setting, (elevations, azimuths)."""
    mount = scene_file.mount
    off, skew = (np.full((len(elevation), len(azimuth)), 90.0) for _ in range(2))
    for i, e in enumerate(elevation.tolist()):
        for j, a in enumerate((azimuth % 360.0).tolist()):
            setting = aim(mount, a, e)
            if setting is not None:
                angles = lens_angles(mount, setting.tilt, setting.swivel, a, e)
                if float(angles.incidence) < 89.0:
                    off[i, j], skew[i, j] = abs(float(angles.transversal)), abs(float(angles.longitudinal))
    return off, skew


def _draw_sun(
    axes: Axes, scene_file: SceneFile, date: dt.date, start: float, line: tuple[str, str, str], *, named: bool
) -> None:
    """A day's path with dots at full hours; hours are written beside the path that is `named`."""
    colour, dashes, marker = line
    site = scene_file.site
    times = day_instants(site, date, PATH_STEP)
    if not times:
        return
    path = sun_path(site, [time.astimezone(dt.UTC) for time in times])
    azimuth, elevation = _turned(np.array(path.azimuth), start), np.array(path.elevation)
    gaps = np.flatnonzero(np.abs(np.diff(azimuth)) > 180.0) + 1
    axes.plot(np.insert(azimuth, gaps, np.nan), np.insert(elevation, gaps, np.nan), color=colour, ls=dashes, lw=1.3,
              marker=marker, ms=4, markevery=[], label=f"{date.day} {MONTHS[date.month - 1]}")  # fmt: skip
    hours = [k for k, time in enumerate(times) if time.minute == 0]
    axes.plot(azimuth[hours], elevation[hours], ls="", marker=marker, ms=3.6, color=colour)
    for k in hours if named else ():
        if times[k].hour % HOURS_APART == 0 and elevation[k] >= MIN_ELEVATION:
            # Beside the path, away from the middle, but within the picture.
            left = EDGE < azimuth[k] - start < 180.0
            text = axes.annotate(f"{times[k].hour} h", (azimuth[k], elevation[k]), xytext=(-7 if left else 7, 6),
                                 ha="right" if left else "left", textcoords="offset points", fontsize=8.0)  # fmt: skip
            text.set_path_effects([style.halo()])


def _suns_of_moves(scene_file: SceneFile, moves: MovesPlan | None, start: float) -> Floats:
    """Where the sun stands at each move, (moves, 2): azimuth as drawn, elevation [deg]."""
    if moves is None or not moves.stretches:
        return np.zeros((0, 2))
    path = sun_path(scene_file.site, [stretch.start.astimezone(dt.UTC) for stretch in moves.stretches])
    return np.column_stack([_turned(np.array(path.azimuth), start), np.array(path.elevation)])


def _hour(time: dt.datetime, date: dt.date) -> float:
    """Clock time [h], 24 and more on the days after `date`: a plan under a sun that does not set ends at 24."""
    return 24.0 * (time.date() - date).days + time.hour + time.minute / 60.0 + time.second / 3600.0


def _draw_settings(
    axes: Axes, scene_file: SceneFile, plan: Day, aimed: Sequence[Instant], moves: MovesPlan | None
) -> None:
    """Settings of perfect aiming as thin lines, those of the plan as thick ones with a dot where each begins."""
    mount = scene_file.mount
    polar = mount.kind == "polar"
    names = ("declination", "hour angle") if polar else ("tilt", "swivel")
    stretches = () if moves is None else moves.stretches
    hours = np.array([_hour(i.time_local, plan.date) for i in aimed])
    moving = mount_axes(mount)
    shown = [k for k in (0, 1) if moving[k]] or [0]
    panels = [axes, axes.twinx()] if len(shown) == 2 else [axes]
    for panel, k, (colour, dashes) in zip(panels, shown, ((style.BLUE, "-"), (style.RED, "--")), strict=False):
        perfect = np.array([_axis(i, k) for i in aimed])
        panel.plot(hours, perfect, color=colour, lw=0.7, ls=dashes, alpha=0.8)
        for stretch in stretches:
            value = _near(stretch, k, hours, perfect, plan.date)
            of = [_hour(time, plan.date) for time in (stretch.start, stretch.until)]
            panel.plot(of, [value] * 2, color=colour, lw=2.2, ls=dashes,
                       marker="o", ms=_size(len(stretches), 4.5), markevery=[0])  # fmt: skip
        panel.set_ylabel(f"{names[k]} [deg]{', solid' if k == shown[0] and len(shown) == 2 else ''}"
                         f"{', dashed' if k != shown[0] else ''}")  # fmt: skip
        low, high = panel.get_ylim()
        if high - low < LEAST_SPAN:
            middle = 0.5 * (low + high)
            panel.set_ylim(middle - 0.5 * LEAST_SPAN, middle + 0.5 * LEAST_SPAN)
    if len(panels) == 2:
        panels[1].spines["right"].set_visible(True)
    ends = [
        *hours.tolist(),
        *(_hour(time, plan.date) for stretch in stretches for time in (stretch.start, stretch.until)),
    ]
    if ends:
        axes.set_xlim(math.floor(min(ends)), math.ceil(max(ends)))
    axes.xaxis.set_major_locator(MaxNLocator(nbins=12, integer=True, steps=[1, 2, 3, 4, 6, 10]))
    axes.set_xlabel(f"local clock time on {plan.date.isoformat()} [h]")
    title = "Settings of the lens. Thin: perfect aiming"
    if stretches:
        title += f". Thick: the plan's {len(stretches)} settings, a dot where each is set"
    axes.set_title(title, fontsize=8.5)


def _axis(instant: Instant, k: int) -> float:
    assert instant.aim is not None  # noqa: S101  chosen so
    return (instant.aim.setting.tilt, instant.aim.setting.swivel)[k]


def _near(stretch: Stretch, k: int, hours: Floats, perfect: Floats, date: dt.date) -> float:
    """A setting of the plan [deg]; a swivel by whole turns as near as can be to that of perfect aiming."""
    if k == 0 or not len(hours):
        return (stretch.setting.tilt, stretch.setting.swivel)[k]
    middle = 0.5 * (_hour(stretch.start, date) + _hour(stretch.until, date))
    turns = round((float(np.interp(middle, hours, perfect)) - stretch.setting.swivel) / 360.0)
    return stretch.setting.swivel + 360.0 * turns
