"""Sections of `focalrow report` on best height and tilt, the plan of moves and the year."""

import calendar
from collections.abc import Sequence

from raytrace.result import LEDGER_ENTRIES, Estimate
from tracking.cli.day_moves import moves_words
from tracking.cli.fit_wrong_way import OTHER_FACE, turn_words
from tracking.cli.report_gather import FIT_DRAWS, More
from tracking.cli.year_table import DRINKING
from tracking.energy.fit.height import Band, BestHeight
from tracking.energy.fit.result import Fit
from tracking.energy.fit.seasons import Season
from tracking.energy.fit.tilt import Tilt
from tracking.energy.fit.wrong_way_span import Side, WrongWaySpan
from tracking.energy.year import Period, Year
from tracking.paper.light_figures import ENTRY_WORDS
from tracking.paper.report import Section, Table
from tracking.paper.style import Picture
from tracking.plans.day import JOULES_PER_KWH
from tracking.plans.marks import mount_axes
from tracking.plans.moves import MovesPlan
from tracking.scenefile import SceneFile

MOST_ALARMS = 8
"""Alarms of a year that the page spells out."""


def kwh(joules: float, digits: int = 1) -> str:
    """An energy in kWh."""
    return f"{joules / JOULES_PER_KWH:.{digits}f}"


def names_of_axes(scene_file: SceneFile) -> tuple[str, str]:
    """What the two axes of a mount are called."""
    return ("declination setting", "hour angle") if scene_file.mount.kind == "polar" else ("tilt", "swivel")


def held(scene_file: SceneFile) -> str:
    """How the lens is held through the time that a section is about."""
    return "as it stands" if scene_file.mount.kind == "fixed" else "kept aimed"


# Best height and tilt -----------------------------------------------------------------------------------------------


def height_section(scene_file: SceneFile, fit: Fit | None, days: Table, picture: tuple[Picture, ...]) -> Section:
    """Best height and tilt over the year, and on single days."""
    title = "Best height and tilt"
    if fit is None:
        return Section(title=title, paragraphs=("No light reaches the tubes in this year at any height tried.",))
    height, focal = fit.height, scene_file.scene.lens.focal_length
    best = height.height
    words = [
        (
            f"Over {fit.span.text}, the lens {held(scene_file)}, most is absorbed at a lens height of {_mm(best)}, "
            f"{best.value / focal:.3f} of the focal length: {_energy(height.absorbed)} of {kwh(height.aperture)} kWh "
            f"on the aperture. {surely_worse(height)}; the others may be better by "
            f"{100.0 * height.possible_gain:.2g} % at most."
        ),
    ]
    if height.own is not None and height.absorbed.value > 0.0:
        share = 100.0 / height.absorbed.value
        words.append(
            f"The scene's own height of {1e3 * height.own.height:.0f} mm loses "
            f"{share * height.own.shortfall.value:.2f} % (+- {share * height.own.shortfall.standard_error:.2f}) of it."
        )
    if height.at_end:
        words.append("The best height lies at an end of what was tried.")
    words.append(
        f"{16 * FIT_DRAWS} positions of the sun stand for the year here; focalrow fit takes more, and answers more "
        "questions: a month or a day, a lens moved by plan, for the seasons only or not at all."
    )
    tables = [_bands(height)]
    if fit.tilt is not None:
        told, found = _tilt(scene_file, fit.tilt)
        words += told
        tables += found
    return Section(title=title, paragraphs=tuple(words), tables=(*tables, days), pictures=picture)


def surely_worse(height: BestHeight) -> str:
    """Which of the heights tried are worse beyond doubt."""
    low, high = height.like_best
    ends = [
        *([] if low is None else [f"up to {1e3 * low:.0f} mm"]),
        *([] if high is None else [f"from {1e3 * high:.0f} mm on"]),
    ]
    if not ends:
        return "No height tried is surely worse"
    return f"Heights {' and '.join(ends)} are surely worse"


def _mm(length: Estimate) -> str:
    return f"{1e3 * length.value:.0f} mm (+- {1e3 * length.standard_error:.1f})"


def _energy(energy: Estimate) -> str:
    return f"{kwh(energy.value)} kWh (+- {kwh(energy.standard_error)})"


def _bands(height: BestHeight) -> Table:
    def ends(band: Band) -> tuple[str, str]:
        return (
            f"below {1e3 * height.tried[0].height:.0f}" if band.low is None else f"{1e3 * band.low.value:.0f}",
            f"above {1e3 * height.tried[-1].height:.0f}" if band.high is None else f"{1e3 * band.high.value:.0f}",
        )

    return Table(
        caption="Lens heights that lose little over the year",
        heading=("Loses", "From [mm]", "To [mm]"),
        rows=tuple((f"less than {100.0 * band.loss:g} %", *ends(band)) for band in height.bands),
    )


