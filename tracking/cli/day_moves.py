"""The plan of moves that `focalrow day` prints: as a table for people, as numbers for programs."""

from typing import Any

from tracking.cli.tables import Column, number, paragraph, section, table
from tracking.energy.plan_water import LEAST_LITRES, PlanWater
from tracking.plans.day import JOULES_PER_KWH
from tracking.plans.marks import FAINT, MINUTE, mount_axes
from tracking.plans.moves import HABIT, MovesPlan, split_at_clock_change
from tracking.scenefile import SceneFile


def moves_text(scene_file: SceneFile, plan: MovesPlan, water: PlanWater | None, *, width: int) -> str:
    """The section with the plan and the water that it makes."""
    if not plan.stretches:
        return section("Plan of moves", paragraph("No setting gives power on this day: no moves.", width=width))
    moves_tilt, moves_swivel = mount_axes(scene_file.mount)
    stretches = [part for stretch in plan.stretches for part in split_at_clock_change(stretch)]
    # On a day on which the clock changes each time tells which clock it is of.
    clock = "%H:%M" if len({s.start.utcoffset() for s in stretches}) == 1 else "%H:%M %z"
    settings = []
    if moves_tilt:
        settings.append(_column("tilt", [number(s.setting.tilt, 1) for s in stretches]))
    if moves_swivel:
        settings.append(_column("swivel", [number(s.setting.swivel, 1) for s in stretches]))
    power = [
        Column(heading=("mean", "W"), cells=tuple(number(s.mean_power, 0) for s in stretches)),
        Column(heading=("least", "W"), cells=tuple(number(s.least_power, 0) for s in stretches)),
        Column(heading=("least share", "%"), cells=tuple(number(100.0 * s.least_share, 0) for s in stretches)),
    ]
    until = _column("good until", [f"{s.until:{clock}}" for s in stretches])
    rows = table(
        Column(heading=("set at",), cells=tuple(f"{s.start:{clock}}" for s in stretches), left=True),
        [[until, *settings], power],
        width=width,
    )
    words = [paragraph(words, width=width) for words in moves_words(scene_file, plan, water)]
    return section("Plan of moves", *words, "", rows)


def _column(heading: str, cells: list[str]) -> Column:
    return Column(heading=(heading,), cells=tuple(cells))


def moves_words(scene_file: SceneFile, plan: MovesPlan, water: PlanWater | None = None) -> list[str]:
    """What the plan promises and costs, in paragraphs."""
    promise = (
        f"{_count(plan.moves)}, the first of the day included: {goal_words(plan)}. Each setting is ahead of the sun on "
        f"purpose: it is best about the middle of its stretch. Do not correct it in between."
    )
    told = [promise]
    marks = scene_file.mount
    steps = (plan.tilt_step, plan.swivel_step)
    free = [
        f"the {name} {step:g} deg apart"
        for name, its_marks, step in zip(("tilt", "swivel"), (marks.tilt_marks, marks.swivel_marks), steps, strict=True)
        if its_marks is None and step is not None
    ]
    if free:
        told.append(f"Where the scene names no marks, settings are taken: of {' and of '.join(free)}.")
    if plan.short_minutes:
        told.append(
            f"During {plan.short_minutes} minutes of the day no mark reaches that share: there the plan takes what is "
            f"best, and the least share beside the row is what is left."
        )
    weakest = plan.weakest
    if weakest is not None and plan.share is None:
        told.append(
            f"At worst, in the row of {weakest.start:%H:%M}, {100.0 * weakest.least_share:.0f} % of the power of "
            f"perfect aiming is left: the rest of the line then falls beside the tubes."
        )
    if plan.covers:
        minutes = sum((end - start) // MINUTE for start, end in plan.covers)
        told.append(
            f"Where a row ends before the next begins ({len(plan.covers)} times, {minutes} min in all) the focal line "
            f"leaves the row and falls on what stands beside it: cover the lens until the next setting."
        )
    told.append(
        f"Absorbed: {plan.absorbed / JOULES_PER_KWH:.3f} kWh, {_less(plan.loss)} than perfect aiming and "
        f"{_less(plan.loss_against_habit)} than the best marks set anew every {HABIT // MINUTE} min "
        f"({_count(plan.habit_moves)})."
    )
    if plan.ahead_minutes:
        told.append(
            f"During {plan.ahead_minutes} minutes the setting absorbs more than perfect aiming, the least angle across "
            f"the grooves, would: this row takes more of the light where it falls a little beside the middle."
        )
    if water is not None:
        told.append(water_words(water))
    return told


def _count(settings: int) -> str:
    return f"{settings} setting{'' if settings == 1 else 's'}"


def _less(loss: float) -> str:
    return f"{100.0 * abs(loss):.1f} % {'less' if loss >= 0.0 else 'more'}"


def goal_words(plan: MovesPlan) -> str:
    """What a plan is for, in a few words."""
    if plan.energy_share is not None:
        if plan.loss > 1.0 - plan.energy_share + 1e-9:
            return f"as near to {100.0 * plan.energy_share:g} % of the energy of perfect aiming as the marks allow"
        return (
            f"the fewest for {100.0 * plan.energy_share:g} % of the day's energy of perfect aiming, with at least "
            f"{100.0 * FAINT:g} % of its power, where a mark gives that, from the first to the last"
        )
    if plan.most is not None:
        return f"the most energy with at most {plan.most}"
    share = 0.0 if plan.share is None else plan.share
    return f"the fewest that give, at every minute, at least {100.0 * share:g} % of the power of perfect aiming"


def water_words(water: PlanWater) -> str:
    """Litres, moves for each of them, and whose boiler it is."""
    whose = (
        "a boiler of defaults, as the scene names none (see [boiler] in DEVELOPERS.md)"
        if water.boiler_is_assumed
        else "the scene's boiler"
    )
    if water.moves_per_litre is None:
        return f"Hardly any water is distilled on this day, by {whose}: less than {LEAST_LITRES:g} L."
    return (
        f"Distillate: {water.litres:.2f} L, by {whose}, its tubes cold and full in the morning: "
        f"{water.moves_per_litre:.1f} moves a litre."
    )


def moves_object(plan: MovesPlan, water: PlanWater | None = None) -> dict[str, Any]:
    """The plan as numbers for programs."""
    return {
        "wanted_share": plan.share,
        "wanted_most_moves": plan.most,
        "wanted_energy_share": plan.energy_share,
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
        "minutes_above_perfect": plan.ahead_minutes,
        "least_share": None if plan.weakest is None else plan.weakest.least_share,
        "litres": None if water is None else water.litres,
        "moves_per_litre": None if water is None else water.moves_per_litre,
        "boiler_is_assumed": None if water is None else water.boiler_is_assumed,
    }
