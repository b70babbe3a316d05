"""`focalrow day --from --to`: one table of marks and times for each week or fortnight of a season."""

import csv
import io
from pathlib import Path
from typing import Any

from tracking.cli import console
from tracking.cli.day_moves import goal_words, water_words
from tracking.cli.day_run import built_table, show
from tracking.cli.day_sheet import Season, write_season_sheet
from tracking.cli.day_wish import PlanWish
from tracking.cli.scene_words import closing_sections, scene_errors
from tracking.cli.tables import Column, console_width, number, paragraph, section, table
from tracking.energy.plan_water import PlanWater, plan_water
from tracking.plans.season import KeptDay, Piece, season_pieces
from tracking.response import kept_response_table
from tracking.scenefile import SceneFile

FEW_PAGES = 2


def print_season(
    scene_file: SceneFile, path: Path, season: Season, wish: PlanWish, *, json: bool, out: Path | None
) -> None:
    """Plan a season, print it and write its sheet."""
    with scene_errors(path):
        response = kept_response_table(scene_file) or built_table(scene_file)
        with console.progress_bar("Planning the season, and trying every day of it") as progress:
            pieces = season_pieces(
                scene_file,
                season.first,
                season.last,
                response,
                days=season.days,
                share=wish.share,
                most=wish.most,
                lazy=wish.lazy,
                progress=progress,
            )
        water = [plan_water(scene_file, piece.plan, response) if piece.plan.stretches else None for piece in pieces]
    width = console_width()
    title = f"{scene_file.site.name}, {season.first.isoformat()} to {season.last.isoformat()}".removeprefix(", ")
    texts = {
        "season.txt": "\n\n".join(
            [
                section(title, *(paragraph(words, width=width) for words in _words(scene_file, pieces))),
                *(_piece_text(piece, each, width=width) for piece, each in zip(pieces, water, strict=True)),
                *closing_sections(scene_file, [], width=width),
            ]
        ),
        "season.json": console.as_json(
            {"tables": [_piece_object(piece, each) for piece, each in zip(pieces, water, strict=True)]}
        ),
        "season.csv": _csv_text(pieces),
    }
    if wish.sheet is not None:
        pages = write_season_sheet(scene_file, pieces, wish.sheet, paper=wish.paper, language=wish.language)
        console.talk(f"Wrote {wish.sheet}, {pages} page{'s' if pages > 1 else ''}.")
        if pages > FEW_PAGES:
            console.talk("For fewer pages ask for fewer moves (--lazy, --moves, --share) or a shorter season.")
    show(texts, out, name="season", json=json, told=[])


def _words(scene_file: SceneFile, pieces: tuple[Piece, ...]) -> list[str]:
    dimmest = min((piece.dimmest for piece in pieces), key=_share)
    worst = max((piece.worst for piece in pieces), key=lambda day: day.loss)
    told = [
        f"Times are local clock time of {scene_file.site.zone.key}; a change of the clock begins a new table.",
        (
            f"Each table: {goal_words(pieces[0].plan)}, on its first, middle and last day together. Then every day was "
            f"tried by itself."
        ),
        f"Most energy is lost on {worst.date.isoformat()}: {100.0 * worst.loss:.1f} % against perfect aiming.",
    ]
    if dimmest.least_share is not None and dimmest.least_at is not None:
        told.append(
            f"The least share of the power of perfect aiming, {100.0 * dimmest.least_share:.0f} %, comes on "
            f"{dimmest.date.isoformat()} at {dimmest.least_at:%H:%M}."
        )
    return told


def _share(day: KeptDay) -> float:
    return 1.0 if day.least_share is None else day.least_share


def _piece_text(piece: Piece, water: PlanWater | None, *, width: int) -> str:
    stretches = piece.plan.stretches
    if not stretches:
        return section(_span(piece), paragraph("No setting gives power on these days.", width=width))
    dimmest, worst = piece.dimmest, piece.worst
    words = (
        f"{piece.plan.moves} settings. Least share {100.0 * _share(dimmest):.0f} % on {dimmest.date.isoformat()}; "
        f"largest loss {100.0 * worst.loss:.1f} % on {worst.date.isoformat()}."
    )
    if piece.plan.covers:
        words += " Cover the lens where a row ends before the next begins."
    if water is not None:
        words += f" On {piece.plan.date.isoformat()}, the middle day: {water_words(water)}"
    columns = [
        Column(heading=("good until",), cells=tuple(f"{s.until:%H:%M}" for s in stretches)),
        Column(heading=("tilt",), cells=tuple(number(s.setting.tilt, 1) for s in stretches)),
        Column(heading=("swivel",), cells=tuple(number(s.setting.swivel, 1) for s in stretches)),
    ]
    first = Column(heading=("set at",), cells=tuple(f"{s.start:%H:%M}" for s in stretches), left=True)
    return section(_span(piece), paragraph(words, width=width), "", table(first, [columns], width=width))


def _span(piece: Piece) -> str:
    return f"{piece.first.isoformat()} to {piece.last.isoformat()}"


def _piece_object(piece: Piece, water: PlanWater | None) -> dict[str, Any]:
    return {
        "first_day": piece.first.isoformat(),
        "last_day": piece.last.isoformat(),
        "moves": [
            {
                "set_at_local": f"{s.start:%H:%M}",
                "good_until_local": f"{s.until:%H:%M}",
                "utc_offset": f"{s.start:%z}",
                "tilt_deg": s.setting.tilt,
                "swivel_deg": s.setting.swivel,
            }
            for s in piece.plan.stretches
        ],
        "litres": None if water is None else water.litres,
        "moves_per_litre": None if water is None else water.moves_per_litre,
        "days": [
            {
                "date": day.date.isoformat(),
                "least_share": day.least_share,
                "least_at_local": None if day.least_at is None else day.least_at.isoformat(),
                "loss_against_perfect": day.loss,
            }
            for day in piece.days
        ],
    }


def _csv_text(pieces: tuple[Piece, ...]) -> str:
    """The moves of all tables, one a line."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    head = ("first_day", "last_day", "set_at_local", "good_until_local", "utc_offset", "tilt_deg", "swivel_deg")
    writer.writerow(head)
    for piece in pieces:
        for s in piece.plan.stretches:
            times = (f"{s.start:%H:%M}", f"{s.until:%H:%M}", f"{s.start:%z}")
            days = (piece.first.isoformat(), piece.last.isoformat())
            writer.writerow((*days, *times, s.setting.tilt, s.setting.swivel))
    return text.getvalue()
