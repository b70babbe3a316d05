"""What `focalrow year` found, as a text for people."""

import calendar
import datetime as dt
import math
from collections.abc import Sequence

from raytrace.result import LEDGER_ENTRIES
from tracking.cli.scene_words import closing_sections, dni_source, lens_words, tubes_words
from tracking.cli.tables import Column, bullets, number, paragraph, section, table
from tracking.cli.year_numbers import share_not_condensed
from tracking.energy.boiler import LIMITS
from tracking.energy.year import FILL_MARGIN, SAFE_SHOCK, STEP_ERROR, Alarm, KeyDay, Period, Year
from tracking.plans.day import JOULES_PER_KWH
from tracking.scenefile import SceneFile

DRINKING = (
    "Distillate is not the same as safe drinking water: vapours of fuels and solvents come over with it, and vessels, "
    "pipes and dust add to it. Have the water tested against your local standard, and put minerals back into water "
    "that is drunk regularly."
)
"""F. Kozisek, "Health risks from drinking demineralised water", World Health Organization, 2005."""

MOST_ALARMS = 12
"""Alarms that the text spells out."""


def table_text(scene_file: SceneFile, year: Year, *, width: int) -> str:
    """The numbers for people."""
    name = scene_file.site.name
    traces = "one coarse trace" if year.ledger_traces == 1 else f"{year.ledger_traces} coarse traces"
    opening = [
        f"Times are standard time, UTC{year.utc_offset:+g} h, all year: no daylight saving.",
        f"DNI: {dni_source(scene_file)}. Every kWh and litre here stands and falls with it.",
        lens_words(scene_file),
        tubes_words(scene_file),
        (
            f"Steps of {year.steps.seconds / 60.0:g} min, the sun in the middle of each. Absorbed energy is from the "
            f"scene's response table (+- {100.0 * year.table_error:.2g} % of the aperture power, rms), its sums over "
            f"the year within {100.0 * STEP_ERROR:.1g} % of those of finer steps; the ledger from "
            f"{traces}. The sums hold for a lens that is kept aimed all the time."
        ),
        (
            f"Water boils at {year.steam.boiling_point:.2f} degC here ({year.steam.pressure / 100.0:.1f} hPa), latent "
            f"heat {year.steam.latent_heat / 1e3:.1f} kJ/kg. The balance of each tube closes to "
            f"{year.largest_imbalance:.0e} of what passes."
        ),
    ]
    parts = [
        section(f"{name}, {year.year}".removeprefix(", "), *(paragraph(text, width=width) for text in opening)),
        section("Months", _periods((*year.months, year.total), width)),
        section("Solstices and equinoxes", _periods(tuple(day.period for day in year.key_days), width)),
        section("Tubes in the year", _tubes(year, width)),
        section("Where the light on the aperture goes, kWh", _ledger(year, width)),
        section("Boiler", bullets(_boiler_words(scene_file, year), width=width)),
        section("When it is safe to fill", *_fill(year, width)),
        section("Alarms", bullets(_alarm_words(year.alarms), width=width)),
        section("Limits of the boiler's model", bullets(LIMITS, width=width)),
        section("The water", paragraph(DRINKING, width=width)),
    ]
    defaults = [f"{value.key} = {value.text}" for value in scene_file.boiler_values if value.from_default]
    if defaults:
        parts.append(section("Boiler, taken as default", paragraph("; ".join(defaults), width=width)))
    return "\n\n".join([*parts, *closing_sections(scene_file, list(year.notes), width=width)])


def _kwh(joules: float, digits: int = 1) -> str:
    return number(joules / JOULES_PER_KWH, digits)


def _periods(periods: Sequence[Period], width: int) -> str:
    is_month = [p.name.isdigit() and len(p.name) == 2 for p in periods]
    names = tuple(
        calendar.month_abbr[int(p.name)] if month else p.name for p, month in zip(periods, is_month, strict=True)
    )

    def column(heading: tuple[str, ...], values: Sequence[float | None], digits: int) -> Column:
        return Column(heading=heading, cells=tuple(number(value, digits) for value in values))

    digits = 2 if max(p.aperture for p in periods) < 100.0 * JOULES_PER_KWH else 1
    energies = [
        column(("use", "h"), [p.hours_of_use for p in periods], 1),
        column(("DNI", "kWh/m2"), [p.dni_sum / 1000.0 for p in periods], digits),
        column(("aperture", "kWh"), [p.aperture / JOULES_PER_KWH for p in periods], digits),
        column(("reaching", "kWh"), [sum(p.intercepted) / JOULES_PER_KWH for p in periods], digits),
        column(("absorbed", "kWh"), [sum(p.absorbed) / JOULES_PER_KWH for p in periods], digits),
        column(
            ("of aper-", "ture, %"),
            [None if p.optical_efficiency is None else 100.0 * p.optical_efficiency for p in periods],
            1,
        ),
    ]
    water = [
        column(("distillate", "L"), [sum(p.litres) for p in periods], 2),
        column(("", "L/m2"), [p.litres_per_m2 for p in periods], 2),
        column(("feed", "kg"), [sum(p.feed) for p in periods], 2),
    ]
    if any(p.gap_hours for p in periods):
        water.append(column(("skipped", "h"), [p.gap_hours for p in periods], 1))
    return table(Column(heading=("",), cells=names, left=True), [energies, water], width=width)


