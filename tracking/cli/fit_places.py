"""`focalrow fit SCENE --places places.csv`: the best lens height at many places, as a table and as JSON."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from tracking.cli import console, files
from tracking.cli.fit_numbers import json_object
from tracking.cli.fit_table import MOVED_WORDS, millimetres
from tracking.cli.fit_tilt_table import tilt_object
from tracking.cli.scene_words import closing_sections, dni_source, lens_words, scene_errors, tubes_words
from tracking.cli.tables import NOTHING, Column, bullets, console_width, number, paragraph, section, table
from tracking.energy.fit.places import Answer, Question, read_places, scene_at
from tracking.energy.fit.result import Fit
from tracking.plans.day import JOULES_PER_KWH

BAND = 0.05
"""Share of the energy whose band of heights the table shows."""

NAME_WIDTH = 28
"""Characters of a name in the table."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Where:
    """Where the places are computed: on a cluster's scheduler, or here on so many processors."""

    scheduler: str | None
    threads: int | None


def tell_places(question: Question, places: Path, where: Where, *, json: bool, out: Path | None) -> None:
    """Print the fit at each place, and write it to a folder if there is one.

    Raises
    ------
    InputError
        If the places or the cluster cannot be used.
    typer.Exit
        With status 1 if no place has an answer, after all is printed.
    KeyboardInterrupt
        If Ctrl-C came before any place was done.
    """
    sites = read_places(places)
    scene_at(question.scene_file, sites[0])  # refuses a sky that belongs to one place before any long work
    what = f"Trying lens heights and tilts at {len(sites)} places"
    with scene_errors(question.scene_file.path), console.progress_bar(what) as progress:
        if where.scheduler is None:
            from tracking.energy.fit.places_here import answers_here

            answers, interrupted = answers_here(question, sites, threads=where.threads, progress=progress)
        else:
            from tracking.energy.fit.places_cluster import answers_from_cluster

            answers, interrupted = answers_from_cluster(question, sites, where.scheduler, progress=progress)
    if interrupted and all(answer.fit is None for answer in answers):
        raise KeyboardInterrupt
    if interrupted:
        console.talk("focalrow: interrupted; the places that were done are kept.")
    wrong = [answer for answer in answers if answer.fit is None]
    if wrong:
        console.talk(f"focalrow: {len(wrong)} of {len(answers)} places have no answer; the output says why.")
    texts = {
        "fit_places.txt": places_text(question, answers, width=console_width()),
        "fit_places.json": console.as_json(places_object(question, places, answers)),
    }
    files.write_if_asked(out, texts)
    console.result(texts["fit_places.json" if json else "fit_places.txt"])
    if len(wrong) == len(answers):
        raise typer.Exit(1)


def places_object(question: Question, places: Path, answers: Sequence[Answer]) -> dict[str, Any]:
    """The numbers for programs: one entry a place, in the order of the file."""
    return {
        "scene": str(question.scene_file.path),
        "places_file": str(places),
        "places": [
            {
                "name": answer.site.name,
                "latitude_deg": answer.site.latitude,
                "longitude_deg": answer.site.longitude,
                "altitude_m": answer.site.altitude,
                "timezone": answer.site.timezone,
                "fit": None if answer.fit is None else _fit_object(question, answer.fit),
                "error": answer.error,
            }
            for answer in answers
        ],
    }


def _fit_object(question: Question, fit: Fit) -> dict[str, Any]:
    return json_object(question.scene_file, fit) | {"tilt": tilt_object(fit.tilt)}


def places_text(question: Question, answers: Sequence[Answer], *, width: int) -> str:
    """The table for people."""
    scene_file = question.scene_file
    time = f"the worst month of {question.span.text}" if question.worst_month else question.span.text
    opening = [
        f"Time that counts: {time}; {MOVED_WORDS[question.moved]}.",
        f"DNI: {dni_source(scene_file)}. Every kWh here stands and falls with it.",
        lens_words(scene_file),
        tubes_words(scene_file),
    ]
    done = [(answer, answer.fit) for answer in answers if answer.fit is not None]
    parts = [section("The lens height at many places", *(paragraph(text, width=width) for text in opening))]
    if done:
        parts.append(section("Place by place", _table(done, width), "", paragraph(_remark(question), width=width)))
    wrong = [f"{answer.site.name}: {answer.error}" for answer in answers if answer.fit is None]
    if wrong:
        parts.append(section("Places without an answer", bullets(wrong, width=width)))
    return "\n\n".join([*parts, *closing_sections(scene_file, [], width=width)])


def _remark(question: Question) -> str:
    mount = question.scene_file.mount
    kept = "facing, ranges and marks" if mount.kind in {"tilt", "fixed"} else "ranges and marks"
    pole = " A polar mount's axis points to the pole of each place." if mount.kind == "polar" else ""
    return (
        f"+- is one standard error. Lens, tubes and the mount's {kept} are those of the scene at every place: whether "
        f"they suit the sun there is for you to judge. Only the heights and settings found differ.{pole}"
    )


def _table(done: Sequence[tuple[Answer, Fit]], width: int) -> str:
    fits = [fit for _, fit in done]
    key = Column(
        heading=("", "place"), cells=tuple(answer.site.name[:NAME_WIDTH] for answer, _ in done), left=True
    )
    columns = [
        Column(heading=("latitude", "deg"), cells=tuple(number(answer.site.latitude, 1) for answer, _ in done)),
        Column(heading=("altitude", "m"), cells=tuple(number(answer.site.altitude, 0) for answer, _ in done)),
        Column(heading=("DNI", "kWh/m2"), cells=tuple(number(fit.dni_sum / 1000.0, 1) for fit in fits)),
        Column(heading=("absorbed", "kWh"), cells=tuple(_kwh(fit) for fit in fits)),
        Column(heading=("best height", "mm"), cells=tuple(_height(fit) for fit in fits)),
        Column(heading=(f"within {100.0 * BAND:g} %", "mm"), cells=tuple(_band(fit) for fit in fits)),
        Column(heading=("scene's own", "loses, %"), cells=tuple(_own(fit) for fit in fits)),
    ]
    if any(fit.worst_month for fit in fits):
        columns.append(Column(heading=("worst", "month"), cells=tuple(fit.span.text for fit in fits)))
    standing = [None if fit.tilt is None or fit.tilt.standing is None else fit.tilt.standing.setting for fit in fits]
    if any(setting is not None for setting in standing):
        cells = tuple(NOTHING if s is None else f"{s.tilt:g} / {s.swivel:g}" for s in standing)
        columns.append(Column(heading=("best fixed", "tilt / swivel"), cells=cells))
    return table(key, [columns], width=width)


def _kwh(fit: Fit) -> str:
    absorbed = fit.height.absorbed
    return f"{absorbed.value / JOULES_PER_KWH:.4g} +- {absorbed.standard_error / JOULES_PER_KWH:.2g}"


def _height(fit: Fit) -> str:
    return millimetres(fit.height.height) if fit.height.absorbed.value > 0.0 else NOTHING


def _band(fit: Fit) -> str:
    for band in fit.height.bands:
        if band.loss == BAND and fit.height.absorbed.value > 0.0:
            low, high = (None if end is None else f"{1e3 * end.value:.0f}" for end in (band.low, band.high))
            return f"{low or '...'} to {high or '...'}"
    return NOTHING


def _own(fit: Fit) -> str:
    own, best = fit.height.own, fit.height.absorbed.value
    return NOTHING if own is None or best <= 0.0 else number(100.0 * own.shortfall.value / best, 2)
