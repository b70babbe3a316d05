"""`focalrow fit SCENE --widths widths.csv`: which lens was bought, from measured widths of its focal line."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tracking.cli import console, files
from tracking.cli.cautions import MEASURING_WIDTHS
from tracking.cli.fit_wrong_way import OTHER_FACE, wrong_way_object, wrong_way_parts
from tracking.cli.scene_words import closing_sections, scene_errors
from tracking.cli.tables import Column, bullets, console_width, number, paragraph, section, table
from tracking.energy.fit.bought import bought_lens
from tracking.energy.fit.lens_found import BoughtLens, Interval, SideFit
from tracking.energy.fit.width_surface import MOST_SLOPE_ERROR
from tracking.energy.fit.widths import WidthKind, read_widths
from tracking.energy.fit.wrong_way import WrongWay, wrong_way
from tracking.scenefile import SceneFile

KIND_WORDS: dict[WidthKind, str] = {
    "fwhm": "full width at half maximum",
    "w50": "full width that holds the central 50 % of the light",
    "w90": "full width that holds the central 90 % of the light",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """What is told of a lens that was bought: the fit, and the cost of the wrong side for that very lens."""

    scene_file: SceneFile
    lens: BoughtLens
    wrong_way: WrongWay


def tell_widths(
    scene: Path, widths: Path, *, seed: int, threads: int | None, json: bool, out: Path | None
) -> None:
    """Print what the widths say about the lens, and write it to a folder if there is one.

    Raises
    ------
    InputError
        If the scene or the widths cannot be used.
    """
    from tracking.scenefile import read_scene

    scene_file = read_scene(scene)
    measured = read_widths(widths, scene_file.scene.lens.grooves_toward)
    with scene_errors(scene), console.progress_bar("Trying lenses") as progress:
        found = bought_lens(scene_file.scene, measured, seed=seed, threads=threads, progress=progress)
        best = found.best
        lens = replace(
            scene_file.scene.lens,
            focal_length=best.focal_length.value,
            slope_error=best.slope_error.value,
            cut_for=best.cut_for,
        )
        cost = wrong_way(replace(scene_file.scene, lens=lens), scene_file.mount, seed=seed, threads=threads)
    told = Told(scene_file=scene_file, lens=found, wrong_way=cost)
    texts = {
        "fit_widths.txt": widths_text(told, width=console_width()),
        "fit_widths.json": console.as_json(widths_object(told)),
    }
    files.write_if_asked(out, texts)
    console.result(texts["fit_widths.json" if json else "fit_widths.txt"])


def widths_object(told: Told) -> dict[str, Any]:
    """The numbers for programs."""
    found = told.lens
    return {
        "scene": str(told.scene_file.path),
        "widths": str(found.measured.path),
        "width": found.measured.kind,
        "sides": [_side_object(side) for side in found.sides],
        "likelihood_ratio": found.ratio,
        "side_is_told": found.side_is_told,
        "fits": found.best.fits,
        "other_focal_lengths": [
            {**_side_object(side), "relative_likelihood": ratio} for side, ratio in found.rivals
        ],
        "lines": [
            {
                "height_m": line.height,
                "width_m": line.width,
                "height_uncertainty_m": line.height_uncertainty,
                "width_uncertainty_m": line.width_uncertainty,
                "grooves_toward": line.grooves_toward,
                "predicted_m": [side.predicted[k] for side in found.sides],
            }
            for k, line in enumerate(found.measured.lines)
        ],
        "wrong_way": wrong_way_object(told.wrong_way),
    }


def _side_object(side: SideFit) -> dict[str, Any]:
    return {
        "cut_for": side.cut_for,
        "focal_length_m": _interval_object(side.focal_length),
        "slope_error_mrad": _interval_object(side.slope_error),
        "correlation": side.correlation,
        "chi_square": side.misfit,
        "degrees_of_freedom": side.freedom,
        "chance_of_larger": side.chance,
    }


def _interval_object(interval: Interval) -> dict[str, float]:
    return {
        "value": interval.value,
        "standard_uncertainty": interval.uncertainty,
        "low": interval.low,
        "high": interval.high,
        "low_95": interval.low_95,
        "high_95": interval.high_95,
    }


def widths_text(told: Told, *, width: int) -> str:
    """The answer for people."""
    scene_file, found = told.scene_file, told.lens
    lens = scene_file.scene.lens
    opening = (
        f"Measured: {KIND_WORDS[found.measured.kind]} ({found.measured.kind}), {len(found.measured.lines)} lines of "
        f"{found.measured.path}. Taken from the scene: a sheet {1e3 * lens.width:g} mm across the grooves, "
        f"{1e3 * lens.thickness:g} mm thick, groove pitch {1e3 * lens.groove_pitch:g} mm, {lens.material.name}, and "
        f"the sun's disc. Its focal length, slope error and side are not used."
    )
    answer = [paragraph(text, width=width) for text in answer_words(told)]
    return "\n\n".join(
        [
            section("The lens that was bought", paragraph(opening, width=width), *answer),
            section("Measured and predicted widths", _lines(found, width)),
            section("The wrong way round", *wrong_way_parts(told.wrong_way, lens.grooves_toward, width=width)),
            section("How to measure, and safely", bullets(MEASURING_WIDTHS, width=width)),
            *closing_sections(scene_file, [], width=width),
        ]
    )


def answer_words(told: Told) -> list[str]:
    """The answer in plain words, also where the widths cannot tell."""
    found = told.lens
    best = found.best
    words = []
    if not best.fits:
        words.append(
            f"No lens of this kind gives these widths: the weighted squares are {best.misfit:.1f} for {best.freedom} "
            f"degrees of freedom (chance of more: {best.chance:.2g}). The figures below are only the least bad. Look "
            f"at the sheet's measures in the scene, at the kind of width and its unit, at haze around the sun, at the "
            f"aim and the level of the target, and at the uncertainties."
        )
    else:
        words.append(
            f"The widths agree with such a lens: weighted squares {best.misfit:.1f} for {best.freedom} degrees of "
            f"freedom (chance of more: {best.chance:.2g})."
        )
    words += [_focal_words(best, told), _slope_words(best), _side_words(found)]
    for rival, ratio in found.rivals:
        words.append(
            f"The widths cannot tell this from another lens, cut for grooves {_toward(rival)}, with a focal length of "
            f"{1e3 * rival.focal_length.value:.0f} mm (+- {1e3 * rival.focal_length.uncertainty:.0f} mm), {ratio:.2g} "
            f"times as likely: measure on the other side of the narrowest line too."
        )
    return words


def _toward(side: SideFit) -> str:
    return f"toward the {side.cut_for}"


def _focal_words(best: SideFit, told: Told) -> str:
    focal, written = best.focal_length, told.scene_file.scene.lens.focal_length
    words = f"Focal length: {1e3 * focal.value:.1f} mm +- {1e3 * focal.uncertainty:.1f} mm."
    if focal.uncertainty > 0.0:
        off = (focal.value - written) / focal.uncertainty
        words += f" The scene says {1e3 * written:g} mm, which is {abs(off):.1f} standard uncertainties off."
    return words


def _slope_words(best: SideFit) -> str:
    slope = best.slope_error
    if slope.low <= 0.0:
        words = f"Slope error: the widths cannot tell it from none; best {slope.value:.1f} mrad, at most about "
        words += f"{slope.high_95:.1f} mrad (19 times in 20). Heights near the narrowest line, measured more finely, "
        words += "would tell."
    else:
        words = f"Slope error: {slope.value:.1f} mrad, between {slope.low:.1f} and {slope.high:.1f} mrad"
        words += " (one standard uncertainty)."
    if best.at_end:
        words += f" It reaches {MOST_SLOPE_ERROR:g} mrad, the largest that is looked for."
    return words


def _side_words(found: BoughtLens) -> str:
    best, ratio = found.best, found.ratio
    if ratio is None:
        return (
            f"Cut for grooves {OTHER_FACE[best.cut_for]}: a sheet for the other side could not be cut for such heights."
        )
    other = found.sides[1]
    if found.side_is_told:
        times = f"{ratio:.0f}" if ratio < MOST_TIMES else f"more than {MOST_TIMES}"
        words = f"Cut for grooves {OTHER_FACE[best.cut_for]}: {times} times as likely as for the other side."
        return words if best.fits else f"{words} As no lens fits, do not rely on it."
    return (
        f"Cut for which side? The widths cannot tell: grooves {_toward(best)} is only {ratio:.1f} times as likely as "
        f"grooves {_toward(other)}, which would give a focal length of {1e3 * other.focal_length.value:.1f} mm +- "
        f"{1e3 * other.focal_length.uncertainty:.1f} mm. Measure with the sheet turned over as well, near the "
        f"narrowest line, or more finely."
    )


MOST_TIMES = 1_000_000
"""Ratios beyond are not spelt out: no measurement is that sure of its own uncertainties."""


def _lines(found: BoughtLens, width: int) -> str:
    lines = found.measured.lines

    def cells(values: list[float], digits: int = 1) -> tuple[str, ...]:
        return tuple(number(1e3 * value, digits) for value in values)

    columns = [
        Column(heading=("+-", "mm"), cells=cells([line.height_uncertainty for line in lines])),
        Column(heading=("grooves", "toward"), cells=tuple(line.grooves_toward for line in lines)),
        Column(heading=(found.measured.kind, "mm"), cells=cells([line.width for line in lines])),
        Column(heading=("+-", "mm"), cells=cells([line.width_uncertainty for line in lines])),
    ]
    for side in found.sides:
        columns.append(Column(heading=(f"cut for {side.cut_for}", "mm"), cells=cells(list(side.predicted))))
        off = [
            number((line.width - predicted) / spread, 1)
            for line, predicted, spread in zip(lines, side.predicted, side.spread, strict=True)
        ]
        columns.append(Column(heading=("off by", "std. unc."), cells=tuple(off)))
    return table(Column(heading=("height", "mm"), cells=cells([line.height for line in lines])), [columns], width=width)
