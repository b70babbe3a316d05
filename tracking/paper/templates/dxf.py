"""A drawing as DXF in millimetres, for CAD programs and laser cutters, by ezdxf."""

import io

from tracking.paper.templates.shapes import DASHES, Drawing, Stroke
from tracking.paper.typeset import cap_height

LAYERS: dict[Stroke, str] = {
    "cut": "CUT",
    "mark": "MARKS",
    "thin": "HELP",
    "dashed": "HELP_DASHED",
    "dotted": "HELP_DOTTED",
}
TEXT_LAYER = "TEXT"
VERSION = "R2010"


def dxf_text(drawing: Drawing, *, title: str, cautions: str) -> str:
    """The drawing as a DXF document, its units set to millimetres; one layer for each kind of line, one for text.

    Title and cautions stand among the properties that a CAD program shows of a drawing.
    """
    from ezdxf import units
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.filemanagement import new

    document = new(VERSION, units=units.MM)
    document.header.custom_vars.append("Title", title)
    document.header.custom_vars.append("Cautions", cautions)
    for stroke, layer in LAYERS.items():
        linetype = "CONTINUOUS"
        if stroke in DASHES:
            dash, gap = DASHES[stroke]
            linetype = document.linetypes.add(layer, pattern=[dash + gap, dash, -gap]).dxf.name
        document.layers.add(layer, linetype=linetype)
    document.layers.add(TEXT_LAYER)
    space = document.modelspace()
    for line in drawing.lines:
        attributes = {"layer": LAYERS[line.stroke]}
        if len(line.points) == 2:
            space.add_line(*line.points, dxfattribs=attributes)
        else:
            space.add_lwpolyline(line.points, dxfattribs=attributes)
    for arc in drawing.arcs:
        attributes = {"layer": LAYERS[arc.stroke]}
        if arc.is_circle:
            space.add_circle(arc.centre, arc.radius, dxfattribs=attributes)
        else:
            space.add_arc(arc.centre, arc.radius, arc.start, arc.end, dxfattribs=attributes)
    for dot in drawing.dots:
        space.add_circle(dot.centre, dot.radius, dxfattribs={"layer": LAYERS["mark"]})
    alignments = {
        "left": TextEntityAlignment.LEFT,
        "center": TextEntityAlignment.CENTER,
        "right": TextEntityAlignment.RIGHT,
    }
    for text in drawing.texts:
        entity = space.add_text(text.words, height=cap_height(text.size), dxfattribs={"layer": TEXT_LAYER})
        entity.set_placement(text.at, align=alignments[text.align])
    out = io.StringIO()
    document.write(out)
    return out.getvalue()
