"""The aiming target: a pin square to the lens frame, and how far its tip's shadow may stray."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from raytrace.response import ResponseTable
from tracking.mount import Mount
from tracking.paper import typeset
from tracking.paper.template_words import TemplateWords
from tracking.paper.templates.clip import Box, clipped
from tracking.paper.templates.pages import Heading
from tracking.paper.templates.shapes import ACTED_ON, READ, Drawing, Line, Point, Stroke, Text
from tracking.plans.shadow_gauge import (
    LossBand,
    LossRing,
    RelativePower,
    loss_bands,
    loss_rings,
    narrowest_tangent,
    relative_power,
    tilts_to_try,
)

MM = 1e3
SUN_DISC = 9.3e-3
"""Angle across the sun's disc [rad]: twice the 4.65 mrad of Buie, Monger and Dey, Solar Energy 75, 2003."""
STROKES: tuple[Stroke, ...] = ("cut", "dashed", "dotted")
"""Lines of the three losses, the least first."""
LEGEND_LINE = 7.0
LEGEND_LINES = 6
SIDE = 13.0
"""Strip beside the frame, for figures of angles [mm]."""
STRIP_MARGIN = 25.0
"""White beside the outermost line of a strip, for its legend and the reader's hand [mm]."""
WIDEST_SKEW = 60.0
"""Angle of the sun along the line of perfect aiming up to which a strip is drawn [deg]: it has lost half by then."""
SAMPLE = 16.0
"""Length of a sample of a line [mm]."""
PINS = (50.0, 100.0, 150.0, 200.0, 250.0, 300.0)
"""Heights of a pin that can be chosen for the reader [mm]: from a nail to a dowel."""
READABLE = 3.0
"""Distance of the first ring from the centre [mm] for which a pin is chosen. Common practice, no source."""
NARROW = 2.0
"""Distance of the first ring from the centre [mm] below which a longer pin is advised. Common practice, no source."""
DEGREE_MARKS = (1, 2, 3, 5, 10, 20, 30, 45)
"""Angles of the sun [deg] that are marked at the frame."""
FIGURED = 10
"""Angles [deg] from this one on get a figure."""
EDGE_ROOM = 14.0
"""From a figure to the frame's corner, at least [mm]."""
DEGREE_TICK = 2.5


@dataclass(frozen=True, kw_only=True, slots=True)
class PinTarget:
    """The drawing, its window [mm], and what it shows: rings, or bands where one axis alone is set by hand."""

    drawing: Drawing
    window: Box
    rings: tuple[LossRing, ...]
    bands: tuple[LossBand, ...]


def default_pin(mount: Mount, table: ResponseTable) -> float:
    """The shortest pin of PINS [mm] that keeps the first ring far enough from the centre to be read.

    Raises
    ------
    ValueError
        If the lens brings nothing to the tubes where it is aimed.
    """
    tangent = narrowest_tangent(
        relative_power(table, tilts_to_try(table, mount.tilt_limits)),
        transversal=mount.kind != "tilt" or mount.grooves == "level",
        longitudinal=mount.kind != "tilt" or mount.grooves == "upslope",
    )
    return next((pin for pin in PINS if pin * tangent >= READABLE), PINS[-1])


def heading(mount: Mount, table: ResponseTable, pin: float, place: str, words: TemplateWords) -> Heading:
    """What stands above the target for a pin of this height [mm]."""
    one_axis = mount.kind == "tilt"
    line = "B" if mount.grooves == "level" else "A"
    lines = [words.pin_aimed_line.format(line=line) if one_axis else words.pin_aimed]
    lines.append(words.pin_fixed if mount.kind == "fixed" else words.pin_correct)
    paragraphs = [
        words.pin_fix.format(pin=f"{pin:g}", blur=f"{pin * SUN_DISC:.1f}"),
        words.pin_bands.format(line=line) if one_axis else words.pin_rings,
    ]
    tilts = tilts_to_try(table, mount.tilt_limits)
    if tilts is not None:
        paragraphs.append(words.pin_row.format(low=f"{tilts[0]:g}", high=f"{tilts[-1]:g}"))
    return Heading(
        title=words.pin_title.format(pin=f"{pin:g}", place=place), lines=tuple(lines), paragraphs=tuple(paragraphs)
    )