def _tubes(year: Year, width: int) -> str:
    total = year.total
    count = len(total.absorbed)

    def cells(values: Sequence[float], digits: int, scale: float = 1.0) -> tuple[str, ...]:
        return tuple(number(value / scale, digits) for value in values)

    best_day = year.steps.distillate
    days = int(year.steps.day[-1]) + 1
    by_day = best_day.reshape(days, -1, count).sum(axis=1)
    best_hour = best_day.max(axis=0) * 3600.0 / year.steps.seconds
    return table(
        Column(heading=("", "tube"), cells=tuple(str(k + 1) for k in range(count))),
        [
            [
                Column(heading=("reaching", "kWh"), cells=cells(total.intercepted, 1, JOULES_PER_KWH)),
                Column(heading=("absorbed", "kWh"), cells=cells(total.absorbed, 1, JOULES_PER_KWH)),
                Column(heading=("distillate", "L"), cells=cells(total.litres, 2)),
                Column(heading=("mean day", "L"), cells=cells(total.litres, 3, float(days))),
                Column(heading=("best day", "kg"), cells=cells(by_day.max(axis=0).tolist(), 3)),
                Column(heading=("best hour", "kg/h"), cells=cells(best_hour.tolist(), 3)),
            ]
        ],
        width=width,
    )


def _ledger(year: Year, width: int) -> str:
    months = (*year.months, year.total)
    names = (*calendar.month_abbr[1:], year.total.name)
    columns = [
        Column(heading=tuple(name.split("_")), cells=tuple(_kwh(month.ledger[name], 2) for month in months))
        for name in LEDGER_ENTRIES
    ]
    return table(Column(heading=("",), cells=names, left=True), [columns], width=width)


def _boiler_words(scene_file: SceneFile, year: Year) -> list[str]:
    boiler, design = scene_file.boiler, year.design
    if design.best_time is None:
        return ["No light reaches the tubes in this year."]
    words = [
        (
            f"Strongest light on a tube: {design.best_absorbed:.0f} W absorbed by tube {design.best_tube}, "
            f"{_moment(design.best_time)}. There it boils {_minutes(design.warm_up)} after a cold start, makes "
            f"{design.steam_rate:.3g} kg/h of steam and needs a feed of {design.needed_feed:.3g} L/h."
        ),
        (
            f"If the feed stops there: a full, boiling tube is dry after {_minutes(design.dry_out)}, and a dry one "
            f"reaches {design.stagnation:.0f} degC on average, more where the focal line lies; covered, it may be "
            f"filled after {_minutes(design.cool_down)}."
        ),
    ]
    needed = "" if design.condenser_needed is None else f", which takes {design.condenser_needed:.3g} W/K"
    has = (
        "The scene names no condenser: all steam is taken as condensed."
        if boiler.condenser_conductance is None
        else (
            f"The condenser of {boiler.condenser_conductance:g} W/K misses "
            f"{100.0 * share_not_condensed(year.total):.1f} % of the year's steam."
        )
    )
    words.append(f"Condenser: {design.condenser_duty:.0f} W in the best step of the row{needed}. {has}")
    drain = (
        "The feed holds no salt."
        if not math.isfinite(year.litres_to_drain)
        else (
            f"A tube's water reaches the limit of {boiler.solids_limit:g} mg/L after {year.litres_to_drain:.3g} L of "
            f"distillate from fresh water. Drained at midnight past the limit, {year.drains} drains of a tube in the "
            f"year; highest content {year.highest_concentration:.0f} mg/L. Salt that is left to dry sticks to the tube."
        )
    )
    return [*words, drain]


def _minutes(value: float | None) -> str:
    if value is None:
        return "never"
    if not math.isfinite(value):
        return "no time at all in this air"
    return f"{value:.0f} min" if value < 180.0 else f"{value / 60.0:.1f} h"


def _moment(time: dt.datetime) -> str:
    return f"{time.day} {calendar.month_name[time.month]} {time:%H:%M}"


def _fill(year: Year, width: int) -> list[str]:
    def clock(time: dt.datetime | None, day: KeyDay) -> str:
        if time is None:
            return "-"
        return f"{time:%H:%M}" + (" next day" if time.date() > day.date else "")

    days = year.key_days
    columns = [
        Column(heading=("fill be-", "fore"), cells=tuple(clock(day.fill_before, day) for day in days)),
        Column(heading=("first", "steam"), cells=tuple(clock(day.first_steam, day) for day in days)),
        Column(heading=("fill dry", "tube after"), cells=tuple(clock(day.fill_after, day) for day in days)),
        Column(heading=("dry tube", "degC"), cells=tuple(number(day.stagnation) for day in days)),
    ]
    text = (
        f"Filling ends {FILL_MARGIN.total_seconds() / 60.0:g} min before the first light. A tube that has run dry is "
        f"filled only when it is within {SAFE_SHOCK:g} K of the feed (common practice, no source), "
        f"after the last light or under a cover. Dry tube: its mean temperature in the strongest light of the day."
    )
    names = tuple(day.period.name for day in days)
    return [paragraph(text, width=width), table(Column(heading=("",), cells=names, left=True), [columns], width=width)]


def _alarm_words(alarms: Sequence[Alarm]) -> list[str]:
    if not alarms:
        return ["None in this year, as the scene stands."]
    shown = [alarm.words for alarm in alarms[:MOST_ALARMS]]
    if len(alarms) > MOST_ALARMS:
        shown.append(f"And {len(alarms) - MOST_ALARMS} more: see year.json.")
    return shown
