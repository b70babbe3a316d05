"""The further questions of `focalrow stray`: walk-off, aimed lens, parking, keep-out region; tables and numbers."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tracking.cli.tables import Column, number, paragraph, section, table
from tracking.scenefile import SceneFile
from tracking.stray.idle import IdlePath, Progress
from tracking.stray.keepout import MOST_SKEW, KeepOut, largest_skew
from tracking.stray.keepout import keep_out as regions
from tracking.stray.park import CHECK_ROUNDS, FINAL, PEAKS, Parking, checked, parking
from tracking.stray.sharpen import SHARP_RAYS, SPREAD
from tracking.stray.thresholds import LOWER_RISK, band
from tracking.stray.walkoff import (
    SURE_RAYS,
    WALK_STEP,
    WATCHED,
    WalkOff,
    aimed_path,
    plan_rows,
    shortest,
    walk_offs,
)

AIMED_STEP = dt.timedelta(minutes=10)
"""Least step for the aimed lens: its light moves slowly over what stands around."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What else was asked, and for what: threshold in [W/m2], the missing tube counted from 1."""

    date: dt.date
    step: dt.timedelta
    rays: int
    threshold: float
    missing_tube: int | None
    aimed: bool
    walk_off: bool
    park: bool
    keep_out: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Answers:
    """Sections and numbers that answer what else was asked; the keep-out regions, to draw, if they were asked for."""

    sections: list[str]
    numbers: dict[str, Any]
    keep_out: tuple[KeepOut, ...] | None


def further(scene_file: SceneFile, asked: Asked, progress: Progress | None, *, width: int) -> Answers:
    """Answers to what else was asked."""
    sections: list[str] = []
    numbers: dict[str, Any] = {}
    around: tuple[KeepOut, ...] | None = None
    if asked.aimed:
        at_work, whole = _aimed(scene_file, asked, progress)
        numbers["aimed"] = None if at_work is None else aimed_numbers(at_work)
        if asked.missing_tube is not None:
            numbers["aimed_whole_row"] = None if whole is None else aimed_numbers(whole)
        sections.append(NOT_AIMED if at_work is None else aimed_text(at_work, whole, asked.missing_tube, width=width))
    if asked.walk_off:
        from tracking.response import response_table

        rows, of_plan = plan_rows(scene_file, asked.date, response_table(scene_file, progress=progress))
        walks = walk_offs(scene_file, rows, asked.threshold, progress=progress)
        numbers["walk_off"] = walk_off_numbers(walks, asked.threshold, of_plan=of_plan)
        sections.append(walk_off_text(walks, asked.threshold, width=width))
    if asked.park:
        poses = [_parked(scene_file, asked, progress, turned=turned) for turned in (False, True)]
        numbers["parking"] = parking_numbers(poses)
        sections.append(parking_text(poses, width=width))
    if asked.keep_out:
        skew = largest_skew(scene_file, asked.date.year)
        around = regions(scene_file.scene, skew=skew)
        numbers |= {"keep_out": keep_out_numbers(around), "keep_out_skew_deg": skew}
        sections.append(keep_out_text(around, skew, width=width))
    return Answers(sections=sections, numbers=numbers, keep_out=around)


def _aimed(scene_file: SceneFile, asked: Asked, progress: Progress | None) -> tuple[IdlePath | None, IdlePath | None]:
    """The aimed lens as asked, and with all tubes where one is missing."""
    step = max(asked.step, AIMED_STEP)
    found = aimed_path(
        scene_file, asked.date, step=step, rays=asked.rays,
        missing_tube=None if asked.missing_tube is None else asked.missing_tube - 1, progress=progress,
    )  # fmt: skip
    if found is None or asked.missing_tube is None:
        return found, None
    return found, aimed_path(scene_file, asked.date, step=step, rays=asked.rays, progress=progress)


def _parked(scene_file: SceneFile, asked: Asked, progress: Progress | None, *, turned: bool) -> Parking:
    year = asked.date.year
    found = parking(scene_file, year, asked.threshold, turned=turned, progress=progress)
    return checked(scene_file, found, year, progress=progress)


NOT_AIMED = section("While the lens is aimed", "The lens is not aimed on this day.")


