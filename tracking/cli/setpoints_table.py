"""What `focalrow setpoints` found, as a text for people."""

import datetime as dt
from collections.abc import Iterable

from tracking.cli.scene_words import closing_sections, dni_source
from tracking.cli.tables import Column, bullets, number, paragraph, section, table
from tracking.motors.calibration import Calibration
from tracking.motors.export_c import CExport
from tracking.motors.plan import MotorPlan, PlanPoint
from tracking.motors.safety import BIN_SWIVEL, BIN_TILT
from tracking.motors.schedule import STATE_WORDS, Trial
from tracking.stray.idle import IdlePath

MOST_ROWS = 300
"""Setpoints and days printed; the rest stands in the files."""


def table_text(
    plan: MotorPlan, export: CExport, found: Calibration | None, ways: IdlePath | None, *, width: int
) -> str:
    """The numbers for people."""
    scene_file = plan.drive.scene_file
    first, last = plan.days[0].date, plan.days[-1].date
    period = first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"
    sections = [section(f"{scene_file.site.name}: setpoints for {period}, times in UTC", *_opening(plan, width))]
    sections.append(section("Setpoints", _point_words(plan, width), "", _point_table(plan, width)))
    sections.append(section("Days", *_day_words(width), "", _day_table(plan, width)))
    if plan.trials:
        sections.append(section("When to move", *_trial_words(plan, width), "", _trial_table(plan, width)))
    sections.append(section("Safe poses", bullets(_safety_words(plan, export, ways), width=width)))
    sections.append(section("Table for firmware", bullets(_firmware_words(export), width=width)))
    if found is not None:
        sections.append(section("Calibration", bullets(_calibration_words(found), width=width)))
    return "\n\n".join([*sections, *closing_sections(scene_file, [], width=width)])


def _opening(plan: MotorPlan, width: int) -> list[str]:
    words = [f"DNI: {dni_source(plan.drive.scene_file)}."]
    for axis, each in plan.drive.actuators.axes():
        per = each.linkage.counts_per_travel / (1e3 if each.is_linear else 1.0)
        unit = "mm" if each.is_linear else "deg"
        limits = "no limits" if each.limits is None else f"{each.limits[0]:.2f} to {each.limits[1]:.2f} deg"
        words.append(
            f"{axis.capitalize()}: {'linear' if each.is_linear else 'rotary'}, {per:g} counts per {unit}, {limits}, "
            f"dead band {each.dead_band:g} deg, duty cycle {100.0 * each.duty_cycle:g} % of "
            f"{each.duty_period / 60.0:g} min; setpoints are reached with the angle {each.approach}, the home switch "
            f"with the angle {each.homing}."
        )
    return [paragraph(text, width=width) for text in words]


def _point_words(plan: MotorPlan, width: int) -> str:
    words = (
        "Counts are those at the instant; 'ahead' those half a step later, for a controller that moves once a step. "
        "Way out: the axis and counts of the nearest pose without a focus."
    )
    if len(plan.points) > MOST_ROWS:
        words += f" The first {MOST_ROWS} of {len(plan.points)} are printed; --out writes all."
    return paragraph(words, width=width)


def _column(heading: tuple[str, ...], values: Iterable[float | None], digits: int) -> Column:
    return Column(heading=heading, cells=tuple(number(value, digits) for value in values))


def _point_table(plan: MotorPlan, width: int) -> str:
    points = plan.points[:MOST_ROWS]
    key = Column(
        heading=("UTC",),
        cells=tuple(f"{dt.datetime.fromtimestamp(p.setpoint.seconds, tz=dt.UTC):%m-%d %H:%M:%S}" for p in points),
        left=True,
    )
    state = Column(heading=("state",), cells=tuple(STATE_WORDS[p.setpoint.state] for p in points), left=True)
    groups = [[state]]
    for axis, each in plan.drive.actuators.axes():

        def angle(point: PlanPoint, *, lead: bool = False, axis: str = axis) -> float:
            where = point.lead if lead else point.setpoint
            return where.tilt if axis == "tilt" else where.swivel

        group = [_column((axis, "deg"), (angle(p) for p in points), 2)]
        if each.is_linear:
            lengths = (1e3 * float(each.linkage.travel(angle(p))) for p in points)
            group.append(_column(("length", "mm"), lengths, 1))
        group.append(_column((axis, "counts"), (float(each.counts(angle(p))) for p in points), 0))
        group.append(_column(("ahead", "counts"), (float(each.counts(angle(p, lead=True))) for p in points), 0))
        groups.append(group)
    drives = dict(plan.drive.actuators.axes())
    ways = Column(
        heading=("way out",),
        cells=tuple(
            "-" if way is None else f"{way.axis} {float(drives[way.axis].counts(way.angle)):.0f}"
            for way in (p.way_out for p in points)
        ),
    )
    return table(key, [*groups, [ways]], width=width)


