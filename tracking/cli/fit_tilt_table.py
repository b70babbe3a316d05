"""What `focalrow fit` found about the tilt, as text for people and as JSON for programs."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from tracking.cli.fit_numbers import estimate_object, setting_object
from tracking.cli.tables import Column, number, paragraph, table
from tracking.energy.fit.reach import Reach
from tracking.energy.fit.result import Fit
from tracking.energy.fit.seasons import Season
from tracking.energy.fit.tilt import Effected, Standing, Tilt
from tracking.mount import Setting
from tracking.plans.day import JOULES_PER_KWH
from tracking.scenefile import SceneFile

NAMES = {
    "polar": {"tilt": "declination setting", "swivel": "hour angle"},
}
"""What the axes of a mount are called where they are not tilt and swivel."""


def tilt_parts(scene_file: SceneFile, fit: Fit, tilt: Tilt, *, width: int) -> list[str]:
    """The section on the tilt."""
    parts: list[str] = []
    names = NAMES.get(scene_file.mount.kind, {"tilt": "tilt", "swivel": "swivel"})
    if tilt.standing is not None:
        parts += _standing(tilt.standing, names, width)
    if tilt.seasonal:
        parts += ["", *_seasonal(tilt, fit, names, width)]
    if tilt.reach:
        parts += ["", *_reach(tilt.reach, names, width)]
    parts += [
        "",
        paragraph(
            f"Settings are searched in a response table (+- {100.0 * tilt.table_error:.2g} % of the aperture power, "
            "rms); energies with +- are from traces of their own.",
            width=width,
        ),
    ]
    return parts[1:] if not parts[0] else parts


def _kwh(joules: float) -> float:
    return joules / JOULES_PER_KWH


def _standing(still: Standing, names: dict[str, str], width: int) -> list[str]:
    text = (
        f"Left at one setting, the lens absorbs most at {_setting_words(still.setting, names)}: "
        f"{_kwh(still.absorbed.value):.4g} kWh (+- {_kwh(still.absorbed.standard_error):.2g})."
    )
    if still.own is not None and still.shortfall is not None and still.absorbed.value > 0.0:
        loss, error = (
            100.0 * value / still.absorbed.value for value in (still.shortfall.value, still.shortfall.standard_error)
        )
        text += f" The scene's own {_setting_words(still.own, names)} loses {loss:.1f} % (+- {error:.1f}) against it."
    columns = [
        Column(heading=("from", "deg"), cells=tuple(number(band.low, 1) for band in still.bands)),
        Column(heading=("to", "deg"), cells=tuple(number(band.high, 1) for band in still.bands)),
    ]
    rows = tuple(f"less than {100.0 * band.loss:g} %" for band in still.bands)
    key = Column(heading=(names["tilt"], "loses"), cells=rows, left=True)
    return [paragraph(text, width=width), "", table(key, [columns], width=width)]


def _setting_words(setting: Setting, names: dict[str, str]) -> str:
    return f"{names['tilt']} {setting.tilt:g} deg, {names['swivel']} {setting.swivel:g} deg"


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"


def season_words(seasons: Sequence[Season]) -> str:
    """Tilts and the days from which they hold."""
    if len(seasons) == 1:
        return f"{seasons[0].tilt:g} deg"
    return ", ".join(f"{season.tilt:g} deg from {_day(season.start)}" for season in seasons)


def _seasonal(tilt: Tilt, fit: Fit, names: dict[str, str], width: int) -> list[str]:
    rows = tilt.seasonal
    aimed = tilt.aimed.value if tilt.aimed is not None else 0.0

    def of_aimed(row: Effected) -> str:
        return number(100.0 * row.absorbed.value / aimed, 1) if aimed > 0.0 else number(None)

    columns = [
        Column(heading=("absorbed", "kWh"), cells=tuple(number(_kwh(r.absorbed.value), 2) for r in rows)),
        Column(heading=("+-", "kWh"), cells=tuple(number(_kwh(r.absorbed.standard_error), 2) for r in rows)),
        Column(
            heading=("gain over", "above, kWh"),
            cells=tuple(number(None if r.gain is None else _kwh(r.gain.value), 2) for r in rows),
        ),
        Column(
            heading=("+-", "kWh"),
            cells=tuple(number(None if r.gain is None else _kwh(r.gain.standard_error), 2) for r in rows),
        ),
        Column(heading=("of kept", "aimed, %"), cells=tuple(of_aimed(r) for r in rows)),
    ]
    key = Column(heading=("", f"{names['tilt']} set"), cells=tuple(row.name for row in rows), left=True)
    intro = (
        f"What each step of effort gains: the {names['tilt']} set so many times in {fit.span.text}, the "
        f"{names['swivel']} "
        + ("following the sun." if names is NAMES.get("polar") else "staying where it is.")
        + (f" Kept aimed all the time the lens absorbs {_kwh(aimed):.4g} kWh." if aimed > 0.0 else "")
    )
    lines = [f"{row.name}: {season_words(row.seasons)}." for row in rows]
    return [
        paragraph(intro, width=width),
        table(key, [columns], width=width),
        *(paragraph(line, width=width, bullet="- ") for line in lines),
    ]


def _reach(reach: Sequence[Reach], names: dict[str, str], width: int) -> list[str]:
    steps = sorted({short.missing for end in reach for short in end.short})
    columns = []
    for missing in steps:
        found = [{short.missing: short.loss for short in end.short}.get(missing) for end in reach]
        cells = tuple(number(None if loss is None else 100.0 * loss, 2) for loss in found)
        columns.append(Column(heading=(f"{missing:g} deg", "short"), cells=cells))
    key = Column(heading=("", "end"), cells=tuple(f"{end.end} {names[end.axis]}" for end in reach), left=True)
    needed = Column(heading=("needed", "deg"), cells=tuple(number(end.needed, 1) for end in reach))
    text = (
        "What the frame must reach, and how many per cent of the energy are lost where it ends some degrees short of "
        "that, aimed as well as it then can be:"
    )
    turn = {end.end: end.needed for end in reach if end.axis == "swivel"}
    more = []
    if turn and turn["highest"] - turn["lowest"] >= WHOLE_TURN:
        more.append(
            paragraph(
                f"The {names['swivel']} goes past the same side both ways within the span. A whole turn of 360 deg is "
                "enough if the lens may be swung round once on some days.",
                width=width,
            )
        )
    return [paragraph(text, width=width), table(key, [[needed, *columns]], width=width), *more]


WHOLE_TURN = 360.0  # [deg]


def tilt_object(tilt: Tilt | None) -> dict[str, Any] | None:
    """What was found about the tilt, as numbers for programs."""
    if tilt is None:
        return None
    return {
        "standing": None if tilt.standing is None else _standing_object(tilt.standing),
        "seasonal": [
            {
                "name": row.name,
                "settings": [{"from": s.start.isoformat(), "tilt_deg": s.tilt} for s in row.seasons],
                "absorbed_kwh": estimate_object(row.absorbed, JOULES_PER_KWH),
                "gain_kwh": estimate_object(row.gain, JOULES_PER_KWH),
            }
            for row in tilt.seasonal
        ],
        "aimed_kwh": estimate_object(tilt.aimed, JOULES_PER_KWH),
        "reach": [
            {
                "axis": end.axis,
                "end": end.end,
                "needed_deg": end.needed,
                "short": [{"missing_deg": s.missing, "limit_deg": s.limit, "loss": s.loss} for s in end.short],
            }
            for end in tilt.reach
        ],
        "table_error": tilt.table_error,
    }


def _standing_object(still: Standing) -> dict[str, Any]:
    return {
        "setting": setting_object(still.setting),
        "absorbed_kwh": estimate_object(still.absorbed, JOULES_PER_KWH),
        "own": setting_object(still.own),
        "own_below_best_kwh": estimate_object(still.shortfall, JOULES_PER_KWH),
        "bands": [{"loss": b.loss, "low_deg": b.low, "high_deg": b.high} for b in still.bands],
    }
