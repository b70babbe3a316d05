"""What `focalrow day` found, as a text for people."""

import datetime as dt
from collections.abc import Iterable, Sequence
from itertools import pairwise

from raytrace.response import ResponseTable
from tracking.cli.cautions import LEVEL_MARGIN_DEG, OPEN_END_UP
from tracking.cli.day_moves import moves_text
from tracking.cli.day_numbers import slope_of
from tracking.cli.scene_words import closing_sections, dni_source, lens_words, tubes_words
from tracking.cli.tables import Column, number, paragraph, section, table
from tracking.energy.plan_water import PlanWater
from tracking.mount import MIN_ELEVATION
from tracking.plans.day import JOULES_PER_KWH, Day, DayInstant
from tracking.plans.moves import MovesPlan
from tracking.plans.power import ROW_SHARE, TUBE_SHARE, Effort
from tracking.scenefile import SceneFile

JOULES_PER_MJ = 1e6

OFF_AIM_DEG = 0.5
"""Transversal angle beyond which a line says that the mount cannot follow [deg]: about the sun's own width."""

LONG_STEP_SECONDS = 3600.0
"""Step beyond which a line says that the day's sums get coarse [s]."""

FLAG = "*"


def table_text(
    scene_file: SceneFile,
    plan: Day,
    effort: Effort,
    table: ResponseTable | None,
    *,
    width: int,
    moves: MovesPlan | None = None,
    water: PlanWater | None = None,
    remark: str = "",
) -> str:
    """The numbers for people; `table` is the response table that the powers were read from, if they were."""
    opening = [
        _clock_words(scene_file, plan),
        *sun_words(scene_file, plan),
        lens_words(scene_file),
        tubes_words(scene_file),
    ]
    title = f"{scene_file.site.name}, {plan.date.isoformat()}".removeprefix(", ")
    sections = [section(title, *(paragraph(text, width=width) for text in opening))]
    if plan.instants:
        sections.append(
            section(
                "Settings and power",
                *(paragraph(text, width=width) for text in _column_words(scene_file, effort, table)),
                "",
                _instant_table(scene_file, plan.instants, width),
            )
        )
        sections.append(section("The day's sums", _sums(plan, width)))
        if moves is not None:
            sections.append(moves_text(scene_file, moves, water, width=width))
    told = [*remarks(plan), *([remark] if remark else [])]
    return "\n\n".join([*sections, *closing_sections(scene_file, told, width=width)])


def _clock_words(scene_file: SceneFile, plan: Day) -> str:
    offsets = sorted({_offset(entry.instant.time_local) for entry in plan.instants})
    offset = f", UTC{' and UTC'.join(offsets)}" if offsets else ""
    return f"Times are local clock time of {scene_file.site.timezone}{offset}."


def _offset(time: dt.datetime) -> str:
    return f"{time:%z}"[:3] + ":" + f"{time:%z}"[3:5]


def sun_words(scene_file: SceneFile, plan: Day) -> list[str]:
    """What the sun does on this day and where the DNI comes from, in sentences."""
    place = f"at {scene_file.site.name or 'the site'} on {plan.date.isoformat()}"
    zone, events = scene_file.site.zone, plan.events
    if events.sun_stays_down:
        return [f"The sun does not rise {place}: nothing is aimed, and there is no power."]
    if events.sun_is_up_all_day:
        words = f"The sun does not set {place}."
    else:
        known = (("Sunrise", events.sunrise), ("Sunset", events.sunset))
        words = " ".join(f"{name} {time.astimezone(zone):%H:%M}." for name, time in known if time is not None)
    if plan.totals.hours_aimed > 0.0:
        words += (
            f" Below an elevation of {MIN_ELEVATION:g} deg nothing is aimed: the lens works for "
            f"{plan.totals.hours_aimed:.1f} h."
        )
    else:
        words += f" The sun stays below an elevation of {MIN_ELEVATION:g} deg: nothing is aimed, there is no power."
    return [words, f"DNI: {dni_source(scene_file)}. Every watt here stands and falls with it."]


