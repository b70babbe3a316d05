"""The errors that a machine may have, and what each does to the design and to the light on it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.scene import Scene
from tracking.energy.fit.height import lowest_height
from tracking.energy.fit.sample import Draws
from tracking.mount import Mount


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Machine:
    """A design with its errors: what is built, the light on it, and how far the row lies beside its place [m]."""

    scene: Scene
    draws: Draws
    offset: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class ErrorKind:
    """A kind of error: what it is called, its unit, the first size tried, the largest, and how it changes a machine.

    Sizes are in the unit of the scene's own key: [mrad], [deg] or [m]. `own` is what the scene already has of it; a
    size comes on top of it, for rms errors as the new whole. `either_way`: the worse of both signs counts.
    """

    key: str
    unit: str
    own: float
    first: float
    most: float
    either_way: bool
    changed: Callable[[Machine, float], Machine]


def error_kinds(scene: Scene, mount: Mount) -> tuple[ErrorKind, ...]:
    """The errors that are looked at."""
    lens, height = scene.lens, scene.lens_height
    lower = max(0.0, height - lowest_height(scene, mount))

    def with_slope(m: Machine, x: float) -> Machine:
        return replace(m, scene=replace(m.scene, lens=replace(m.scene.lens, slope_error=x)))

    def with_aim(m: Machine, x: float) -> Machine:
        return replace(m, scene=replace(m.scene, aiming_error=x))

    def across(m: Machine, x: float) -> Machine:
        return replace(m, draws=turned_across(m.draws, x))

    def along(m: Machine, x: float) -> Machine:
        return replace(m, draws=turned_along(m.draws, x))

    def aside(m: Machine, x: float) -> Machine:
        return replace(m, offset=m.offset + x)

    def raised(m: Machine, x: float) -> Machine:
        return replace(m, scene=replace(m.scene, lens_height=m.scene.lens_height + x))

    def lowered(m: Machine, x: float) -> Machine:
        return raised(m, -x)

    def hanging(m: Machine, x: float) -> Machine:
        return replace(m, scene=replace(m.scene, lens=replace(m.scene.lens, sag=m.scene.lens.sag + x)))

    def arched(m: Machine, x: float) -> Machine:
        return hanging(m, -x)

    room = max(0.0, min(0.3, 0.45 * height))
    kinds = (
        ("slope_error", "mrad", lens.slope_error, max(1.0, 1.5 * lens.slope_error), MOST_RMS, False, with_slope),
        ("aiming_error", "mrad", scene.aiming_error, max(2.0, 1.5 * scene.aiming_error), MOST_RMS, False, with_aim),
        ("aim_across", "deg", 0.0, 0.3, MOST_AIM, True, across),
        ("aim_along", "deg", 0.0, 2.0, MOST_ALONG, True, along),
        ("tube_offset", "m", 0.0, 5e-3, 0.5, True, aside),
        ("too_high", "m", 0.0, 10e-3, height, False, raised),
        ("too_low", "m", 0.0, 10e-3, lower, False, lowered),
        ("sag_down", "m", lens.sag, 4e-3, room - max(0.0, lens.sag), False, hanging),
        ("sag_up", "m", lens.sag, 4e-3, room + min(0.0, lens.sag), False, arched),
    )
    return tuple(
        ErrorKind(key=key, unit=unit, own=own, first=first, most=most, either_way=both, changed=changed)
        for key, unit, own, first, most, both, changed in kinds
        if most > 0.0
    )


MOST_RMS = 50.0
"""Largest slope and aiming errors that are traced [mrad], as in a scene."""

MOST_AIM, MOST_ALONG = 15.0, 40.0
"""Largest steady aiming errors that are looked at [deg]."""

MOST_ANGLE = 89.0
"""Largest angle that is traced [deg]."""


def turned_across(draws: Draws, turn: float) -> Draws:
    """The light on a lens that is turned off its aim about the direction of its grooves [deg]."""
    transversal, longitudinal, energy = _turned(draws.transversal, draws.longitudinal, draws.energy, turn)
    return replace(draws, transversal=transversal, longitudinal=longitudinal, energy=energy)


def turned_along(draws: Draws, turn: float) -> Draws:
    """The light on a lens that is turned off its aim about the direction across its grooves [deg]."""
    longitudinal, transversal, energy = _turned(draws.longitudinal, draws.transversal, draws.energy, turn)
    return replace(draws, transversal=transversal, longitudinal=longitudinal, energy=energy)


def _turned(angle: Floats, other: Floats, energy: Floats, turn: float) -> tuple[Floats, Floats, Floats]:
    """A sun's angle to the normal, the one at right angles to it, and the energy, after a turn that changes the first.

    A turn keeps the sun's component along its own axis, whose ratio to the one along the normal is the tangent of the
    other angle. The component along the normal goes by the cosine of the first, and so do other tangent and energy.
    """
    after = np.clip(angle + turn, -MOST_ANGLE, MOST_ANGLE)
    ratio = np.cos(np.radians(after)) / np.cos(np.radians(angle))
    tangent = np.tan(np.radians(other)) / ratio
    return after, np.clip(np.degrees(np.arctan(tangent)), -MOST_ANGLE, MOST_ANGLE), energy * ratio
