"""What `focalrow fit` found, as a text for people."""

from collections.abc import Sequence

from raytrace.result import Estimate
from tracking.cli.fit_tilt_table import season_words, tilt_parts
from tracking.cli.scene_words import closing_sections, dni_source, lens_words, tubes_words
from tracking.cli.tables import NOTHING, Column, number, paragraph, section, table
from tracking.energy.fit.height import NEGLIGIBLE, Band, BestHeight, Tried
from tracking.energy.fit.result import Fit
from tracking.plans.day import JOULES_PER_KWH
from tracking.scenefile import SceneFile

MOVED_WORDS = {
    "perfectly": "the lens is kept aimed all the time",
    "by-plan": "the lens is moved by the plan with the fewest moves",
    "seasonal": "only the tilt is set, a few times a year",
    "fixed": "the lens stands still",
}

HEIGHTS_SHOWN = 14
"""Rows of the table of heights."""


def table_text(scene_file: SceneFile, fit: Fit, more: Sequence[str] = (), *, width: int) -> str:
    """The answers for people; `more` are sections on what else was asked for."""
    name = scene_file.site.name
    time = f"the month that is worst, {fit.span.text}" if fit.worst_month else fit.span.text
    days = "1 day" if fit.days == 1 else f"{fit.days} days"
    opening = [
        f"Time that counts: {time} ({days}); {MOVED_WORDS[fit.moved]}.{way_words(scene_file, fit)}",
        f"DNI: {dni_source(scene_file)}. Every kWh here stands and falls with it.",
        lens_words(scene_file),
        tubes_words(scene_file),
    ]
    title = f"{name}: choosing the lens height".removeprefix(": ")
    parts = [
        section(title, *(paragraph(text, width=width) for text in opening)),
        section("Lens height", *height_parts(fit.height, scene_file, width=width)),
    ]
    if fit.tilt is not None:
        title = "Declination setting and hour angle" if scene_file.mount.kind == "polar" else "Tilt"
        parts.append(section(title, *tilt_parts(scene_file, fit, fit.tilt, width=width)))
    elif fit.interrupted:
        parts.append(section("Interrupted", "The search was stopped; what stands above is the best so far."))
    remarks = []
    if fit.hours_without_dni > 0.0:
        remarks.append(
            f"{fit.hours_without_dni:g} hours have no value in the weather file and are skipped, not filled."
        )
    return "\n\n".join([*parts, *more, *closing_sections(scene_file, remarks, width=width)])


def way_words(scene_file: SceneFile, fit: Fit) -> str:
    """The settings that the way of moving has led to, with a space before them."""
    polar = scene_file.mount.kind == "polar"
    if fit.setting is not None:
        names = ("declination setting", "hour angle") if polar else ("tilt", "swivel")
        return f" It stands at {names[0]} {fit.setting.tilt:g} deg, {names[1]} {fit.setting.swivel:g} deg."
    if fit.seasons:
        return f" Set to {season_words(fit.seasons)}."
    if fit.moves:
        most = max(day.moves for day in fit.moves)
        least = min(day.moves for day in fit.moves)
        times = f"{least} to {most} times" if least < most else f"{least} times"
        if len(fit.moves) == 1:
            return f" By the plan of {fit.moves[0].date} it is set {times} a day."
        return f" By the plans of {len(fit.moves)} days it is set {times} a day."
    return ""


def millimetres(estimate: Estimate | None) -> str:
    """A length with its error, in millimetres."""
    if estimate is None:
        return NOTHING
    return f"{1e3 * estimate.value:.0f} +- {1e3 * estimate.standard_error:.1f}"


