"""The numbers of `focalrow report` for programs, and its pictures of year and stray light."""

import datetime as dt
from typing import Any

from tracking.cli.day_numbers import json_object as day_object
from tracking.cli.draw import Drawn
from tracking.cli.fit_numbers import json_object as fit_object
from tracking.cli.fit_tilt_table import tilt_object
from tracking.cli.light_numbers import Light
from tracking.cli.light_numbers import json_object as light_object
from tracking.cli.report_gather import More
from tracking.cli.stray_more import walk_off_numbers
from tracking.cli.stray_table import json_object as stray_object
from tracking.cli.year_numbers import json_object as year_object
from tracking.paper.figures import year_pictures
from tracking.paper.stray_figures import idle_figures
from tracking.paper.style import Picture
from tracking.scenefile import SceneFile
from tracking.stray.thresholds import DEFAULT_THRESHOLD


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
        "year": year_object(more.year),
        "stray": stray,
        "walk_off": walk_off_numbers(more.walks, DEFAULT_THRESHOLD, of_plan=True) if more.walks else None,
        "sheets": sorted(more.sheets),
        "draw": pictures,
    }


def pictures_of(scene_file: SceneFile, date: dt.date, more: More) -> tuple[Picture, ...]:
    """Pictures of the year, and of stray light where the focus meets something."""
    idle = () if isinstance(more.idle, str) else idle_figures(more.idle, date.isoformat())
    return (*year_pictures(more.year, f"{scene_file.site.name}, {more.year.year}".removeprefix(", ")), *idle)