def _day_words(width: int) -> list[str]:
    words = (
        "Loss: share of the energy that the planned moves lose against a lens that is aimed perfectly all day; of it, "
        "path: what the drives' speed and limits cost. Duty: the worst share of any duty period that the motor runs."
    )
    return [paragraph(words, width=width)]


def _day_table(plan: MotorPlan, width: int) -> str:
    days = plan.days[:MOST_ROWS]
    key = Column(heading=("day",), cells=tuple(day.date.isoformat() for day in days), left=True)
    groups = [
        [
            _column(("kWh",), (day.losses.moved / 3.6e6 for day in days), 2),
            _column(("loss", "%"), (100.0 * day.losses.loss for day in days), 2),
            _column(("path", "%"), (100.0 * day.losses.path_loss for day in days), 2),
        ]
    ]
    for k, (axis, _) in enumerate(plan.drive.actuators.axes()):
        groups.append(
            [
                _column((axis, "moves"), (float(day.loads[k].moves) for day in days), 0),
                _column(("motor", "s"), (day.loads[k].motor_seconds for day in days), 0),
                _column(("duty", "%"), (100.0 * day.loads[k].worst_duty for day in days), 1),
            ]
        )
    return table(key, groups, width=width)


def _trial_words(plan: MotorPlan, width: int) -> list[str]:
    day = plan.trial_day
    words = [
        (
            f"Tried on {day.date.isoformat() if day is not None else 'no day'}, way out and home left aside. Each move "
            "goes half a step ahead of the sun. A * marks what breaks a duty cycle."
        )
    ]
    best = plan.best
    if best is not None and best.dead_band is not None:
        words.append(
            f"For a loss of {100.0 * plan.wanted_loss:g} % the best dead band is {best.dead_band:.2f} deg: "
            f"{sum(best.moves.values())} moves a day, {best.motor_seconds:.0f} s of motor time."
        )
    return [paragraph(text, width=width) for text in words]


def _trial_table(plan: MotorPlan, width: int) -> str:
    trials = plan.trials

    def name(each: Trial) -> str:
        mark = "" if each.keeps_duty else " *"
        if each.dead_band is not None:
            return f"dead band {each.dead_band:g} deg{mark}"
        return f"every {(each.interval or 0.0) / 60.0:g} min{mark}"

    key = Column(heading=("way",), cells=tuple(name(each) for each in trials), left=True)
    columns = [
        _column((axis, "moves"), (float(each.moves[axis]) for each in trials), 0)
        for axis, _ in plan.drive.actuators.axes()
    ]
    columns.append(_column(("motor", "s"), (each.motor_seconds for each in trials), 0))
    columns.append(_column(("lost", "%"), (100.0 * each.loss for each in trials), 2))
    return table(key, [columns], width=width)


def _safety_words(plan: MotorPlan, export: CExport, ways: IdlePath | None) -> list[str]:
    stow, drives = plan.drive.stow, plan.drive.actuators.axes()
    counts = ", ".join(
        f"{axis} {float(each.counts(stow.tilt if axis == 'tilt' else stow.swivel)):.0f} counts" for axis, each in drives
    )
    safe = (
        "No sun of the period makes a focus there."
        if stow.safe
        else f"CAUTION: the sun reaches a concentration of {stow.concentration:.0f} there. No pose within the limits "
        "is safe all the time: whoever leaves the lens must cover it."
    )
    blocked = sum(each.way_out is None for each in plan.bins)
    cover = "" if blocked == 0 else " From the others only a cover helps."
    return [
        (
            f"Stow, for nights and for a clock that is not set: tilt {stow.tilt:.1f} deg, swivel {stow.swivel:.1f} deg "
            f"({counts}). {safe}"
        ),
        (
            f"Emergency: {len(plan.bins) - blocked} of {len(plan.bins)} bins of poses, at most {BIN_TILT:g} deg by "
            f"{BIN_SWIVEL:g} deg, have a way out by one axis.{cover}{_excess(export)}"
        ),
        *_traced_words(ways),
        *_waiting_words(plan),
        (
            "A pose counts as safe where the light below the lens nowhere reaches the flux at which wood ignites, on a "
            "plane parallel to the lens, so neither on tubes nor frame nor ground. What faces slanting light squarely "
            "sees more; it still dazzles, and what is dark and dry still gets hot."
        ),
    ]