def height_parts(height: BestHeight, scene_file: SceneFile, *, width: int) -> list[str]:
    """The search for the lens height: the answer, the bands, the heights tried."""
    focal = scene_file.scene.lens.focal_length
    best, energy = height.height, height.absorbed
    if energy.value <= 0.0:
        return [paragraph("No light reaches the tubes in this time at any height that was tried.", width=width)]
    words = [
        (
            f"Most energy at {1e3 * best.value:.0f} mm (+- {1e3 * best.standard_error:.1f} mm), "
            f"{best.value / focal:.3f} of the focal length: {energy.value / JOULES_PER_KWH:.4g} kWh "
            f"(+- {energy.standard_error / JOULES_PER_KWH:.2g}) absorbed of {height.aperture / JOULES_PER_KWH:.4g} kWh "
            f"on the aperture."
        ),
        (
            f"How sure: {_surely_worse(height)} The others may be as good, or better by "
            f"{100.0 * height.possible_gain:.2g} % at most."
        ),
    ]
    if height.own is not None:
        words.append(_own_words(height.own, energy))
    if not height.interrupted:
        words += _extreme_words(height, focal)
    if height.interrupted:
        words.append("Interrupted: this is the best height so far, from the heights below.")
    return [
        *(paragraph(text, width=width) for text in words),
        "",
        _bands(height.bands, height.tried, width),
        "",
        paragraph(
            "All heights are traced with the same hours and the same random numbers, so the differences are far more "
            "exact than the energies. +- is one standard error.",
            width=width,
        ),
        _heights(height, width),
    ]


def _extreme_words(height: BestHeight, focal: float) -> list[str]:
    if height.height.value == height.tried[-1].height:
        return ["The best height is the greatest one tried: still further up it may be better."]
    if height.height.value > LOW_SHARE * focal:
        return []
    lowest = "the lowest one tried" if height.height.value == height.tried[0].height else "far below the focus"
    text = (
        f"The best height is {lowest}. There the light is hardly concentrated: as much heat, but on more of the tubes' "
        "surface, which loses more of it to the air. See with `focalrow year` what boils, and compare a greater height."
    )
    return [text]


LOW_SHARE = 0.6
"""Lens height over focal length up to which the text warns that light is hardly concentrated. Chosen, no source."""


def _surely_worse(height: BestHeight) -> str:
    ends = [
        f"{word} {1e3 * end:.0f} mm {rest}".rstrip()
        for word, end, rest in (("up to", height.like_best[0], ""), ("from", height.like_best[1], "on"))
        if end is not None
    ]
    if not ends:
        return "no height that was tried is surely worse."
    return (
        f"all heights tried {' and '.join(ends)} are worse by more than {100.0 * NEGLIGIBLE:g} % and two standard "
        "errors of the difference."
    )


def _own_words(own: Tried, best: Estimate) -> str:
    loss, error = 100.0 * own.shortfall.value / best.value, 100.0 * own.shortfall.standard_error / best.value
    return f"The scene's own height of {1e3 * own.height:.0f} mm loses {loss:.2f} % (+- {error:.2f}) against it."


def _bands(bands: Sequence[Band], tried: Sequence[Tried], width: int) -> str:
    lowest, highest = 1e3 * tried[0].height, 1e3 * tried[-1].height
    columns = [
        Column(
            heading=("from", "mm"),
            cells=tuple(f"below {lowest:.0f}" if b.low is None else millimetres(b.low) for b in bands),
        ),
        Column(
            heading=("to", "mm"),
            cells=tuple(f"above {highest:.0f}" if b.high is None else millimetres(b.high) for b in bands),
        ),
    ]
    names = tuple(f"less than {100.0 * band.loss:g} %" for band in bands)
    return table(Column(heading=("loses",), cells=names, left=True), [columns], width=width)


def _heights(height: BestHeight, width: int) -> str:
    best = height.absorbed.value
    step = max(1, -(-len(height.tried) // HEIGHTS_SHOWN))
    keep = [
        each
        for k, each in enumerate(height.tried)
        if k % step == 0 or each.height == height.height.value or each == height.own
    ]

    def cells(values: Sequence[float], digits: int) -> tuple[str, ...]:
        return tuple(number(value, digits) for value in values)

    columns = [
        Column(heading=("absorbed", "kWh"), cells=cells([e.absorbed.value / JOULES_PER_KWH for e in keep], 2)),
        Column(heading=("+-", "kWh"), cells=cells([e.absorbed.standard_error / JOULES_PER_KWH for e in keep], 2)),
        Column(heading=("below the", "best, %"), cells=cells([100.0 * e.shortfall.value / best for e in keep], 2)),
        Column(heading=("+-", "%"), cells=cells([100.0 * e.shortfall.standard_error / best for e in keep], 2)),
    ]
    key = Column(heading=("height", "mm"), cells=cells([1e3 * each.height for each in keep], 0))
    return table(key, [columns], width=width)