def pin_target(
    mount: Mount, table: ResponseTable, pin: float, room: tuple[float, float], words: TemplateWords
) -> PinTarget:
    """The target for a pin of this height, in a room of this width and height, all [mm]; a strip may be longer.

    Raises
    ------
    ValueError
        If the lens brings nothing to the tubes where it is aimed.
    """
    power = relative_power(table, tilts_to_try(table, mount.tilt_limits))
    rings: tuple[LossRing, ...] = ()
    bands: tuple[LossBand, ...] = ()
    lines: list[Line] = []
    if mount.kind == "tilt":
        across = mount.grooves == "level"
        bands, frame = _bands(power, pin, room[0] - SIDE, across=across)
        for band, stroke in zip(bands, STROKES, strict=True):
            lines += _band_lines(band, frame, stroke, across=across)
        told = [_band_words(band, frame[2] if across else frame[3], words) for band in bands]
        first = min(_beside_middle(bands[0]))
    else:
        half = 0.5 * (room[0] - SIDE), 0.5 * (room[1] - LEGEND_LINE * LEGEND_LINES)
        frame = (-half[0], -half[1], half[0], half[1])
        rings = loss_rings(power, pin_height=pin, reach=math.hypot(*half))
        for ring, stroke in zip(rings, STROKES, strict=True):
            lines += _ring_lines(ring, frame, stroke)
        told = [_ring_words(ring, half, words) for ring in rings]
        first = float(rings[0].radii.min())
    axes = _axes(frame, pin)
    lines += [*_frame(frame), *axes.lines]
    texts = [*axes.texts]
    y = frame[1] - 2.0 * LEGEND_LINE + 1.0
    for stroke, line_words in zip(STROKES, told, strict=True):
        lines.append(Line(points=((frame[0], y + 1.3), (frame[0] + SAMPLE, y + 1.3)), stroke=stroke))
        texts.append(Text(at=(frame[0] + SAMPLE + 4.0, y), words=line_words))
        y -= LEGEND_LINE
    notes = [words.open_ring] if any(words.off_page in line for line in told) else []
    notes += [words.pin_longer] if first < NARROW else []
    for note in notes:
        texts.append(Text(at=(frame[0], y), words=note, size=READ))
        y -= LEGEND_LINE
    drawing = Drawing(name="pin-target", lines=tuple(lines), texts=tuple(texts))
    window = (frame[0] - SIDE, frame[1] - LEGEND_LINE * LEGEND_LINES, frame[2], frame[3])
    return PinTarget(drawing=drawing, window=window, rings=rings, bands=bands)


def _bands(power: RelativePower, pin: float, widest: float, *, across: bool) -> tuple[tuple[LossBand, ...], Box]:
    """Lines beside the line of perfect aiming, as long as there is power on it, and a frame around them [mm]."""
    longest = pin * math.tan(math.radians(WIDEST_SKEW))
    bands = loss_bands(power, pin_height=pin, reach=0.5 * widest, half_length=longest, sets_transversal=across)
    lit = [along for along, away in zip(bands[-1].along, bands[-1].high, strict=True) if away > 0.0]
    length = max((abs(float(along)) for along in lit), default=longest)
    ends = [float(side) for side in (*-bands[-1].low, *bands[-1].high) if math.isfinite(side)]
    away = min(0.5 * widest, max(ends, default=0.5 * widest) + STRIP_MARGIN)
    return bands, (-away, -length, away, length) if across else (-length, -away, length, away)


def _frame(frame: Box) -> list[Line]:
    left, low, right, high = frame
    corners = ((left, low), (right, low), (right, high), (left, high), (left, low))
    return [Line(points=corners, stroke="thin")]


