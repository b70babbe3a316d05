"""The numbers of `focalrow report` for programs, and its pictures of year and stray light."""

import datetime as dt
from typing import Any

from tracking.cli.day_numbers import json_object as day_object
from tracking.cli.draw import Drawn
from tracking.cli.fit_numbers import estimate_object
from tracking.cli.fit_numbers import json_object as fit_object
from tracking.cli.fit_tilt_table import tilt_object
from tracking.cli.light_numbers import Light
from tracking.cli.light_numbers import json_object as light_object
from tracking.cli.report_gather import More
from tracking.cli.stray_more import walk_off_numbers
from tracking.cli.stray_table import json_object as stray_object
from tracking.cli.year_numbers import json_object as year_object
from tracking.energy.fit.wrong_way_span import Side, WrongWaySpan
from tracking.paper.figures import year_pictures
from tracking.paper.stray_figures import idle_figures
from tracking.paper.style import Picture
from tracking.plans.day import JOULES_PER_KWH
from tracking.scenefile import SceneFile
from tracking.stray.thresholds import DEFAULT_THRESHOLD
from tracking.stray.walkoff import shortest


def json_object(
    scene_file: SceneFile, drawn: Drawn, light: Light, more: More, pictures: dict[str, Any]
) -> dict[str, Any]:
    """The same objects as the commands `light`, `day`, `fit`, `year`, `stray` and `draw` print."""
    fit = None
    if more.fit is not None:
        fit = fit_object(scene_file, more.fit) | {"tilt": tilt_object(more.fit.tilt)}
    stray = None
    if not isinstance(more.idle, str):
        stray = stray_object(scene_file, more.idle, drawn.plan.date.isoformat(), None)
    return {
        "light": light_object(light),
        "day": day_object(drawn.plan, drawn.moves),
        "fit": fit,
        "wrong_way": None if more.wrong_way is None else _wrong_way(more.wrong_way),
        "year": year_object(more.year),
        "stray": stray,
        "walk_off": _walk_off(more) if more.walks else None,
        "sheets": sorted(more.sheets),
        "draw": pictures,
    }


def _walk_off(more: More) -> dict[str, Any]:
    """The setting after which a fire may come soonest, if any, as the one row; and how many were followed."""
    soonest = shortest(more.walks)
    rows = () if soonest is None else (soonest,)
    return walk_off_numbers(rows, DEFAULT_THRESHOLD, of_plan=True) | {"settings_followed": len(more.walks)}


def _wrong_way(found: WrongWaySpan) -> dict[str, Any]:
    return {
        "height_m": found.height,
        "loss": estimate_object(found.loss),
        "least_loss": estimate_object(found.least_loss),
        "right": _side(found.right),
        "wrong": _side(found.wrong),
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "grooves_toward": side.grooves_toward,
        "absorbed_kwh": estimate_object(side.absorbed, JOULES_PER_KWH),
        "best_height_m": estimate_object(side.best_height),
        "absorbed_at_best_kwh": estimate_object(side.absorbed_at_best, JOULES_PER_KWH),
    }


def pictures_of(scene_file: SceneFile, date: dt.date, more: More) -> tuple[Picture, ...]:
    """Pictures of the year, and of stray light where the focus meets something."""
    idle = () if isinstance(more.idle, str) else idle_figures(more.idle, date.isoformat())
    return (*year_pictures(more.year, f"{scene_file.site.name}, {more.year.year}".removeprefix(", ")), *idle)
