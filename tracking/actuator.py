"""An actuator of one axis: from the angle of the mount to the length or turn of the drive, to counts, and back.

A linear actuator spans a triangle: the pivot of the axis, the foot of the actuator at `base_distance` from it, and the
eye at `arm_length` from it. With the angle g between these two sides the length is, by the law of cosines,

    L^2 = a^2 + b^2 - 2 a b cos g,    dL/dg = a b sin g / L,    g = offset + angle  (or offset - angle).

So length is no straight line over angle, and where sin g nears 0 the drive hardly turns the lens: it is singular there.
A rotary actuator turns in proportion. Both move through `travel`, a length [m] or an angle [deg].
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from raytrace.arrays import ArrayLike, Floats

AxisName = Literal["tilt", "swivel"]
Direction = Literal["rising", "falling"]
"""Of the axis' angle: which way it moves."""

NEARLY_SINGULAR = 0.2
"""Share of its largest value on the stroke below which dL/d(angle) counts as nearly singular. Chosen, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ArmLinkage:
    """A linear actuator on an arm; lengths in [m], angles in [deg].

    Parameters
    ----------
    base_distance, arm_length : float
        From the pivot to the actuator's foot, and to its eye.
    angle_offset : float
        Angle at the pivot between these two where the axis' angle is 0.
    retracted_length, stroke : float
        Eye to foot when retracted; how much it extends. Counts are 0 at the retracted length.
    counts_per_mm : float
        Counts of the controller for each millimetre.
    extends_with_angle : bool
        Whether the actuator grows longer as the axis' angle rises.

    Raises
    ------
    ValueError
        If a length is not positive, or the triangle does not close anywhere on the stroke.
    """

    base_distance: float
    arm_length: float
    angle_offset: float
    retracted_length: float
    stroke: float
    counts_per_mm: float
    extends_with_angle: bool = True

    def __post_init__(self) -> None:
        for name in ("base_distance", "arm_length", "retracted_length", "stroke", "counts_per_mm"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise ValueError(f"ArmLinkage.{name} must be positive, got {value!r}.")
        low, high = self.lengths
        if low >= high:
            raise ValueError(
                f"ArmLinkage.retracted_length: an actuator of {self.retracted_length:g} to "
                f"{self.retracted_length + self.stroke:g} m closes no triangle with sides of "
                f"{self.base_distance:g} and {self.arm_length:g} m. Allowed: a length between "
                f"{abs(self.base_distance - self.arm_length):g} and {self.base_distance + self.arm_length:g} m."
            )

    @property
    def lengths(self) -> tuple[float, float]:
        """Shortest and longest length at which the triangle closes and the stroke allows it [m]."""
        low = max(self.retracted_length, abs(self.base_distance - self.arm_length))
        return low, min(self.retracted_length + self.stroke, self.base_distance + self.arm_length)

    @property
    def reach(self) -> tuple[float, float]:
        """Lowest and highest angle of the axis that the stroke reaches [deg]."""
        first, second = (float(self.angle(length)) for length in self.lengths)
        return min(first, second), max(first, second)

    @property
    def counts_per_travel(self) -> float:
        """Counts per [m]."""
        return 1000.0 * self.counts_per_mm

    @property
    def travel_at_zero(self) -> float:
        """Length at which the counts are 0 [m]."""
        return self.retracted_length

    def travel(self, angle: ArrayLike) -> Floats:
        """Length at an angle of the axis [m], whether the stroke reaches it or not; NaN beyond the triangle's ends."""
        included = self._included(angle)
        a, b = self.base_distance, self.arm_length
        # The half-angle form keeps its digits where a and b are nearly alike and the angle is small.
        length = np.sqrt((a - b) ** 2 + 4.0 * a * b * np.sin(0.5 * np.radians(included)) ** 2)
        return np.where((included >= -1e-9) & (included <= 180.0 + 1e-9), length, np.nan)

    def angle(self, travel: ArrayLike) -> Floats:
        """Angle of the axis at a length [deg]; NaN where the triangle does not close."""
        length, a, b = np.asarray(travel, dtype=np.float64), self.base_distance, self.arm_length
        half = (length * length - (a - b) ** 2) / (4.0 * a * b)
        closes = (half >= -1e-12) & (half <= 1.0 + 1e-12)
        included = np.degrees(2.0 * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))
        turned = included - self.angle_offset if self.extends_with_angle else self.angle_offset - included
        return np.where(closes, turned, np.nan)

    def travel_per_angle(self, angle: ArrayLike) -> Floats:
        """dL/d(angle) [m/deg], negative where the actuator shortens as the angle rises."""
        included = np.radians(self._included(angle))
        slope = self.base_distance * self.arm_length * np.sin(included) / self.travel(angle)
        return np.asarray(np.radians(slope) if self.extends_with_angle else -np.radians(slope))

    def _included(self, angle: ArrayLike) -> Floats:
        turned = np.asarray(angle, dtype=np.float64)
        return self.angle_offset + (turned if self.extends_with_angle else -turned)