def _tilt(scene_file: SceneFile, tilt: Tilt) -> tuple[list[str], list[Table]]:
    names, words, tables = names_of_axes(scene_file), [], []
    if tilt.standing is not None:
        still = tilt.standing
        words.append(
            f"A lens that stands still absorbs most at {names[0]} {still.setting.tilt:g} deg, {names[1]} "
            f"{still.setting.swivel:g} deg: {_energy(still.absorbed)} at the scene's height."
        )
        if still.own is not None and still.shortfall is not None and still.absorbed.value > 0.0:
            words.append(
                f"The scene's own {names[0]} of {still.own.tilt:g} deg loses "
                f"{100.0 * still.shortfall.value / still.absorbed.value:.1f} % of it."
            )
    if tilt.seasonal:
        tables.append(
            Table(
                caption=f"What setting the {names[0]} for the seasons only gives, at the scene's height",
                heading=(f"{names[0].capitalize()} set", "Absorbed [kWh]", "+- [kWh]", "Settings"),
                rows=tuple(
                    (row.name, kwh(row.absorbed.value), kwh(row.absorbed.standard_error), _seasons(row.seasons))
                    for row in tilt.seasonal
                ),
            )
        )
    if tilt.reach:
        tables.append(
            Table(
                caption="What the frame must reach, and the share of the year's energy lost where it ends short of it",
                heading=("End", "Needed [deg]", *(f"{s.missing:g} deg short [%]" for s in tilt.reach[0].short)),
                rows=tuple(
                    (
                        f"{end.end} {names[0] if end.axis == 'tilt' else names[1]}",
                        f"{end.needed:.1f}",
                        *(f"{100.0 * s.loss:.2f}" for s in end.short),
                    )
                    for end in tilt.reach
                ),
            )
        )
    return words, tables


def _seasons(seasons: Sequence[Season]) -> str:
    if len(seasons) == 1:
        return f"{seasons[0].tilt:g} deg"
    return ", ".join(f"{s.tilt:g} deg from {s.start.day} {s.start:%b}" for s in seasons)


# The sheet on its other side ----------------------------------------------------------------------------------------


def wrong_way_section(scene_file: SceneFile, year: int, found: WrongWaySpan | None) -> Section:
    """What it costs to mount the sheet the wrong way round."""
    title = "The sheet the wrong way round"
    if found is None:
        return Section(title=title, paragraphs=("No light reaches the tubes in this year: there is nothing to lose.",))
    cut_for, here = found.right.grooves_toward, f"{1e3 * found.height:.0f} mm"
    words = (
        f"This sheet is cut for grooves {OTHER_FACE[cut_for]}. Over {year}, {held(scene_file)}, the other way round "
        f"{_loses(found.loss)} at the scene's height of {here}, and {_loses(found.least_loss)} with each way at the "
        "height that is best for it."
    )
    words += turn_words(cut_for, scene_file.scene.lens.grooves_toward, found.least_loss.value)

    def row(way: str, side: Side) -> tuple[str, ...]:
        return (
            f"{way}: grooves toward the {side.grooves_toward}",
            kwh(side.absorbed.value),
            kwh(side.absorbed.standard_error),
            _mm(side.best_height),
            kwh(side.absorbed_at_best.value),
            kwh(side.absorbed_at_best.standard_error),
        )

    return Section(
        title=title,
        paragraphs=(words,),
        tables=(
            Table(
                caption=f"Absorbed over {year}; the losses above are surer than these, as both ways share their hours",
                heading=("Sheet", f"At {here} [kWh]", "+-", "Best height", "There [kWh]", "+-"),
                rows=(row("Right", found.right), row("Wrong", found.wrong)),
            ),
        ),
    )


def _loses(loss: Estimate) -> str:
    verb = "loses" if loss.value >= 0.0 else "absorbs"
    more = "" if loss.value >= 0.0 else " more"
    return f"{verb} {100.0 * abs(loss.value):.2f} % (+- {100.0 * loss.standard_error:.2f}){more}"


# The plan of moves --------------------------------------------------------------------------------------------------