def _waiting_words(plan: MotorPlan) -> list[str]:
    days = sum(bool(day.dim.any()) for day in plan.days)
    if days == 0:
        return []
    return [
        (
            f"CAUTION: on {days} day{'s' if days > 1 else ''} the sun leaves the ranges and comes back. While the "
            "state between two times of tracking is 'waiting for sun' the focus would fall beside the tubes: until "
            "then the lens belongs in its way out, or under a cover where there is none."
        )
    ]


def _excess(export: CExport) -> str:
    if export.way_excess is None:
        return ""
    return (
        f" As one way serves all poses of a bin, it takes up to {export.way_excess:.0f} s longer than the nearest one "
        "at the instants of this plan."
    )


def _traced_words(ways: IdlePath | None) -> list[str]:
    """What the ways out do to what stands around, by traces."""
    if ways is None:
        return []
    worst, start = ways.worst, f"Traced: of {len(ways.times)} ways out,"
    tubes = f"a tube gets {max(ways.tubes, default=0.0):.0f} W at most"
    if worst is None:
        return [f"{start} none puts light on anything listed around the row, and {tubes}."]
    return [
        (
            f"{start} the brightest spot on anything around the row is {worst.flux / 1e3:.1f} +- "
            f"{worst.flux_error / 1e3:.1f} kW/m2, on {ways.faces[worst.face].face.name}; {tubes}."
        )
    ]


def _firmware_words(export: CExport) -> list[str]:
    spans = zip(export.table.axes, export.error.counts, strict=True)
    counts = ", ".join(f"{scale.axis} {count} counts" for scale, count in spans)
    return [
        (
            f"{export.table.size} bytes: {len(export.table.node_days)} days with {export.table.slots} instants each; "
            f"CRC-32 {export.table.crc:08X}."
        ),
        (
            f"Worst interpolation error: {counts}; {export.error.mrad:.2f} mrad of the lens normal, at "
            f"{dt.datetime.fromtimestamp(export.error.worst_at, tz=dt.UTC):%Y-%m-%d %H:%M} UTC, and "
            f"{export.error.mrad_elsewhere:.2f} mrad away from the ends of the ranges, where paths bend sharply; "
            f"{100.0 * export.error.power:.2f} % of DNI times aperture at the worst moment, "
            f"{100.0 * max(0.0, export.error.energy):.3f} % of the energy."
        ),
        f"The clock may be wrong by {export.clock_error} s at most; a clock that is not set means: stow.",
    ]


def _calibration_words(found: Calibration) -> list[str]:
    units = {"tilt_length": ("mm", 1e3)}
    words = [
        (
            f"{found.observations} observations; the sun's angles in the lens, rms: {found.rms_before:.3f} deg as the "
            f"scene says, {found.rms_after:.3f} deg with these errors, {found.worst:.3f} deg at most, at "
            f"{dt.datetime.fromtimestamp(found.worst_at, tz=dt.UTC):%Y-%m-%d %H:%M} UTC:"
        )
    ]
    for name in found.unknowns:
        unit, factor = units.get(name, ("deg", 1.0))
        value, error = factor * getattr(found.errors, name), factor * getattr(found.standard_errors, name)
        words.append(f"{name.replace('_', ' ')}: {value:+.3f} +- {error:.3f} {unit}")
    words.append(
        "All setpoints, moves and files of this run allow for these errors: their counts aim the lens truly, their "
        "angles are those against the base as it leans."
    )
    return words
