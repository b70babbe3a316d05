"""The tilt quadrant and the swivel dial, at full size."""

from dataclasses import dataclass

from tracking.mount import Mount, marked_swivels, marked_tilts
from tracking.paper import typeset
from tracking.paper.template_words import TemplateWords
from tracking.paper.templates.marks import FREE_STEP, ROW, TICK, Scale, figure, scale
from tracking.paper.templates.shapes import ACTED_ON, READ, Arc, Drawing, Line, Point, Text, merged, polar
from tracking.sky.magnetic import Declination

RIM = 8.0
"""From the circle on which the marks begin to the edge that is cut [mm]."""
HUB = 20.0
"""Radius of the plate around the axis [mm]."""
BESIDE = 4.0
"""From the first and the last mark to the edge that is cut [deg]."""
PLUMB = 70.0
"""Length of the plumb line [mm]."""
CROSS = 6.0
DIRECTIONS = 0.3
"""Length of the lines to the four directions, over the radius."""
LETTER = 5.0
"""From the end of such a line to the middle of its letter [mm]."""
INNER = 48.0
"""From the circle of the marks to that of the compass scale [mm]."""
COMPASS_STEP, COMPASS_FIGURES = 5, 30
WHOLE_TURN = 360.0
CENTRE: Point = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Instrument:
    """A graduated plate: its drawing, its marks, the circle [mm] on which they begin, and their bearings.

    The bearing of a setting is `sense` times the setting, clockwise from straight up.
    """

    drawing: Drawing
    scale: Scale
    radius: float
    sense: float


def tilt_quadrant(mount: Mount, radius: float, words: TemplateWords) -> Instrument:
    """A plate with the tilt's marks, its centre on the tilt axis; the marks begin at `radius` [mm].

    A positive tilt leans to the right. For a polar mount the tilt is the declination setting.
    """
    low, high = mount.tilt_limits
    settings = marked_tilts(mount, FREE_STEP)
    marks = scale(CENTRE, radius, settings, settings)
    polar_mount = mount.kind == "polar"
    upright = words.square_to_axis if polar_mount else words.plumb
    axis = words.declination_axis if polar_mount else words.tilt_axis
    # The line hangs below the axis; above it, it is drawn where the plate has room for it.
    top = radius - TICK - 2.0 * ROW if low - BESIDE < 0.0 < high + BESIDE else HUB
    drawing = Drawing(
        name="tilt-quadrant",
        lines=(
            Line(points=((0.0, top), (0.0, -PLUMB)), stroke="dashed"),
            Line(points=((-CROSS, 0.0), (CROSS, 0.0)), stroke="thin"),
        ),
        texts=(
            Text(at=(HUB + 3.0, -HUB - 2.0), words=axis),
            Text(at=(3.0, 4.0 - PLUMB), words=upright),
        ),
    )
    return Instrument(
        drawing=merged("tilt-quadrant", (_sector(radius, low, high), drawing, marks.drawing)),
        scale=marks,
        radius=radius,
        sense=1.0,
    )


def _sector(radius: float, low: float, high: float) -> Drawing:
    """The edge of a plate that reaches from bearing `low` to `high` [deg], a little beyond, and around its axis."""
    first, last = low - BESIDE, high + BESIDE
    edge, start, end = radius + RIM, 90.0 - last, 90.0 - first
    return Drawing(
        name="sector",
        lines=tuple(
            Line(points=(polar(CENTRE, HUB, bearing), polar(CENTRE, edge, bearing)), stroke="cut")
            for bearing in (first, last)
        ),
        arcs=(
            Arc(centre=CENTRE, radius=edge, start=start, end=end, stroke="cut"),
            Arc(centre=CENTRE, radius=radius, start=start, end=end, stroke="thin"),
            Arc(centre=CENTRE, radius=HUB, start=end, end=start + WHOLE_TURN, stroke="cut"),
        ),
    )


def swivel_dial(
    mount: Mount, radius: float, words: TemplateWords, declination: Declination | None = None
) -> Instrument | None:
    """A round plate with the swivel's marks, seen from above; None where the mount has no swivel.

    Parameters
    ----------
    mount : Mount
        For a polar mount the swivel is the hour angle, seen from the upper end of the axis.
    radius : float
        Of the circle on which the marks begin [mm].
    words : TemplateWords
        For the texts on it.
    declination : Declination, optional
        For an inner scale of what a compass reads; not for a polar mount.
    """
    limits = mount.swivel_limits
    if limits is not None and limits[0] == limits[1]:
        return None
    polar_mount = mount.kind == "polar"
    # From the south end of the axis, upper in the southern hemisphere, the afternoon lies counterclockwise.
    sense = -1.0 if polar_mount and (mount.latitude or 0.0) < 0.0 else 1.0
    settings = _dial_settings(mount)
    marks = scale(CENTRE, radius, settings, [sense * setting for setting in settings])
    if polar_mount:
        ends = sense * settings[0], sense * settings[-1]
        parts = [_hour_angle_plate(radius, min(ends), max(ends), words), marks.drawing]
    else:
        parts = [_plate(radius, words), marks.drawing]
    if declination is not None and not polar_mount:
        parts.append(_compass_scale(radius - INNER, declination, words))
    return Instrument(drawing=merged("swivel-dial", parts), scale=marks, radius=radius, sense=sense)