def moves_section(scene_file: SceneFile, moves: MovesPlan | None, more: More) -> Section:
    """The plan of moves, and where its printed sheet is."""
    title = "The day's plan of moves"
    if moves is None or not moves.stretches:
        return Section(title=title, paragraphs=("There are no moves to plan on this day.",))
    names, moving = names_of_axes(scene_file), mount_axes(scene_file.mount)
    axes = [k for k in (0, 1) if moving[k]]
    rows = tuple(
        (
            f"{s.start:%H:%M}",
            f"{s.until:%H:%M}",
            *(f"{(s.setting.tilt, s.setting.swivel)[k]:.1f}" for k in axes),
            f"{s.mean_power:.0f}",
            f"{100.0 * s.least_share:.0f}",
        )
        for s in moves.stretches
    )
    if more.sheets:
        sheet = (
            f"The same as a sheet to print, with boxes to tick: {' and '.join(more.sheets)}, beside this page. "
            "focalrow day --sheet makes it for other days; focalrow draw --templates makes full-size templates."
        )
    else:
        sheet = f"Left out: {more.no_sheets}."
    return Section(
        title=title,
        paragraphs=(*moves_words(scene_file, moves), sheet),
        tables=(
            Table(
                caption="Set the lens at these times; settings in deg",
                heading=("Set at", "Good until", *(names[k].capitalize() for k in axes), "Mean W", "Least share %"),
                rows=rows,
            ),
        ),
    )


# The year -----------------------------------------------------------------------------------------------------------


def year_section(scene_file: SceneFile, year: Year, pictures: tuple[Picture, ...]) -> Section:
    """Months, key days, losses and alarms of a year."""
    total, design = year.total, year.design
    words = [
        (
            f"{year.year}, the lens {held(scene_file)} all the time: {kwh(sum(total.absorbed))} kWh absorbed of "
            f"{kwh(total.aperture)} kWh on the aperture; distillate {sum(total.litres):.1f} L, "
            f"{total.litres_per_m2:.0f} L for each m2 of aperture. Steps of {year.steps.seconds / 60.0:g} min, "
            f"standard time UTC{year.utc_offset:+g} h."
        ),
        *year.notes,
    ]
    if design.best_time is not None:
        dry = "never runs dry" if design.dry_out is None else f"runs dry after {design.dry_out:.0f} min"
        words.append(
            f"Strongest light on a tube: {design.best_absorbed:.0f} W on tube {design.best_tube}. There it needs a "
            f"feed of {design.needed_feed:.3g} L/h. If the feed stops there, the tube {dry}; a dry one "
            f"reaches {design.stagnation:.0f} degC: never fill it hot."
        )
    alarms = [alarm.words for alarm in year.alarms[:MOST_ALARMS]]
    if len(year.alarms) > MOST_ALARMS:
        alarms.append(f"And {len(year.alarms) - MOST_ALARMS} alarms more: see report.json.")
    names = (*calendar.month_abbr[1:], "Year")
    return Section(
        title=f"The year: {year.year}",
        paragraphs=(*words, DRINKING),
        bullets=tuple(alarms),
        tables=(
            Table(
                caption="Months",
                heading=("Month", "Use [h]", "Aperture [kWh]", "Absorbed [kWh]", "Distillate [L]", "[L/m2]"),
                rows=tuple(_period(name, period) for name, period in zip(names, (*year.months, total), strict=True)),
            ),
            Table(
                caption="Solstices and equinoxes; times to fill, standard time",
                heading=("Day", "Absorbed [kWh]", "Distillate [L]", "Fill before", "First steam", "Dry tube [degC]"),
                rows=tuple(
                    (
                        f"{day.date.day} {day.date:%b}",
                        kwh(sum(day.period.absorbed), 2),
                        f"{sum(day.period.litres):.2f}",
                        "-" if day.fill_before is None else f"{day.fill_before:%H:%M}",
                        "-" if day.first_steam is None else f"{day.first_steam:%H:%M}",
                        f"{day.stagnation:.0f}",
                    )
                    for day in year.key_days
                ),
            ),
            Table(
                caption="Where the year's energy on the aperture goes",
                heading=("Entry", "kWh", "%"),
                rows=tuple(
                    (
                        ENTRY_WORDS[name],
                        kwh(total.ledger[name]),
                        f"{100.0 * total.ledger[name] / total.aperture:.1f}" if total.aperture > 0.0 else "-",
                    )
                    for name in LEDGER_ENTRIES
                ),
            ),
        ),
        pictures=pictures,
    )


def _period(name: str, period: Period) -> tuple[str, ...]:
    return (
        name,
        f"{period.hours_of_use:.0f}",
        kwh(period.aperture),
        kwh(sum(period.absorbed)),
        f"{sum(period.litres):.1f}",
        f"{period.litres_per_m2:.1f}",
    )
