"""The ways to build that `focalrow fit --builds` compares, as text for people and as JSON for programs."""

from typing import Any

from tracking.cli.cautions import LEVEL_MARGIN_DEG, OPEN_END_UP
from tracking.cli.fit_numbers import estimate_object
from tracking.cli.tables import Column, number, paragraph, table
from tracking.energy.fit.builds import Builds, Built
from tracking.energy.fit.height import is_worse
from tracking.plans.compare import ACROSS
from tracking.plans.day import JOULES_PER_KWH
from tracking.scenefile import SceneFile

MOUTH_LOW = 0.01
"""Share of the energy from which on a way to build is marked as one that needs tubes open at both ends."""


def builds_parts(scene_file: SceneFile, builds: Builds, *, width: int) -> list[str]:
    """The section on ways to build."""
    rows = builds.rows
    intro = (
        "The same lens, tubes and mount, built in other ways, each at its own best lens height and kept aimed; tubes "
        "side by side have 2 mm between them at least, tubes that the line crosses fill the length of the lens. Row: "
        "what the row of tubes tilts with. Slope: of the tubes against level while the lens is in the light, the open "
        "end being the better one. Mouth low: share of the energy during which that end is not at least "
        f"{LEVEL_MARGIN_DEG:g} deg above level. Heights here are from few rays; the scene's own way stands with *."
    )
    words = [intro, _ranking(rows)]
    if builds.interrupted:
        words.append("Interrupted: some ways are missing; these are the ones that were done.")
    if any(row.litres is not None for row in rows):
        words.append(
            "Litres at 20 degC: the scene's boiler through every step of the time, its tubes cold when it begins; each "
            "hour has the light of the traced hour most like it."
        )
    return [
        *(paragraph(word, width=width) for word in words),
        "",
        _table(rows, width),
        "",
        paragraph(f"{OPEN_END_UP} Ways that are marked with ! need tubes that are open at both ends.", width=width),
        *([_costs_words(scene_file, rows, width)] if scene_file.costs is not None else []),
    ]


def _ranking(rows: tuple[Built, ...]) -> str:
    best = rows[0]
    if best.absorbed.value <= 0.0:
        return "No light reaches the tubes in this time, built in any of these ways."
    like = sum(not is_worse(row.shortfall, best.absorbed.value) for row in rows) - 1
    text = (
        "How sure is the ranking: below the best is the mean of the differences in the same hours with the same random "
        "numbers, +- its standard error."
    )
    if like:
        return f"{text} The first {like + 1} cannot be told apart, or differ by less than 0.1 %."
    return f"{text} The best one is surely better than all others."


def _option_words(row: Built) -> str:
    option = row.option
    tubes = (
        "across" if option.angle_to_grooves == ACROSS
        else "along" if option.angle_to_grooves == 0.0
        else f"at {option.angle_to_grooves:g} deg"
    )
    return f"{option.grooves}, {tubes}, {option.row_turns_with}"


def _row_words(row: Built) -> str:
    option = row.option
    mark = "*" if option.is_own else "!" if row.slopes.mouth_low >= MOUTH_LOW else " "
    if option.is_own and row.slopes.mouth_low >= MOUTH_LOW:
        mark = "*!"
    return f"{mark:2} {_option_words(row)}"


def _table(rows: tuple[Built, ...], width: int) -> str:
    best = rows[0].absorbed.value

    def column(heading: tuple[str, ...], values: list[float | None], digits: int) -> Column:
        return Column(heading=heading, cells=tuple(number(value, digits) for value in values))

    def share(value: float) -> float | None:
        return 100.0 * value / best if best > 0.0 else None

    main = [
        column(("", "tubes"), [row.option.count for row in rows], 0),
        column(("apart", "mm"), [1e3 * row.option.spacing or None for row in rows], 0),
        column(("height", "mm"), [1e3 * row.height for row in rows], 0),
        column(("absorbed", "kWh"), [row.absorbed.value / JOULES_PER_KWH for row in rows], 1),
        column(("below the", "best, %"), [share(row.shortfall.value) for row in rows], 2),
        column(("+-", "%"), [share(row.shortfall.standard_error) for row in rows], 2),
        Column(
            heading=("slope", "deg"),
            cells=tuple(f"{number(row.slopes.least)} to {number(row.slopes.most)}" for row in rows),
        ),
        column(("mouth", "low, %"), [100.0 * row.slopes.mouth_low for row in rows], 0),
    ]
    groups = [main]
    boils = any(row.litres is not None for row in rows)
    if boils:
        groups.append([column(("distillate", "L"), [r.litres.value if r.litres else None for r in rows], 0)])
    if any(row.price is not None for row in rows):
        money = [
            column(("", "price"), [row.price for row in rows], 0),
            column(
                ("kWh for", "1 of money"),
                [None if r.energy_for_money is None else r.energy_for_money / JOULES_PER_KWH for r in rows],
                2,
            ),
        ]
        if boils:
            money.append(column(("L for 1", "of money"), [row.litres_for_money for row in rows], 2))
        groups.append(money)
    key = Column(heading=("", "   grooves, tubes, row"), cells=tuple(_row_words(row) for row in rows), left=True)
    return table(key, groups, width=width)


def _costs_words(scene_file: SceneFile, rows: tuple[Built, ...], width: int) -> str:
    costs = scene_file.costs
    if costs is None:
        return ""
    best = max(rows, key=lambda row: row.energy_for_money or 0.0)
    count = best.option.count
    yields = "energy and litres" if any(row.litres is not None for row in rows) else "energy"
    return paragraph(
        f"Most energy for the money: {_option_words(best)}, {count} tube{'s' if count > 1 else ''}. "
        f"Money: prices of [costs] in {costs.currency}, {yields} of a life of {costs.life:g} years, all days taken as "
        "those of the time that counts. Nothing is said of interest, upkeep or work.",
        width=width,
    )


def builds_object(builds: Builds) -> dict[str, Any]:
    """The comparison as numbers for programs."""
    return {"interrupted": builds.interrupted, "rows": [_object(row) for row in builds.rows]}


def _object(row: Built) -> dict[str, Any]:
    option = row.option
    return {
        "grooves": option.grooves,
        "angle_to_grooves_deg": option.angle_to_grooves,
        "row_turns_with": option.row_turns_with,
        "count": option.count,
        "spacing_m": option.spacing,
        "is_own": option.is_own,
        "height_m": row.height,
        "absorbed_kwh": estimate_object(row.absorbed, JOULES_PER_KWH),
        "below_best_kwh": estimate_object(row.shortfall, JOULES_PER_KWH),
        "slope_deg": [row.slopes.least, row.slopes.most],
        "mouth_low": row.slopes.mouth_low,
        "litres": estimate_object(row.litres),
        "price": row.price,
        "kwh_for_money": None if row.energy_for_money is None else row.energy_for_money / JOULES_PER_KWH,
        "litres_for_money": row.litres_for_money,
    }
