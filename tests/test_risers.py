"""Single rays through the idle face of a groove, against Snell's and Fresnel's laws by angles.

The lens here is an invention of ours.
"""

import math

import numpy as np
import pytest
from reference.callable_kernels import walk_sheet

from raytrace.kernels.sheet import DOWN, Sheet
from raytrace.optics.materials import constant_material
from raytrace.scene import Lens, Scene, SunOptics, Tubes
from raytrace.trace import prepare

INDEX = 1.49
FACET = math.radians(30.0)


def sheet_with_draft(draft: float) -> Sheet:
    """A sheet with grooves toward the tubes, all of the same facet angle; the draft in [rad]."""
    lens = Lens(
        width=0.04,
        length=2.0,
        focal_length=1.0,
        grooves_toward="tubes",
        cut_for="tubes",
        groove_pitch=5e-4,
        thickness=0.003,
        draft_angle=math.degrees(draft),
        slope_error=0.0,
        material=constant_material(INDEX, 0.0),
    )
    scene = Scene(
        lens=lens,
        tubes=Tubes(count=1, length=1.0, absorber_diameter=0.004),
        sun=SunOptics(sunshape="point", wavelength=587.6),
        lens_height=1.0,
    )
    sheet = prepare(scene).sheet
    even = np.ones_like(sheet.depth)
    depth = sheet.pitch * math.tan(FACET) / (1.0 + math.tan(FACET) * math.tan(draft))
    return sheet._replace(
        deepest=depth,
        depth=depth * even,
        tan_facet=math.tan(FACET) * even,
        sin_facet=math.sin(FACET) * even,
        cos_facet=math.cos(FACET) * even,
    )


def passed(n_from: float, angle: float, n_to: float, after: float) -> float:
    """Share of unpolarised light that passes; Born and Wolf, Principles of Optics, 7th ed. 1999, sec. 1.5.2."""
    assert n_from * math.sin(angle) == pytest.approx(n_to * math.sin(after), abs=1e-12)
    s = (math.sin(angle - after) / math.sin(angle + after)) ** 2
    p = (math.tan(angle - after) / math.tan(angle + after)) ** 2
    return 1.0 - 0.5 * (s + p)


@pytest.mark.parametrize("draft", [13.0, 14.0, 15.0])
@pytest.mark.parametrize("incidence", [60.0, 70.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_light_out_through_a_riser(draft: float, incidence: float, side: float) -> None:
    """A slanted ray meets a riser from inside, a little above the tip of its groove, and leaves through it.

    Along the riser's face n sin of the angle to its normal stays; the normal leans by the draft out of the level.
    """
    q, outside = math.radians(draft), math.radians(incidence)
    inside = math.asin(math.sin(outside) / INDEX)
    sheet = sheet_with_draft(q)
    height = 0.05 * sheet.pitch
    start = 20.0 * sheet.pitch - height * math.tan(q) + (sheet.thickness - height) * math.tan(inside)
    fate, weight, _, _, _, px, py, pz, *_ = walk_sheet(
        sheet, INDEX, 0.0, np.zeros(3), 0.0, 0, 0, side * start, 0.0, -side * math.sin(outside), 0.0, -math.cos(outside)
    )
    # To the riser's normal, which points by q below the level, the ray makes 90 deg - inside - q before it.
    before = 0.5 * math.pi - inside - q
    after = math.asin(INDEX * math.sin(before))
    assert fate == DOWN
    # Out of the riser it heads at `after` from that normal: measured from straight down, 90 deg - q - after.
    heading = 0.5 * math.pi - q - after
    assert (side * px, py, pz) == pytest.approx((-math.sin(heading), 0.0, -math.cos(heading)), abs=1e-12)
    assert weight == pytest.approx(passed(1.0, outside, INDEX, inside) * passed(INDEX, before, 1.0, after), abs=1e-12)