def _dial_settings(mount: Mount) -> tuple[float, ...]:
    """Marked settings, each place of the circle once: azimuths in [0, 360), hour angles in [-180, 180)."""
    start = -0.5 * WHOLE_TURN if mount.kind == "polar" else 0.0
    reached = marked_swivels(mount, FREE_STEP)
    once = {round((setting - start) % WHOLE_TURN, 9) % WHOLE_TURN + start for setting in reached}
    return tuple(sorted(once))


def _rings(radius: float) -> tuple[Arc, Arc]:
    """The edge that is cut, and the circle on which the marks begin."""
    return (
        Arc(centre=CENTRE, radius=radius + RIM, stroke="cut"),
        Arc(centre=CENTRE, radius=radius, stroke="thin"),
    )


def _hour_angle_plate(radius: float, low: float, high: float, words: TemplateWords) -> Drawing:
    """The plate on a polar axis: as much of a circle as its marks need, and the line that points up."""
    whole = high - low > WHOLE_TURN - 4.0 * BESIDE
    edge = Drawing(name="edge", arcs=_rings(radius)) if whole else _sector(radius, low, high)
    middle = Drawing(
        name="middle",
        lines=(
            Line(points=((0.0, -CROSS), (0.0, radius - TICK - 2.0 * ROW)), stroke="dashed"),
            Line(points=((-CROSS, 0.0), (CROSS, 0.0)), stroke="thin"),
        ),
        texts=(Text(at=(0.0, -HUB - typeset.leading(READ) - 1.0), words=words.polar_axis, align="center"),),
    )
    return merged("plate", (edge, middle))


def _plate(radius: float, words: TemplateWords) -> Drawing:
    """The level plate: edge, circle, centre and the four directions."""
    reach = DIRECTIONS * radius
    half = 0.5 * typeset.cap_height(ACTED_ON)
    texts = [Text(at=(3.0, -typeset.leading(READ)), words=words.swivel_axis)]
    for letter, bearing in zip(words.compass_points, (0.0, 90.0, 180.0, 270.0), strict=True):
        x, y = polar(CENTRE, reach + LETTER, bearing)
        texts.append(Text(at=(x, y - half), words=letter, size=ACTED_ON, align="center", bold=True))
    return Drawing(
        name="plate",
        arcs=(*_rings(radius), Arc(centre=CENTRE, radius=1.5, stroke="thin")),
        lines=(
            Line(points=((-reach, 0.0), (reach, 0.0)), stroke="thin"),
            Line(points=((0.0, -reach), (0.0, reach)), stroke="thin"),
        ),
        texts=tuple(texts),
    )


def _compass_scale(radius: float, declination: Declination, words: TemplateWords) -> Drawing:
    """An inner circle with what a compass reads at each place, and the line on which the needle lies."""
    readings = [float(reading) for reading in range(0, 360, COMPASS_STEP)]
    lines, texts = [], []
    for reading in readings:
        bearing = reading + declination.value
        long = reading % COMPASS_FIGURES == 0
        lines.append(
            Line(
                points=(polar(CENTRE, radius, bearing), polar(CENTRE, radius - (8.0 if long else 4.0), bearing)),
                stroke="mark" if long else "thin",
            )
        )
        if long:
            x, y = polar(CENTRE, radius - 15.0, bearing)
            texts.append(
                Text(
                    at=(x, y - 0.5 * typeset.cap_height(ACTED_ON)),
                    words=figure(reading),
                    size=ACTED_ON,
                    align="center",
                )
            )
    start, end = DIRECTIONS * (radius + INNER) + 2.5 * LETTER, radius - 22.0
    if end > start:
        lines.append(
            Line(
                points=(polar(CENTRE, start, declination.value), polar(CENTRE, end, declination.value)), stroke="dashed"
            )
        )
    x, y = polar(CENTRE, 0.5 * (start + end), declination.value)
    right = declination.value >= 0.0  # on the side of the needle away from true north
    texts.append(
        Text(at=(x + (2.0 if right else -2.0), y), words=words.magnetic_north, align="left" if right else "right")
    )
    arc = Arc(centre=CENTRE, radius=radius, stroke="thin")
    return Drawing(name="compass", arcs=(arc,), lines=tuple(lines), texts=tuple(texts))
