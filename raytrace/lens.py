"""Geometry of the grooves: from a lens's data to the facet of each groove."""

import math
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from raytrace.scene import GroovesSide, Lens


@dataclass(frozen=True, kw_only=True, slots=True)
class Grooves:
    """The grooves of one half of the sheet, from the middle out; the other half is its mirror image.

    `pitch` [m] is the one used, so that a whole number of grooves fills each half. Arrays are (n,): middle of each
    groove, depth [m] and facet angle [rad].
    """

    pitch: float
    centre: Floats
    facet_angle: Floats
    depth: Floats

    @property
    def count(self) -> int:
        """Number of grooves in one half."""
        return len(self.centre)


def groove_pitch_used(lens: Lens) -> float:
    """The pitch nearest to the one asked for that fits a whole number of grooves into each half [m]."""
    return lens.width / (2.0 * max(1, round(lens.width / (2.0 * lens.groove_pitch))))


def largest_half_width(lens: Lens, index: float) -> float:
    """Half-width at which the facet law for grooves toward the tubes stops working: |x| = f sqrt(n^2 - 1) [m]."""
    return lens.focal_length * math.sqrt(index * index - 1.0)


def facet_angle(deflection: Floats, index: float, cut_for: GroovesSide) -> Floats:
    """Facet angle that deflects light at normal incidence by `deflection`; both (n,) float [rad].

    For grooves toward the tubes tan a = sin d / (n - cos d): W. T. Xie, Y. J. Dai and R. Z. Wang, Solar Energy 86
    (2012) 2458, eq. 13. For grooves toward the sun tan a = sin d / (sqrt(n^2 - sin^2 d) - 1), from Snell's law at the
    facet and at the flat face in turn.
    """
    sine = np.sin(deflection)
    if cut_for == "tubes":
        return np.arctan2(sine, index - np.cos(deflection))
    return np.arctan2(sine, np.sqrt(index * index - sine * sine) - 1.0)


def grooves_of(lens: Lens) -> Grooves:
    """Facet angle and depth of every groove of one half.

    Raises
    ------
    ValueError
        If the lens is too fast for its facet law, naming the half-width at which it stops working, or if a groove is
        as deep as the sheet, naming the groove.
    """
    index = float(lens.material.refractive_index(lens.design_wavelength))
    pitch = groove_pitch_used(lens)
    centre = np.asarray((np.arange(round(0.5 * lens.width / pitch)) + 0.5) * pitch, dtype=np.float64)
    if lens.cut_for == "tubes" and centre[-1] >= largest_half_width(lens, index):
        raise ValueError(
            f"Lens.focal_length of {lens.focal_length:g} m is too short for a lens {lens.width:g} m wide: with grooves "
            f"cut for the side of the tubes and index {index:.4f} the facets stop working at a half-width of "
            f"{largest_half_width(lens, index):.4f} m. Allowed: a focal length above "
            f"{centre[-1] / math.sqrt(index * index - 1.0):.4f} m or a narrower lens."
        )
    angle = facet_angle(np.arctan2(centre, lens.focal_length), index, lens.cut_for)
    tan_facet = np.tan(angle)
    depth = pitch * tan_facet / (1.0 + tan_facet * math.tan(math.radians(lens.draft_angle)))
    too_deep = np.flatnonzero(depth >= lens.thickness)
    if len(too_deep):
        k = int(too_deep[0])
        raise ValueError(
            f"Lens.groove_pitch of {pitch * 1e3:.4g} mm makes groove {k + 1} from the middle, at x = {centre[k]:.4f} "
            f"m, {depth[k] * 1e3:.3g} mm deep, and the sheet is {lens.thickness * 1e3:.3g} mm thick. Allowed: a "
            f"smaller pitch, a thicker sheet or a longer focal length."
        )
    return Grooves(pitch=pitch, centre=centre, facet_angle=angle, depth=depth)