def _column_words(scene_file: SceneFile, effort: Effort, table: ResponseTable | None) -> list[str]:
    polar = scene_file.mount.kind == "polar"
    settings = (
        "Tilt is the declination to set, swivel the hour angle, afternoon positive."
        if polar
        else "Tilt is the lens normal's angle from the vertical, swivel the azimuth to which a positive tilt leans it."
    )
    if effort.rays is not None:
        error = f"{effort.rays:,} rays were asked for at each instant"
    else:
        percent = 100.0 * effort.relative_error
        error = (
            f"each trace went on until the standard error was below {percent:g} % of every power; where the row takes "
            f"less than {100.0 * ROW_SHARE:g} % of the aperture power, or a tube less than {100.0 * TUBE_SHARE:g} %, "
            f"below {percent:g} % of that share"
        )
    columns = (
        f"Azimuth is counted from true north over east. {settings} Across and along: the sun's angles to the lens "
        f"normal, across and along the grooves. Slope: how the tubes lie against level, {FLAG} where within "
        f"{LEVEL_MARGIN_DEG:g} deg. w90: width that holds 90 % of the light of the focal line. Angles in deg."
    )
    if table is not None:
        source = (
            f"Each power is from the scene's response table, which ray traces fill: +- is "
            f"{100.0 * table.error.where_lit:.2g} % of the aperture power, the rms of its differences from traces at "
            f"random angles; --direct traces each instant instead."
        )
        return [columns, source]
    return [columns, f"Each power is from a ray trace at that instant: {error}. +- is one standard error."]


def _instant_table(scene_file: SceneFile, entries: Sequence[DayInstant], width: int) -> str:
    instants = [entry.instant for entry in entries]
    one_offset = len({instant.time_local.utcoffset() for instant in instants}) == 1

    def column(heading: tuple[str, ...], values: Iterable[float | None], digits: int) -> Column:
        return Column(heading=heading, cells=tuple(number(value, digits) for value in values))

    aims = [instant.aim for instant in instants]
    sun = [
        column(("azi-", "muth"), (instant.solar_azimuth for instant in instants), 1),
        column(("eleva-", "tion"), (instant.solar_elevation for instant in instants), 1),
        column(("DNI", "W/m2"), (instant.dni for instant in instants), 0),
    ]
    settings = [
        column(("tilt",), (None if aim is None else aim.setting.tilt for aim in aims), 1),
        column(("swivel",), (None if aim is None else aim.setting.swivel for aim in aims), 1),
        column(("across",), (None if aim is None else aim.angles.transversal for aim in aims), 1),
        column(("along",), (None if aim is None else aim.angles.longitudinal for aim in aims), 1),
        Column(heading=("slope ",), cells=tuple(_slope_cell(slope_of(entry)) for entry in entries)),
    ]
    watts = [entry.powers for entry in entries]
    power = [
        column(("absorbed", "W"), (powers.absorbed for powers in watts), 1),
        column(("+-", "W"), (powers.absorbed_standard_error for powers in watts), 2),
        column(("of aper-", "ture, %"), (_percent(powers.optical_efficiency) for powers in watts), 1),
        column(("w90", "mm"), (None if powers.w90 is None else 1e3 * powers.w90 for powers in watts), 1),
    ]
    groups: list[list[Column]] = [sun, settings, power]
    tubes = scene_file.scene.tubes.count
    if tubes > 1:
        groups.append(
            [column((f"tube {k + 1}", "W"), (powers.absorbed_per_tube[k] for powers in watts), 1) for k in range(tubes)]
        )
    times = tuple(
        f"{instant.time_local:%H:%M}" + ("" if one_offset else _offset(instant.time_local)) for instant in instants
    )
    return table(Column(heading=("time",), cells=times, left=True), groups, width=width)


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _slope_cell(slope: float | None) -> str:
    mark = FLAG if slope is not None and abs(slope) <= LEVEL_MARGIN_DEG else " "
    return number(slope, 1) + mark


