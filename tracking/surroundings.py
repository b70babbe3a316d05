"""What stands around the row: boxes and planes, as the scene names them. Plain data and geometry, no dates."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from raytrace.arrays import Floats
from raytrace.stray import Face
from tracking.mount import Mount, lens_axes

Shape = Literal["plane", "box"]
FixedTo = Literal["ground", "base", "lens"]
SurroundingMaterial = Literal["wood", "plants", "plastic", "metal", "stone", "tile", "glass", "soil"]

BURNS: frozenset[str] = frozenset({"wood", "plants", "plastic"})
"""Materials that can catch fire. Plants stand for dry grass and leaves, which catch fire no later than wood."""

Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Surrounding:
    """A box or a plane around the row.

    Parameters
    ----------
    name
        What the tables call it.
    shape
        A plane lies across its own third direction.
    size : (2,) or (3,) float
        Lengths along its own directions [m]; two for a plane.
    place : (3,) float
        Its middle, from the middle of the row [m].
    turn : (3,) float
        Turns about the first, second and third direction of what it is fixed to, in this order, right-handed [deg].
    fixed_to
        "ground": directions are east, north, up. "base": across the grooves, along them, and up, as the lens stands at
        tilt 0; turns with the swivel. "lens": across the grooves, along them, along the lens normal.
    material
        What its face is made of.
    """

    name: str
    shape: Shape
    size: tuple[float, ...]
    place: Triple
    turn: Triple = (0.0, 0.0, 0.0)
    fixed_to: FixedTo = "ground"
    material: SurroundingMaterial = "wood"

    @property
    def burns(self) -> bool:
        """Whether its material can catch fire."""
        return self.material in BURNS


@dataclass(frozen=True, kw_only=True, slots=True)
class SurroundingFace:
    """One face of a surrounding, in the lens frame of one setting; `side` names it among those of a box."""

    surrounding: Surrounding
    side: str
    face: Face

    @property
    def name(self) -> str:
        """What the tables call it."""
        return f"{self.surrounding.name}, {self.side}" if self.side else self.surrounding.name


def faces_around(
    surroundings: tuple[Surrounding, ...], mount: Mount, tilt: float, swivel: float, lens_height: float
) -> tuple[SurroundingFace, ...]:
    """All faces of the surroundings in the lens frame at a setting [deg] with this lens height [m]."""
    found: list[SurroundingFace] = []
    for each in surroundings:
        to_lens = frame_in_lens(mount, each.fixed_to, tilt, swivel)
        own = to_lens @ turned(each.turn)
        middle = to_lens @ np.asarray(each.place) - np.array([0.0, 0.0, lens_height])
        if each.shape == "plane":
            found.append(_face(each, "", middle, own[:, 0], own[:, 1], each.size[0], each.size[1]))
            continue
        for axis in range(3):
            first, second = (k for k in range(3) if k != axis)
            for sign in (-1.0, 1.0):
                centre = middle + 0.5 * sign * each.size[axis] * own[:, axis]
                side = f"{'-' if sign < 0 else '+'}{'abc'[axis]} side"
                found.append(
                    _face(each, side, centre, own[:, first], own[:, second], each.size[first], each.size[second])
                )
    return tuple(found)


def frame_in_lens(mount: Mount, fixed_to: FixedTo, tilt: float, swivel: float) -> Floats:
    """The directions of what a surrounding is fixed to, in the lens frame at a setting [deg]: the columns of (3, 3)."""
    if fixed_to == "lens":
        return np.eye(3)
    lens = np.stack(lens_axes(mount, tilt, swivel))
    if fixed_to == "ground":
        return lens
    return np.asarray(lens @ np.stack(lens_axes(mount, 0.0, swivel)).T)


def turned(turn: Triple) -> Floats:
    """Turns [deg] about the first, the second, then the third direction, as a matrix (3, 3)."""
    whole = np.eye(3)
    for axis, angle in enumerate(np.radians(turn)):
        first, second = (axis + 1) % 3, (axis + 2) % 3
        one = np.eye(3)
        one[first, first] = one[second, second] = np.cos(angle)
        one[second, first] = np.sin(angle)
        one[first, second] = -np.sin(angle)
        whole = one @ whole
    return np.asarray(whole)


def _face(
    surrounding: Surrounding, side: str, centre: Floats, a: Floats, b: Floats, length_a: float, length_b: float
) -> SurroundingFace:
    corner = centre - 0.5 * length_a * a - 0.5 * length_b * b
    return SurroundingFace(
        surrounding=surrounding,
        side=side,
        face=Face(
            corner=_triple(corner), side_a=_triple(a), side_b=_triple(b), length_a=length_a, length_b=length_b
        ),
    )


def _triple(vector: Floats) -> Triple:
    return (float(vector[0]), float(vector[1]), float(vector[2]))