def walk_off_text(found: Sequence[WalkOff], threshold: float, *, width: int) -> str:
    """The walk-off after each row of the plan."""
    if not found:
        return section("Walk-off", "The lens is not aimed on this day.")
    head = (
        "If nobody touches the lens after a row of the day's plan of moves, it meets something that burns with "
        f"{threshold / 1e3:g} kW/m2 or more this long after the row ends; followed for "
        f"{WATCHED.total_seconds() / 3600:g} h in steps of {WALK_STEP.total_seconds() / 60:g} min, each fire by "
        f"{SURE_RAYS} rays and within one standard error. 0 min: already while the lens is meant to stand so."
    )
    first = shortest(found)
    if first is None or first.fire is None:
        verdict = f"None of the rows does: {LOWER_RISK}. Cover the lens all the same."
    else:
        verdict = (
            f"FIRE: the shortest time is {first.minutes or 0.0:.0f} min, after the setting that ends at "
            f"{first.row.until:%H:%M}, on {first.path.faces[first.fire.face].face.name}."
        )
    return section("Walk-off", paragraph(head, width=width), "", paragraph(verdict, width=width), "", table(
        Column(heading=("set at",), cells=tuple(f"{each.row.start:%H:%M}" for each in found)),
        [
            [Column(heading=("until",), cells=tuple(f"{each.row.until:%H:%M}" for each in found))],
            [Column(heading=("tilt", "deg"), cells=tuple(number(each.row.setting.tilt, 1) for each in found)),
             Column(heading=("swivel", "deg"), cells=tuple(number(each.row.setting.swivel, 1) for each in found))],
            [Column(heading=("fire after", "min"), cells=tuple(number(each.minutes, 0) for each in found))],
            [Column(heading=("on",), left=True, cells=tuple(
                "" if each.fire is None else each.path.faces[each.fire.face].face.name for each in found))],
            [Column(heading=("highest flux", "kW/m2"), cells=tuple(
                number(0.0 if each.brightest is None else each.brightest.flux / 1e3, 1) for each in found))],
        ],
        width=width,
    ))  # fmt: skip


def walk_off_numbers(found: Sequence[WalkOff], threshold: float, *, of_plan: bool) -> dict[str, Any]:
    """The same for programs."""
    first = shortest(found)
    return {
        "threshold_w_m2": threshold,
        "rows_of_plan_of_moves": of_plan,
        "shortest_min": None if first is None else first.minutes,
        "rows": [
            {
                "start": each.row.start.isoformat(),
                "until": each.row.until.isoformat(),
                "tilt_deg": each.row.setting.tilt,
                "swivel_deg": each.row.setting.swivel,
                "fire_after_min": each.minutes,
                "fire_on": None if each.fire is None else each.path.faces[each.fire.face].face.name,
                "highest_flux_w_m2": 0.0 if each.brightest is None else each.brightest.flux,
                "highest_flux_standard_error_w_m2": 0.0 if each.brightest is None else each.brightest.flux_error,
            }
            for each in found
        ],
    }


def aimed_text(found: IdlePath, whole: IdlePath | None, missing_tube: int | None, *, width: int) -> str:
    """What misses the tubes while the lens is aimed; beside it the `whole` row where a tube is missing."""
    broken = "" if missing_tube is None else (
        f" Tube {missing_tube} is taken out of the row, as if it were broken; beside it what all tubes together let by."
    )  # fmt: skip
    head = (
        f"What misses the tubes through the day while the lens is aimed as well as it can be.{broken} A tile or board "
        "must bear it for hours."
    )
    both = [found] if whole is None else [found, whole]
    heads = [("",), ("all tubes",)] if whole is not None else [()]
    lit = [k for k, each in enumerate(found.faces) if each.worst is not None or (whole and whole.faces[k].worst)]
    rows = table(
        Column(heading=("surface",), cells=tuple(found.faces[k].face.name for k in lit), left=True),
        [
            [Column(heading=("material",), left=True, cells=tuple(
                found.faces[k].face.surrounding.material for k in lit))],
            [Column(heading=(*name, "most", "W"), cells=tuple(number(path.faces[k].power, 0) for k in lit))
             for path, name in zip(both, heads, strict=True)],
            [Column(heading=(*name, "peak", "kW/m2"), cells=tuple(number(_peak(path, k) / 1e3, 2) for k in lit))
             for path, name in zip(both, heads, strict=True)],
            [Column(heading=("which reads",), left=True, cells=tuple(band(_peak(found, k)) for k in lit))],
        ],
        width=width,
    ) if lit else "No light falls on what stands around."  # fmt: skip
    tubes = table(
        Column(heading=("tube",), cells=tuple(str(k) for k in range(1, len(found.tubes) + 1))),
        [[
            Column(heading=(*name, "most", "W"), cells=tuple(number(power, 0) for power in path.tubes))
            for path, name in zip(both, heads, strict=True)
        ]],
        width=width,
    )  # fmt: skip
    return section(
        "While the lens is aimed", paragraph(head, width=width), "", rows, "",
        paragraph("Most light on the absorbers:", width=width), tubes,
    )  # fmt: skip


def _peak(found: IdlePath, face: int) -> float:
    worst = found.faces[face].worst
    return 0.0 if worst is None else worst.flux


def aimed_numbers(found: IdlePath) -> dict[str, Any]:
    """The same for programs."""
    return {
        "most_power_on_tubes_w": list(found.tubes),
        "surfaces": [
            {
                "name": each.face.name,
                "most_power_w": each.power,
                "peak_flux_w_m2": 0.0 if each.worst is None else each.worst.flux,
                "peak_flux_standard_error_w_m2": 0.0 if each.worst is None else each.worst.flux_error,
            }
            for each in found.faces
        ],
    }


