"""Runs a single day for `focalrow day`: traces or table, plan of moves, sheet, and what is printed."""

import datetime as dt
from pathlib import Path

from raytrace.response import ResponseTable
from tracking.cli import console, files
from tracking.cli.day_numbers import csv_text, json_object
from tracking.cli.day_sheet import write_sheet
from tracking.cli.day_table import remarks, sun_words, table_text
from tracking.cli.day_wish import PlanWish
from tracking.cli.scene_words import scene_errors
from tracking.cli.tables import console_width
from tracking.energy.compiling import boiling_beside
from tracking.energy.plan_water import PlanWater, plan_water
from tracking.plans.day import Day, day_plan
from tracking.plans.moves import MovesPlan, chosen_plan
from tracking.plans.power import Effort
from tracking.response import kept_response_table, response_table, varies_with_tilt
from tracking.scenefile import SceneFile

MINUTES_PER_HOUR = 60.0

NO_PLAN = (
    "Each instant was traced, and there is no plan of moves yet: it needs the response table, which takes about a "
    "quarter of a minute to build, once, for a row that stays while the lens tilts. --table builds it."
)


def print_day(
    scene_file: SceneFile,
    path: Path,
    asked: dt.date | None,
    step: dt.timedelta,
    effort: Effort,
    wish: PlanWish,
    *,
    direct: bool,
    table: bool,
    json: bool,
    out: Path | None,
) -> None:
    """Plan a day, today at the site if none is named, print it and write what was asked for."""
    date = dt.datetime.now(scene_file.site.zone).date() if asked is None else asked
    with scene_errors(path):
        response = None if direct else kept_response_table(scene_file)
        # A plan by hand is asked for by its own options: then powers may still be traced, and the plan has its table.
        plan_table = kept_response_table(scene_file) if wish.is_asked and direct else response
        # A table over two angles takes as long as tracing a day; with the tilt as a third one, five times that.
        quick = not direct and not varies_with_tilt(scene_file)
        if (quick or table or wish.is_asked) and plan_table is None:
            with boiling_beside():
                plan_table = built_table(scene_file)
            response = None if direct else plan_table
        with console.progress_bar("Tracing the day (the very first run compiles first)") as progress:
            plan = day_plan(scene_file, date, step, effort=effort, table=response, progress=progress)
        moves, water = _planned(scene_file, plan, plan_table, wish)
    texts = {
        "day.txt": table_text(
            scene_file,
            plan,
            effort,
            response,
            width=console_width(),
            moves=moves,
            water=water,
            remark="" if direct or _is_dark(plan) or moves is not None else NO_PLAN,
        ),
        "day.json": console.as_json(json_object(plan, moves, water)),
        "day.csv": csv_text(plan),
    }
    if wish.sheet is not None and moves is not None and plan_table is not None:
        with scene_errors(path):
            write_sheet(scene_file, moves, plan_table, wish.sheet, paper=wish.paper, language=wish.language)
        console.talk(f"Wrote {wish.sheet}.")
    show(texts, out, name="day", json=json, told=[*sun_words(scene_file, plan), *remarks(plan)])


def built_table(scene_file: SceneFile) -> ResponseTable:
    """The scene's response table, built where none is kept, with a bar on standard error."""
    with console.progress_bar("Building the response table, once for this scene") as progress:
        return response_table(scene_file, progress=progress)


def _planned(
    scene_file: SceneFile, plan: Day, table: ResponseTable | None, wish: PlanWish
) -> tuple[MovesPlan | None, PlanWater | None]:
    """The plan of moves and its water. A day without aim has none and needs no word, unless one was asked for."""
    if table is None or (_is_dark(plan) and not wish.is_asked):
        return None, None
    moves = chosen_plan(scene_file, plan.date, table, share=wish.share, most=wish.most, lazy=wish.lazy)
    return moves, plan_water(scene_file, moves, table) if moves.stretches else None


def _is_dark(plan: Day) -> bool:
    """Whether the lens is aimed for less than a minute."""
    return plan.totals.hours_aimed < 1.0 / MINUTES_PER_HOUR


def show(texts: dict[str, str], out: Path | None, *, name: str, json: bool, told: list[str]) -> None:
    """Write the files and print what was asked for; with JSON the remarks go to standard error."""
    if out is not None:
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    console.result(texts[f"{name}.json" if json else f"{name}.txt"])
    for remark in told if json else ():
        console.talk(remark)
