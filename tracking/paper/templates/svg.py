"""A drawing as SVG with its size in millimetres (W3C, Scalable Vector Graphics 1.1, 2nd edition, 2011)."""

import math
from xml.etree import ElementTree as ET

from tracking.paper.templates.shapes import DASHES, STROKE_WIDTHS, Arc, Drawing, Point, Stroke
from tracking.paper.typeset import FAMILY, MM_PER_POINT

NAMESPACE = "http://www.w3.org/2000/svg"
EDGE = 5.0
"""White around the drawing [mm]."""
ANCHORS = {"left": "start", "center": "middle", "right": "end"}


def svg_text(drawing: Drawing, *, title: str, cautions: str) -> str:
    """The drawing as an SVG document: one unit is a millimetre wide; the cautions are its description."""
    ET.register_namespace("", NAMESPACE)
    left, low, right, high = drawing.bounds()
    wide, tall = right - left + 2.0 * EDGE, high - low + 2.0 * EDGE

    def place(point: Point) -> tuple[str, str]:
        return _number(point[0] - left + EDGE), _number(high + EDGE - point[1])

    root = ET.Element(
        _tag("svg"),
        {
            "width": f"{_number(wide)}mm",
            "height": f"{_number(tall)}mm",
            "viewBox": f"0 0 {_number(wide)} {_number(tall)}",
            "version": "1.1",
        },
    )
    ET.SubElement(root, _tag("title")).text = title
    ET.SubElement(root, _tag("desc")).text = cautions
    for line in drawing.lines:
        points = " ".join(",".join(place(point)) for point in line.points)
        ET.SubElement(root, _tag("polyline"), {"points": points} | _style(line.stroke))
    for arc in drawing.arcs:
        _add_arc(root, arc, place(arc.centre), place(_on(arc, arc.start)), place(_on(arc, arc.end)))
    for dot in drawing.dots:
        x, y = place(dot.centre)
        ET.SubElement(root, _tag("circle"), {"cx": x, "cy": y, "r": _number(dot.radius), "fill": "black"})
    for text in drawing.texts:
        x, y = place(text.at)
        ET.SubElement(
            root,
            _tag("text"),
            {
                "x": x,
                "y": y,
                "font-family": f"{FAMILY}, Verdana, sans-serif",
                "font-size": _number(text.size * MM_PER_POINT),
                "font-weight": "bold" if text.bold else "normal",
                "text-anchor": ANCHORS[text.align],
            },
        ).text = text.words
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _add_arc(root: ET.Element, arc: Arc, centre: tuple[str, str], start: tuple[str, str], end: tuple[str, str]) -> None:
    radius = _number(arc.radius)
    if arc.is_circle:
        ET.SubElement(root, _tag("circle"), {"cx": centre[0], "cy": centre[1], "r": radius} | _style(arc.stroke))
        return
    large = int(arc.end - arc.start > 180.0)
    # Counterclockwise on paper: the sweep flag is 0, as y runs down in SVG.
    path = f"M {start[0]} {start[1]} A {radius} {radius} 0 {large} 0 {end[0]} {end[1]}"
    ET.SubElement(root, _tag("path"), {"d": path} | _style(arc.stroke))


def _on(arc: Arc, angle: float) -> Point:
    turn = math.radians(angle)
    return arc.centre[0] + arc.radius * math.cos(turn), arc.centre[1] + arc.radius * math.sin(turn)


def _style(stroke: Stroke) -> dict[str, str]:
    style = {"fill": "none", "stroke": "black", "stroke-width": _number(STROKE_WIDTHS[stroke])}
    if stroke in DASHES:
        style["stroke-dasharray"] = " ".join(_number(length) for length in DASHES[stroke])
    return style


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _number(value: float) -> str:
    """To a micrometre, without a minus zero."""
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")
