"""The plan of moves that `focalrow day` prints: as a table for people, as numbers for programs."""

from typing import Any

from tracking.cli.tables import Column, number, paragraph, section, table
from tracking.plans.day import JOULES_PER_KWH
from tracking.plans.moves import FREE_STEP, HABIT, MINUTE, MovesPlan, mount_axes
from tracking.scenefile import SceneFile


def moves_text(scene_file: SceneFile, plan: MovesPlan, *, width: int) -> str:
    """The section with the plan."""
    if not plan.stretches:
        return section("Plan of moves", paragraph("No setting gives power on this day: no moves.", width=width))
    moves_tilt, moves_swivel = mount_axes(scene_file.mount)
    settings = []
    if moves_tilt:
        settings.append(_column("tilt", [number(s.setting.tilt, 1) for s in plan.stretches]))
    if moves_swivel:
        settings.append(_column("swivel", [number(s.setting.swivel, 1) for s in plan.stretches]))
    power = [
        Column(heading=("mean", "W"), cells=tuple(number(s.mean_power, 0) for s in plan.stretches)),
        Column(heading=("least", "W"), cells=tuple(number(s.least_power, 0) for s in plan.stretches)),
        Column(heading=("least share", "%"), cells=tuple(number(100.0 * s.least_share, 0) for s in plan.stretches)),
    ]
    until = _column("good until", [f"{s.until:%H:%M}" for s in plan.stretches])
    rows = table(
        Column(heading=("set at",), cells=tuple(f"{s.start:%H:%M}" for s in plan.stretches), left=True),
        [[until, *settings], power],
        width=width,
    )
    words = [paragraph(words, width=width) for words in moves_words(scene_file, plan)]
    return section("Plan of moves", *words, "", rows)


def _column(heading: str, cells: list[str]) -> Column:
    return Column(heading=(heading,), cells=tuple(cells))


def moves_words(scene_file: SceneFile, plan: MovesPlan) -> list[str]:
    """What the plan promises and costs, in paragraphs."""
    marks = scene_file.mount
    free = [
        name
        for name, its_marks, moves in zip(
            ("tilt", "swivel"), (marks.tilt_marks, marks.swivel_marks), mount_axes(marks), strict=True
        )
        if moves and its_marks is None
    ]
    goal = (
        "the most energy for that many"
        if plan.share is None
        else f"at every minute at least {100.0 * plan.share:g} % of the power of perfect aiming"
    )
    promise = (
        f"{plan.moves} settings, the first of the day included: {goal}. Each setting is ahead of the sun on purpose: "
        f"it is best about the middle of its stretch. Do not correct it in between."
    )
    told = [promise]
    if free:
        told.append(
            f"The scene names no marks for the {' and the '.join(free)}: settings {FREE_STEP:g} deg apart are taken."
        )
    if plan.short_minutes:
        told.append(
            f"During {plan.short_minutes} minutes of the day no mark reaches that share: there the plan takes what is "
            f"best, and the least share beside the row is what is left."
        )
    if any(before.until < after.start for before, after in zip(plan.stretches, plan.stretches[1:], strict=False)):
        told.append(
            "Where a row ends before the next begins, the focal line leaves the row in between and falls on what "
            "stands beside it: cover the lens until the next setting."
        )
    habit = plan.loss_against_habit
    beside = "less" if habit >= 0.0 else "more"
    litres = plan.moves_per_litre
    told.append(
        f"Absorbed: {plan.absorbed / JOULES_PER_KWH:.3f} kWh, {100.0 * plan.loss:.1f} % less than perfect aiming and "
        f"{100.0 * abs(habit):.1f} % {beside} than the best marks set anew every {HABIT // MINUTE} min "
        f"({plan.habit_moves} settings)."
        + (
            ""
            if litres is None
            else f" {litres:.1f} moves a litre, if all of this heat boiled water of 20 degC; a real boiler needs more."
        )
    )
    return told


def moves_object(plan: MovesPlan) -> dict[str, Any]:
    """The plan as numbers for programs."""
    return {
        "wanted_share": plan.share,
        "moves": [
            {
                "set_at_local": s.start.isoformat(),
                "good_until_local": s.until.isoformat(),
                "tilt_deg": s.setting.tilt,
                "swivel_deg": s.setting.swivel,
                "mean_absorbed_w": s.mean_power,
                "least_absorbed_w": s.least_power,
                "least_share": s.least_share,
            }
            for s in plan.stretches
        ],
        "absorbed_kwh": plan.absorbed / JOULES_PER_KWH,
        "perfect_kwh": plan.perfect / JOULES_PER_KWH,
        "every_15_min_kwh": plan.habit / JOULES_PER_KWH,
        "every_15_min_moves": plan.habit_moves,
        "loss_against_perfect": plan.loss,
        "loss_against_every_15_min": plan.loss_against_habit,
        "minutes_below_wanted_share": plan.short_minutes,
        "litres_at_most": plan.litres_at_most,
        "moves_per_litre": plan.moves_per_litre,
    }
