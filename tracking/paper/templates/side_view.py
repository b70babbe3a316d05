"""The side view of lens, arms and tubes, at full size."""

import math

from raytrace.scene import RowPose, Scene
from tracking.mount import Mount
from tracking.paper import typeset
from tracking.paper.template_words import TemplateWords
from tracking.paper.templates.shapes import READ, Drawing, Line, Point, Stroke, Text

MM = 1e3
ARM_WIDTH = 30.0
"""Width of the arm [mm]: that of the solids, a stand-in."""
CROSS = 8.0
ARROW = 3.0
AWAY = 18.0
"""From a body to the line that gives its measure [mm]."""
CURVE_POINTS = 48


def side_view(scene: Scene, mount: Mount, words: TemplateWords) -> Drawing:
    """Lens, arm and tubes as seen along the tilt axis at setting 0, downhill to the right; the origin on the axis."""
    level = mount.grooves == "level"
    lens, tubes = scene.lens, scene.tubes
    half = 0.5 * MM * (lens.width if level else lens.length)
    height, thickness = MM * scene.lens_height, MM * lens.thickness
    lines = [
        _box((-half, height), (half, height + thickness), "cut"),
        Line(points=((-0.5 * ARM_WIDTH, height), (-0.5 * ARM_WIDTH, -ARM_WIDTH), (0.5 * ARM_WIDTH, -ARM_WIDTH),
                     (0.5 * ARM_WIDTH, height)), stroke="thin"),
        Line(points=((-CROSS, 0.0), (CROSS, 0.0)), stroke="mark"),
        Line(points=((0.0, -CROSS), (0.0, CROSS)), stroke="mark"),
    ]  # fmt: skip
    middles = _tube_middles(scene, level=level)
    tilt = 0 if level else 1
    pose = RowPose.level(tubes.angle_to_grooves)
    share = abs(pose.tube[tilt])
    for middle in middles:
        lines.append(_silhouette(middle, share, tubes.outer_diameter, tubes.length, "cut"))
        if tubes.envelope is not None:
            lines.append(_silhouette(middle, share, tubes.absorber_diameter, tubes.length, "dashed"))
    outer = 0.5 * MM * tubes.outer_diameter
    row_half = max(abs(middle) for middle in middles) + 0.5 * MM * tubes.length * share + outer
    lines += _measure((AWAY + 0.5 * ARM_WIDTH, 0.0), (AWAY + 0.5 * ARM_WIDTH, height))
    lines += _measure((-half, height + thickness + AWAY), (half, height + thickness + AWAY))
    lens_words = (words.side_lens_across if level else words.side_lens_along).format(
        width=f"{2.0 * half:g}", thickness=f"{thickness:g}"
    )
    tube_words = (words.tubes_bare if tubes.envelope is None else words.tubes).format(
        count=tubes.count, outer=f"{MM * tubes.outer_diameter:g}", absorber=f"{MM * tubes.absorber_diameter:g}"
    )
    below = -max(outer, ARM_WIDTH) - AWAY
    texts = [
        Text(at=(0.0, height + thickness + AWAY + 3.0), words=lens_words, align="center"),
        Text(at=(AWAY + 0.5 * ARM_WIDTH + 3.0, outer + AWAY), words=words.lens_height.format(height=f"{height:g}")),
        Text(at=(0.0, 0.5 * height), words=words.arm, align="center"),
        Text(at=(-row_half, below), words=tube_words),
        Text(at=(0.0, below - 2.0 * typeset.leading(READ)), words=words.tilt_axis, align="center"),
    ]
    if tubes.count > 1:
        told = words.spacing.format(spacing=f"{MM * tubes.spacing:g}")
        texts.append(Text(at=(-row_half, below - typeset.leading(READ)), words=told))
    return Drawing(name="side-view", lines=tuple(lines), texts=tuple(texts))


def _tube_middles(scene: Scene, *, level: bool) -> list[float]:
    """Where the middle of each tube stands, along the view [mm]."""
    tubes = scene.tubes
    row = RowPose.level(tubes.angle_to_grooves).row[0 if level else 1]
    middles = [MM * row * tubes.spacing * (k - 0.5 * (tubes.count - 1)) for k in range(tubes.count)]
    return sorted({round(middle, 6) + 0.0 for middle in middles})  # tubes behind one another are drawn once


def _silhouette(middle: float, share: float, diameter: float, length: float, stroke: Stroke) -> Line:
    """Outline of a level tube whose axis lies in the view by `share` of its length: a circle, a rectangle or between.

    Its two ends are seen as ellipses, which their common tangents above and below join.
    """
    radius, reach = 0.5 * MM * diameter, 0.5 * MM * length * share
    flat = radius * math.sqrt(max(0.0, 1.0 - share * share))
    turns = [math.pi * k / CURVE_POINTS - 0.5 * math.pi for k in range(CURVE_POINTS + 1)]
    right = [(middle + reach + flat * math.cos(turn), radius * math.sin(turn)) for turn in turns]
    left = [(middle - reach - flat * math.cos(turn), -radius * math.sin(turn)) for turn in turns]
    return Line(points=(*right, *left, right[0]), stroke=stroke)


def _box(low: Point, high: Point, stroke: Stroke) -> Line:
    corners = (low, (high[0], low[1]), high, (low[0], high[1]), low)
    return Line(points=corners, stroke=stroke)


def _measure(start: Point, end: Point) -> list[Line]:
    """A line that gives a measure, with an arrow at each end."""
    length = math.dist(start, end)
    along = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    lines = [Line(points=(start, end), stroke="thin")]
    for tip, sign in ((start, 1.0), (end, -1.0)):
        foot = tip[0] + sign * ARROW * along[0], tip[1] + sign * ARROW * along[1]
        wing = -along[1], along[0]
        lines.append(
            Line(
                points=(
                    (foot[0] + 0.3 * ARROW * wing[0], foot[1] + 0.3 * ARROW * wing[1]),
                    tip,
                    (foot[0] - 0.3 * ARROW * wing[0], foot[1] - 0.3 * ARROW * wing[1]),
                ),
                stroke="thin",
            )
        )
    return lines
