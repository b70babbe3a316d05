"""All full-size templates of a scene as files: PDF on sheets of paper, SVG and DXF, and the numbers behind them."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from matplotlib.figure import Figure

from raytrace.response import ResponseTable
from tracking.paper.page import Paper, pdf_bytes
from tracking.paper.template_words import TEMPLATE_WORDS, TemplateWords
from tracking.paper.templates import level_target, pin_target
from tracking.paper.templates.clip import Box
from tracking.paper.templates.dxf import dxf_text
from tracking.paper.templates.instruments import Instrument, swivel_dial, tilt_quadrant
from tracking.paper.templates.north_page import declination_on, north_dates, north_pages
from tracking.paper.templates.pages import MOST_SHEETS, Heading, room_below, single_page, tiled_pages
from tracking.paper.templates.shapes import Drawing
from tracking.paper.templates.side_view import side_view
from tracking.paper.templates.svg import svg_text
from tracking.plans.shadow_clock import DayCurve, NoonShadow, noon_shadows
from tracking.scenefile import SceneFile
from tracking.sky.magnetic import Declination

MM = 1e3
NARROW_PAGE = 1e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class TemplateSettings:
    """What can be chosen: the date from which true north is given, heights of the pins and radius [mm] and so on.

    `pin` and `level_pin` are chosen to suit the scene where they are None. `magnetic` adds the compass scale to the
    swivel dial.
    """

    date: dt.date
    paper: Paper = "A4"
    language: str = "en"
    pin: float | None = None
    level_pin: float | None = None
    radius: float = 250.0
    magnetic: bool = False


@dataclass(slots=True, kw_only=True)
class Templates:
    """Files by name, numbers behind them, and what a reader must be told."""

    files: dict[str, str | bytes] = field(default_factory=dict)
    numbers: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)


class _Maker:
    """Collects the files of one scene."""

    def __init__(self, scene_file: SceneFile, settings: TemplateSettings) -> None:
        self.scene_file, self.settings = scene_file, settings
        self.words: TemplateWords = TEMPLATE_WORDS[settings.language]
        self.place = scene_file.site.name or f"{scene_file.site.latitude:g}°, {scene_file.site.longitude:g}°"
        self.made = Templates()

    def add_pages(self, name: str, title: str, figures: Sequence[Figure]) -> None:
        """A PDF of these pages."""
        self.made.files[f"{name}.pdf"] = pdf_bytes(figures, title=title, date=self.settings.date)
        self.made.numbers.setdefault(name.replace("-", "_"), {})["pages"] = len(figures)

    def add_drawing(self, name: str, title: str, drawing: Drawing) -> None:
        """SVG and DXF of a drawing."""
        cautions = " ".join(self.words.cautions)
        self.made.files[f"{name}.svg"] = svg_text(drawing, title=title, cautions=cautions)
        self.made.files[f"{name}.dxf"] = dxf_text(drawing, title=title, cautions=cautions)

    def tiled(self, drawing: Drawing, heading: Heading) -> None:
        """A drawing on as many sheets as it needs, if a person can still glue them."""
        self.add_drawing(drawing.name, heading.title, drawing)
        figures = tiled_pages(drawing, heading, paper=self.settings.paper, words=self.words)
        if figures is None:
            self.made.remarks.append(
                f"{drawing.name}: no PDF, as it would take more than {MOST_SHEETS} sheets; SVG and DXF are there."
            )
            self.made.numbers.setdefault(drawing.name.replace("-", "_"), {})["pages"] = 0
            return
        self.add_pages(drawing.name, heading.title, figures)

    def one_page(self, drawing: Drawing, window: Box, heading: Heading, number: int = 1, pages: int = 1) -> Figure:
        """A drawing on a page of its own."""
        return single_page(
            drawing, window, heading, paper=self.settings.paper, words=self.words, number=number, pages=pages
        )


def template_files(scene_file: SceneFile, table: ResponseTable, settings: TemplateSettings) -> Templates:
    """All templates of a scene.

    Parameters
    ----------
    scene_file : SceneFile
        The scene.
    table : ResponseTable
        Its response table, from which the aiming target takes its rings.
    settings : TemplateSettings
        What was chosen.

    Raises
    ------
    MissingGlyphError
        If the type of the pages lacks a letter of the place's name.
    ValueError
        If a compass scale is asked for a date that the magnetic model does not cover.
    """
    maker = _Maker(scene_file, settings)
    _pin_target(maker, table)
    _level_target(maker)
    _true_north(maker)
    _quadrant(maker)
    _dial(maker)
    scene = scene_file.scene
    heading = Heading(title=maker.words.side_title.format(place=maker.place), paragraphs=(maker.words.side_how,))
    maker.tiled(side_view(scene, scene_file.mount, maker.words), heading)
    maker.made.numbers["side_view"]["lens_height_mm"] = MM * scene.lens_height
    return maker.made


def _pin_target(maker: _Maker, table: ResponseTable) -> None:
    """The aiming target, or a remark where there is nothing to aim for."""
    mount, words, settings = maker.scene_file.mount, maker.words, maker.settings
    try:
        pin = settings.pin or pin_target.default_pin(mount, table)
    except ValueError as error:
        maker.made.remarks.append(f"pin-target: not drawn: {error}")
        return
    heading = pin_target.heading(mount, table, pin, maker.place, words)
    room = room_below(heading, settings.paper, words)
    target = pin_target.pin_target(mount, table, pin, room, words)
    if target.window[3] - target.window[1] <= room[1] + NARROW_PAGE and (
        target.window[2] - target.window[0] <= room[0] + NARROW_PAGE
    ):
        maker.add_drawing("pin-target", heading.title, target.drawing)
        maker.add_pages("pin-target", heading.title, [maker.one_page(target.drawing, target.window, heading)])
    else:
        maker.tiled(target.drawing, heading)
    maker.made.numbers["pin_target"] |= {"pin_mm": pin} | pin_target.numbers(target)


def _level_target(maker: _Maker) -> None:
    """Two pages, one for each half of the year."""
    site, words, settings = maker.scene_file.site, maker.words, maker.settings
    year = settings.date.year
    clock = level_target.clock_of(site, year)
    halves = level_target.HALVES
    headings = [level_target.heading(clock, half, level_target.PINS[0], maker.place, words) for half in halves]
    rooms = [room_below(heading, settings.paper, words) for heading in headings]
    room = min(wide for wide, _ in rooms), min(high for _, high in rooms)
    noons = level_target.noon_range(site, year)
    pin = settings.level_pin or level_target.chosen_pin(noons, room)
    figures: list[Figure] = []
    curves: list[DayCurve] = []
    missing: list[dt.date] = []
    for number, half in enumerate(halves, 1):
        target = level_target.level_target(site, half, year, pin=pin, noons=noons, room=room, words=words)
        heading = level_target.heading(clock, half, pin, maker.place, words, target.missing)
        if target.missing:  # the words about it take some of the room
            less = room_below(heading, settings.paper, words)
            target = level_target.level_target(site, half, year, pin=pin, noons=noons, room=less, words=words)
        figures.append(maker.one_page(target.drawing, target.window, heading, number, len(halves)))
        maker.add_drawing(f"level-target-{number}", heading.title, target.drawing)
        curves += target.curves
        missing += target.missing
    if missing:
        dates = ", ".join(date.isoformat() for date in sorted(set(missing)))
        maker.made.remarks.append(f"level-target: no curve on the page for {dates}: the sun stays too low.")
    maker.add_pages("level-target", headings[0].title, figures)
    maker.made.numbers["level_target"] |= {
        "pin_mm": pin,
        "utc_offset": level_target.offset_words(clock.offset),
        "other_utc_offset": None if clock.other is None else level_target.offset_words(clock.other),
        "curves": [
            {
                "date": curve.date.isoformat(),
                "hours": [{"hour": hour, "east_mm": x, "north_mm": y} for hour, (x, y) in curve.hours],
            }
            for curve in curves
        ],
    }


def _true_north(maker: _Maker) -> None:
    """When the shadow of a plumb line lies on the meridian."""
    site, words = maker.scene_file.site, maker.words
    shadows = noon_shadows(site, [date for date in north_dates(maker.settings.date) if _exists(maker, date)])
    figures = north_pages(site, shadows, place=maker.place, paper=maker.settings.paper, words=words)
    maker.add_pages("true-north", words.north_title.format(place=maker.place), figures)
    maker.made.numbers["true_north"]["dates"] = [_noon_numbers(maker, shadow) for shadow in shadows]


def _exists(maker: _Maker, date: dt.date) -> bool:
    """Whether the clock of the place has that day: a few places have skipped one."""
    from tracking.sky.sunpath import civil_day

    try:
        civil_day(maker.scene_file.site.zone, date)
    except ValueError:
        return False
    return True


def _noon_numbers(maker: _Maker, shadow: NoonShadow) -> dict[str, Any]:
    shows = shadow.state == "shows"
    declination = declination_on(maker.scene_file.site, shadow.date)
    return {
        "date": shadow.date.isoformat(),
        "state": shadow.state,
        "time_local": None if shadow.time is None else shadow.time.isoformat(),
        "true_azimuth_deg": shadow.azimuth if shows else None,
        "compass_azimuth_deg": declination.magnetic_azimuth(shadow.azimuth) if shows and declination else None,
        "length_over_line": shadow.length if shows else None,
        "drift_deg_per_minute": shadow.drift if shows else None,
    }


def _marks_words(instrument: Instrument, *, given: bool, words: TemplateWords) -> tuple[str, ...]:
    lines = (words.marks_scene if given else words.marks_degrees,)
    return lines if not _crowded(instrument, given=given) else (
        *lines, words.marks_bare.format(count=instrument.scale.bare)
    )  # fmt: skip


def _crowded(instrument: Instrument, *, given: bool) -> bool:
    """Whether marks of an uneven list had to do without figures: on an even scale a reader counts."""
    return given and not instrument.scale.even and instrument.scale.bare > 0


def _instrument_numbers(maker: _Maker, instrument: Instrument) -> None:
    maker.made.numbers[instrument.drawing.name.replace("-", "_")] |= {
        "radius_mm": instrument.radius,
        "marks_deg": list(instrument.scale.marks),
    }


def _quadrant(maker: _Maker) -> None:
    mount, words, radius = maker.scene_file.mount, maker.words, maker.settings.radius
    quadrant = tilt_quadrant(mount, radius, words)
    given = mount.tilt_marks is not None or mount.kind == "fixed"
    heading = Heading(
        title=words.quadrant_title.format(radius=f"{radius:g}", place=maker.place),
        lines=_marks_words(quadrant, given=given, words=words),
        paragraphs=(words.quadrant_polar if mount.kind == "polar" else words.quadrant_how,),
    )
    maker.tiled(quadrant.drawing, heading)
    _instrument_numbers(maker, quadrant)


def _dial(maker: _Maker) -> None:
    mount, words, settings = maker.scene_file.mount, maker.words, maker.settings
    declination: Declination | None = None
    if settings.magnetic and mount.kind == "swivel-tilt":
        from tracking.sky.magnetic import magnetic_declination

        declination = magnetic_declination(maker.scene_file.site, settings.date)
    dial = swivel_dial(mount, settings.radius, words, declination)
    if dial is None:
        maker.made.numbers["swivel_dial"] = None
        maker.made.remarks.append(f'swivel-dial: none, as a mount of the kind "{mount.kind}" has no swivel.')
        return
    if settings.magnetic and declination is None:
        maker.made.remarks.append("swivel-dial: no compass scale: the hour angle is counted about the polar axis.")
    paragraphs = [words.dial_polar if mount.kind == "polar" else words.dial_how]
    if declination is not None:
        paragraphs.append(
            words.dial_magnetic.format(
                date=words.date.format(
                    day=settings.date.day, month=words.months[settings.date.month - 1], year=settings.date.year
                ),
                value=f"{abs(declination.value):.1f}",
                side=words.sides[0 if declination.value >= 0.0 else 1],
                error=f"{declination.standard_error:.1f}",
            )
        )
        if declination.compass_is_weak:
            paragraphs.append(words.north_weak)
    heading = Heading(
        title=words.dial_title.format(radius=f"{settings.radius:g}", place=maker.place),
        lines=_marks_words(dial, given=mount.swivel_marks is not None, words=words),
        paragraphs=tuple(paragraphs),
    )
    maker.tiled(dial.drawing, heading)
    _instrument_numbers(maker, dial)