def _sums(plan: Day, width: int) -> str:
    totals = plan.totals
    rows = {
        "on the aperture": totals.aperture,
        "reaching the absorbers": totals.intercepted,
        "absorbed": totals.absorbed,
    }
    parts = [
        table(
            Column(heading=("energy",), cells=tuple(rows), left=True), [_energies("", list(rows.values()))], width=width
        )
    ]
    count = len(totals.absorbed_per_tube)
    if count > 1:
        parts.append(
            table(
                Column(heading=("", "tube"), cells=tuple(str(k + 1) for k in range(count))),
                [_energies("reaching", totals.intercepted_per_tube), _energies("absorbed", totals.absorbed_per_tube)],
                width=width,
            )
        )
    how = (
        "The sums take a straight line between instants, and a trace of its own where aiming begins and ends; they "
        "hold for a lens that is kept aimed all the time."
    )
    return "\n\n".join([*parts, paragraph(how, width=width)])


def _energies(what: str, joules: Sequence[float]) -> list[Column]:
    above = (what,) if what else ()
    return [
        Column(heading=(*above, "MJ"), cells=tuple(number(value / JOULES_PER_MJ, 3) for value in joules)),
        Column(heading=(*above, "kWh"), cells=tuple(number(value / JOULES_PER_KWH, 4) for value in joules)),
    ]


def remarks(plan: Day) -> list[str]:
    """What a builder has to be told about this day, in sentences."""
    told = _slope_remarks(plan)
    off_aim = [
        entry
        for entry in plan.instants
        if entry.instant.aim is not None and abs(entry.instant.aim.angles.transversal) > OFF_AIM_DEG
    ]
    if off_aim:
        told.append(
            f"The mount cannot turn the lens to the sun at {_times(plan, off_aim)}: the light then falls beside the "
            f"middle of the row, on whatever stands there. Cover the lens."
        )
    if plan.short_of_rays:
        told.append(f"The wanted standard error was not reached at {_times(plan, plan.short_of_rays)}.")
    if plan.step.total_seconds() > LONG_STEP_SECONDS:
        told.append("The step is long: the day's sums are coarse. A shorter step makes them better.")
    return told


def _slope_remarks(plan: Day) -> list[str]:
    sloped = [(entry, slope) for entry in plan.instants if (slope := slope_of(entry)) is not None]
    level = [entry for entry, slope in sloped if abs(slope) <= LEVEL_MARGIN_DEG]
    passing = [
        later
        for (_, before), (later, after) in pairwise(sloped)
        if before * after < 0.0 and min(abs(before), abs(after)) > LEVEL_MARGIN_DEG
    ]
    remarks = []
    if level and len(level) == len(sloped):
        remarks.append(f"WARNING: the tubes lie within {LEVEL_MARGIN_DEG:g} deg of level all day. {OPEN_END_UP}")
    elif level:
        remarks.append(
            f"WARNING: the tubes lie within {LEVEL_MARGIN_DEG:g} deg of level at {_times(plan, level)}. {OPEN_END_UP}"
        )
    slopes = [slope for _, slope in sloped]
    if slopes and min(slopes) < -LEVEL_MARGIN_DEG and max(slopes) > LEVEL_MARGIN_DEG:
        when = f", just before {_times(plan, passing)}" if passing else ""
        remarks.append(
            f"WARNING: the slope of the tubes passes level{when}: the end that is up in one part of the day is down in "
            f"the other. {OPEN_END_UP}"
        )
    return remarks


def _times(plan: Day, entries: Sequence[DayInstant]) -> str:
    """The local times of some of the day's instants in words, neighbours drawn together."""
    chosen = {entry.instant.time_utc for entry in entries}
    runs: list[list[str]] = []
    before = False
    for entry in plan.instants:
        here = entry.instant.time_utc in chosen
        if here and not before:
            runs.append([])
        if here:
            runs[-1].append(f"{entry.instant.time_local:%H:%M}")
        before = here
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)