def parking_text(found: Sequence[Parking], *, width: int) -> str:
    """Where to leave the lens."""
    parts = []
    for each in found:
        how = "The sheet turned over, its other face to the sun" if each.turned else "The sheet as it lies"
        pose = f"tilt {each.path.setting.tilt:.1f} deg, swivel {each.path.setting.swivel:.1f} deg"
        worst = "no light from the lens falls on any listed surface"
        if each.worst is not None:
            worst = (
                f"the stated worst case is {each.bound / 1e3:.1f} kW/m2, in the band '{band(each.bound)}': "
                f"{SPREAD:g} standard errors above {each.worst.flux / 1e3:.1f} +- {each.worst.flux_error / 1e3:.1f} "
                f"kW/m2 found on {each.path.faces[each.worst.face].face.name} at {each.worst.time_local:%d %b %H:%M}"
            )
        verdict = (
            f"{LOWER_RISK}: no listed surface was found above the threshold of {each.threshold / 1e3:g} kW/m2. Cover "
            "the lens all the same"
            if each.keeps
            else f"that is above the threshold of {each.threshold / 1e3:g} kW/m2: the lens must be covered"
        )
        parts.append(
            paragraph(
                f"{how}: best of {each.poses} poses ranked is {pose}. Through the year {worst}. {_check(each)} "
                f"Verdict: {verdict}.",
                width=width,
            )
        )
        if each.cover:
            spans = "; ".join(
                f"{s.first_day:%d %b} to {s.last_day:%d %b} from {s.begins:%H:%M} to {s.ends:%H:%M}" for s in each.cover
            )
            parts.append(paragraph(f"The cover must be on at least, by the clock: {spans}.", width=width))
        parts.append("")
    note = (
        f"All poses of a grid were ranked and the best ones traced, the last {FINAL.poses} on every {FINAL.days}th day "
        f"at {FINAL.step.total_seconds() / 60:g} min. The best of them was looked at more closely in time around its "
        f"{PEAKS} highest peaks, and with up to {SHARP_RAYS} rays at instants that might be the worst. A pose "
        "between those of the grid may be better. A listed surface is all that is known: what is not listed may burn. "
        "The cover is the way to park a lens."
    )
    return section("Where to leave the lens", *parts, paragraph(note, width=width))


def _check(found: Parking) -> str:
    if not found.minutes:
        return f"Each of {CHECK_ROUNDS} draws of random minutes found a worse one: take it as a lower limit."
    return (
        f"Of {found.minutes} minutes drawn at random from the year's days and traced, none was worse: at 95 % "
        f"confidence, fewer than {100.0 * found.worse_share:.1f} % of all are."
    )


def parking_numbers(found: Sequence[Parking]) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {
            "sheet_turned_over": each.turned,
            "tilt_deg": each.path.setting.tilt,
            "swivel_deg": each.path.setting.swivel,
            "threshold_w_m2": each.threshold,
            "worst_flux_w_m2": each.bound,
            "brightest_found_w_m2": 0.0 if each.worst is None else each.worst.flux,
            "brightest_found_standard_error_w_m2": 0.0 if each.worst is None else each.worst.flux_error,
            "random_minutes_checked": each.minutes,
            "share_that_may_be_worse": each.worse_share,
            "worst_time_local": None if each.worst is None else each.worst.time_local.isoformat(),
            "below_threshold": each.keeps,
            "cover": [
                {
                    "first_day": s.first_day.isoformat(),
                    "last_day": s.last_day.isoformat(),
                    "begins_local": f"{s.begins:%H:%M}",
                    "ends_local": f"{s.ends:%H:%M}",
                }
                for s in each.cover
            ],
        }
        for each in found
    ]


def keep_out_text(found: Sequence[KeepOut], skew: float, *, width: int) -> str:
    """The region around the focal line to keep out of."""
    head = (
        "Where the flux across the light is at least so many times direct sun, with the lens aimed, no tubes in the "
        f"way, and the sun up to {skew:.0f} deg off along the grooves, the most in the year or the {MOST_SKEW:g} deg "
        "that are looked at: up and down from the plane of the tubes' axes, across from the middle of the light, and "
        "along from the middle of the lens, in patches of 10 mm. Each row is the outline's greatest reach; --json and "
        "the picture give the outline. A lens that nobody moves throws its light elsewhere. An eye needs far more "
        "distance: never look at the line or up through the lens."
    )
    return section("Keep-out region around the focal line", paragraph(head, width=width), "", table(
        Column(heading=("suns",), cells=tuple(number(each.suns, 0) for each in found)),
        [[
            Column(heading=(name, "m"), cells=tuple(number(value, 2) for value in values))
            for name, values in (
                ("up", [each.above for each in found]), ("down", [each.below for each in found]),
                ("across", [each.across for each in found]), ("along", [each.along for each in found]),
            )
        ]],
        width=width,
    ))  # fmt: skip


def keep_out_numbers(found: Sequence[KeepOut]) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {"suns": k.suns, "above_m": k.above, "below_m": k.below, "across_m": k.across, "along_m": k.along,
         "outline": [{"height_m": h, "across_m": x, "along_m": y} for h, x, y in k.outline]}
        for k in found
    ]  # fmt: skip