def _axes(frame: Box, pin: float) -> Drawing:
    """The lines across and along the grooves, and round angles of the sun marked on two sides of the frame."""
    left, low, right, high = frame
    lines = [
        Line(points=((left, 0.0), (right, 0.0)), stroke="thin"),
        Line(points=((0.0, low), (0.0, high)), stroke="thin"),
    ]
    # The letters stand beside the frame, at ends of their lines, where no ring can reach them.
    letter = typeset.cap_height(ACTED_ON)
    texts = [
        Text(at=(left - 2.0, -0.5 * letter), words="A", size=ACTED_ON, align="right", bold=True),
        Text(at=(0.0, low - 2.0 - letter), words="B", size=ACTED_ON, align="center", bold=True),
    ]
    half = 0.5 * typeset.cap_height(READ)
    for angle in DEGREE_MARKS:
        away, words = pin * math.tan(math.radians(angle)), f"{angle}\N{DEGREE SIGN}"
        room = EDGE_ROOM if angle >= FIGURED else 0.0
        for at in (-away, away):
            if left + room < at < right - room:
                lines.append(Line(points=((at, low), (at, low - DEGREE_TICK)), stroke="thin"))
                if angle >= FIGURED:
                    texts.append(Text(at=(at, low - DEGREE_TICK - 1.0 - 2.0 * half), words=words, align="center"))
            if low + room < at < high - room:
                lines.append(Line(points=((left, at), (left - DEGREE_TICK, at)), stroke="thin"))
                if angle >= FIGURED:
                    texts.append(Text(at=(left - DEGREE_TICK - 1.0, at - half), words=words, align="right"))
    return Drawing(name="axes", lines=tuple(lines), texts=tuple(texts))


def _ring_lines(ring: LossRing, frame: Box, stroke: Stroke) -> list[Line]:
    """The parts of a ring on the page; where so much is not lost on it, the ring is open."""
    radii = np.where(np.isfinite(ring.radii), ring.radii, 2.0 * ring.reach)
    turn = np.radians(ring.directions)
    points = [*zip((radii * np.cos(turn)).tolist(), (radii * np.sin(turn)).tolist(), strict=True)]
    return [Line(points=part, stroke=stroke) for part in clipped((*points, points[0]), frame)]


def _band_lines(band: LossBand, frame: Box, stroke: Stroke, *, across: bool) -> list[Line]:
    """Both sides of a band, on the page and where there is power to be lost."""
    lines: list[Line] = []
    for side in (band.low, band.high):
        run: list[Point] = []
        runs = [run]
        for along, away in zip(band.along.tolist(), side.tolist(), strict=True):
            if away == 0.0 or not math.isfinite(away):
                run = []
                runs.append(run)
                continue
            run.append((away, along) if across else (along, away))
        for kept in runs:
            lines += [Line(points=part, stroke=stroke) for part in clipped(tuple(kept), frame)]
    return lines


def _ring_words(ring: LossRing, half: tuple[float, float], words: TemplateWords) -> str:
    """How far a ring stands from the centre along both lines: the nearer side counts."""
    across, along = (
        _shift(_nearest(ring, direction), room, words) for direction, room in ((0.0, half[0]), (90.0, half[1]))
    )
    return words.ring.format(loss=f"{100.0 * ring.loss:.0f}", across=across, along=along)


def _nearest(ring: LossRing, direction: float) -> float:
    sides = (ring.radius_at(direction), ring.radius_at(direction + 180.0))
    return min(math.inf if side is None else side for side in sides)


def _shift(shift: float, room: float, words: TemplateWords) -> str:
    if not math.isfinite(shift) or shift > room:
        return words.off_page
    return words.millimetres.format(value=f"{shift:.1f}")


def _beside_middle(band: LossBand) -> tuple[float, float]:
    middle = len(band.along) // 2
    return abs(float(band.low[middle])), abs(float(band.high[middle]))


def _band_words(band: LossBand, room: float, words: TemplateWords) -> str:
    low, high = (_shift(side, room, words) for side in _beside_middle(band))
    return words.band.format(loss=f"{100.0 * band.loss:.0f}", low=low, high=high)


def numbers(target: PinTarget) -> dict[str, Any]:
    """The rings or bands for programs: shifts [mm] along both lines; null where so much is not lost on the page."""
    if target.bands:
        return {
            "bands": [
                {"loss": band.loss, "low_mm": _finite(-low), "high_mm": _finite(high)}
                for band, (low, high) in ((band, _beside_middle(band)) for band in target.bands)
            ]
        }
    return {
        "rings": [
            {"loss": ring.loss, "across_mm": _finite(_nearest(ring, 0.0)), "along_mm": _finite(_nearest(ring, 90.0))}
            for ring in target.rings
        ]
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