@dataclass(frozen=True, kw_only=True, slots=True)
class GearLinkage:
    """A rotary actuator: a motor that turns the axis through a gear.

    Parameters
    ----------
    counts_per_degree : float
        Counts for each degree of the motor's shaft.
    gear : float
        Turns of the shaft for one turn of the axis.
    zero : float
        Angle of the axis at which the counts are 0: the mechanical zero [deg].

    Raises
    ------
    ValueError
        If counts or gear are not positive.
    """

    counts_per_degree: float
    gear: float = 1.0
    zero: float = 0.0

    def __post_init__(self) -> None:
        for name in ("counts_per_degree", "gear"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise ValueError(f"GearLinkage.{name} must be positive, got {value!r}.")

    @property
    def reach(self) -> tuple[float, float]:
        """All angles."""
        return -math.inf, math.inf

    @property
    def counts_per_travel(self) -> float:
        """Counts per [deg] of the axis."""
        return self.counts_per_degree * self.gear

    @property
    def travel_at_zero(self) -> float:
        """Angle of the axis at which the counts are 0 [deg]."""
        return self.zero

    def travel(self, angle: ArrayLike) -> Floats:
        """The angle itself [deg]."""
        return np.asarray(angle, dtype=np.float64)

    def angle(self, travel: ArrayLike) -> Floats:
        """The angle itself [deg]."""
        return np.asarray(travel, dtype=np.float64)

    def travel_per_angle(self, angle: ArrayLike) -> Floats:
        """1 everywhere."""
        return np.ones_like(np.asarray(angle, dtype=np.float64))


@dataclass(frozen=True, kw_only=True, slots=True)
class Actuator:
    """The drive of one axis. `travel` is a length [m] for an ArmLinkage, an angle [deg] for a GearLinkage.

    Parameters
    ----------
    linkage : ArmLinkage or GearLinkage
        How the drive turns the axis.
    speed, backlash : float
        Travel per second; lost travel when the drive reverses.
    duty_cycle, duty_period : float
        Share of any span of `duty_period` [s] during which the motor may run.
    dead_band : float
        The lens is left alone while its axis is within this of the setpoint [deg].
    limits : (float, float) or None
        Soft limits of the axis' angle, within what the stroke reaches [deg]; None: it may turn without end.
    home : float
        Angle of the home switch [deg].
    homing : "rising" or "falling"
        Which way the angle goes while the drive runs to its home switch.
    approach : "rising" or "falling"
        Which way the angle goes as a setpoint is reached, so that the backlash always lies on the same side.
    """

    linkage: ArmLinkage | GearLinkage
    speed: float
    backlash: float
    duty_cycle: float
    duty_period: float
    dead_band: float
    limits: tuple[float, float] | None
    home: float
    homing: Direction
    approach: Direction

    @property
    def is_linear(self) -> bool:
        """Whether `travel` is a length."""
        return isinstance(self.linkage, ArmLinkage)

    def counts(self, angle: ArrayLike) -> Floats:
        """Counts at an angle of the axis [deg], not rounded."""
        return (self.linkage.travel(angle) - self.linkage.travel_at_zero) * self.linkage.counts_per_travel

    def angle(self, counts: ArrayLike) -> Floats:
        """Angle of the axis at counts [deg]."""
        travel = np.asarray(counts, dtype=np.float64) / self.linkage.counts_per_travel + self.linkage.travel_at_zero
        return self.linkage.angle(travel)

    def counts_per_angle(self, angle: ArrayLike) -> Floats:
        """d(counts)/d(angle) [1/deg]."""
        return self.linkage.travel_per_angle(angle) * self.linkage.counts_per_travel

    def angular_speed(self, angle: ArrayLike) -> Floats:
        """Speed of the axis at full speed of the drive [deg/s]."""
        return self.speed / np.abs(self.linkage.travel_per_angle(angle))

    def seconds(self, start: ArrayLike, end: ArrayLike) -> Floats:
        """Time of the motor from one angle to another [s]."""
        return np.abs(self.linkage.travel(end) - self.linkage.travel(start)) / self.speed

    def clipped(self, angle: ArrayLike) -> Floats:
        """The angle, or the soft limit that it passes [deg]."""
        value = np.asarray(angle, dtype=np.float64)
        return value if self.limits is None else np.clip(value, *self.limits)


@dataclass(frozen=True, kw_only=True, slots=True)
class Actuators:
    """The drives of a mount; None for an axis that has none."""

    tilt: Actuator | None = None
    swivel: Actuator | None = None

    def axes(self) -> tuple[tuple[AxisName, Actuator], ...]:
        """The axes that have a drive, tilt first."""
        found: list[tuple[AxisName, Actuator]] = []
        if self.tilt is not None:
            found.append(("tilt", self.tilt))
        if self.swivel is not None:
            found.append(("swivel", self.swivel))
        return tuple(found)


def nearly_singular(linkage: ArmLinkage) -> tuple[float, float] | None:
    """Angles of the reach between which dL/d(angle) is below NEARLY_SINGULAR of its largest value [deg]; None: nowhere.

    They lie at one end of the reach, or at both: then the span from the lower to the higher is told.
    """
    low, high = linkage.reach
    angles = np.linspace(low, high, 721)[1:-1]
    slopes = np.abs(linkage.travel_per_angle(angles))
    weak = angles[slopes < NEARLY_SINGULAR * slopes.max()]
    return (float(weak.min()), float(weak.max())) if len(weak) else None
