"""The tables [actuators.tilt] and [actuators.swivel]."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from tracking.actuator import Actuator, Actuators, ArmLinkage, AxisName, Direction, GearLinkage, nearly_singular
from tracking.mount import Mount
from tracking.scenefile.forms import Form, Number, Quantity, TiltRange, Word
from tracking.scenefile.problems import Problem, listed
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import ANGLE, DURATION, LENGTH, Kind, QuantityError, shown

LINEAR_SPEED = Kind(
    name="speed", base="m/s", units={"mm/s": Fraction(1, 1000), "m/s": Fraction(1)}, example="8 mm/s"
)
TURNING_SPEED = Kind(
    name="turning speed", base="deg/s", units={"deg/s": Fraction(1), "deg/min": Fraction(1, 60)}, example="0.5 deg/s"
)

DriveKind = Literal["linear", "rotary"]

LINEAR_KEYS = (
    "base_distance", "arm_length", "angle_offset", "retracted_length", "stroke", "counts_per_mm", "extends_with",
)
ROTARY_KEYS = ("counts_per_degree", "gear", "zero")
NEEDED = {
    "linear": ("base_distance", "arm_length", "retracted_length", "stroke", "counts_per_mm"),
    "rotary": ("counts_per_degree",),
}
ROUNDING = 1e-6
"""Angles that differ by less than this [deg] are the same."""


@dataclass(frozen=True, slots=True)
class Travel(Form):
    """A quantity of a linear or of a rotary drive; its unit tells which. The value carries the kind along."""

    linear: Quantity
    rotary: Quantity

    def _allowed(self) -> str:
        return f"{self.linear.allowed} (linear), or {self.rotary.allowed} (rotary)"

    def _read(self, raw: object) -> tuple[DriveKind, float]:
        unit = raw.rpartition(" ")[2] if isinstance(raw, str) else ""
        try:
            if unit in self.rotary.kind.units:
                return "rotary", self.rotary.value(raw)
            if unit in self.linear.kind.units:
                return "linear", self.linear.value(raw)
            self.linear.value(raw)
        except QuantityError as error:
            raise QuantityError(error.problem, self.allowed) from None
        raise AssertionError  # a unit that neither knows has been refused above


SPEED = Travel(Quantity(LINEAR_SPEED, "0.01 mm/s", "1 m/s"), Quantity(TURNING_SPEED, "0.001 deg/s", "360 deg/s"))
BACKLASH = Travel(Quantity(LENGTH, "0 mm", "50 mm"), Quantity(ANGLE, "0 deg", "10 deg"))
FORMS: dict[str, Form] = {
    "base_distance": Quantity(LENGTH, "10 mm", "10 m"),
    "arm_length": Quantity(LENGTH, "10 mm", "10 m"),
    "angle_offset": Quantity(ANGLE, "-360 deg", "360 deg"),
    "retracted_length": Quantity(LENGTH, "10 mm", "10 m"),
    "stroke": Quantity(LENGTH, "5 mm", "10 m"),
    "counts_per_mm": Number(0.001, 1e6),
    "counts_per_degree": Number(0.001, 1e6),
}


class ActuatorTable(Table):
    """The drive of one axis."""

    kind: Annotated[DriveKind, Word(("linear", "rotary"))]
    base_distance: Annotated[float | None, FORMS["base_distance"]] = None
    arm_length: Annotated[float | None, FORMS["arm_length"]] = None
    angle_offset: Annotated[float | None, FORMS["angle_offset"]] = None
    retracted_length: Annotated[float | None, FORMS["retracted_length"]] = None
    stroke: Annotated[float | None, FORMS["stroke"]] = None
    counts_per_mm: Annotated[float | None, FORMS["counts_per_mm"]] = None
    extends_with: Annotated[Direction | None, Word(("rising", "falling"))] = None
    counts_per_degree: Annotated[float | None, FORMS["counts_per_degree"]] = None
    gear: Annotated[float | None, Number(0.001, 1e6)] = None
    zero: Annotated[float | None, Quantity(ANGLE, "-720 deg", "720 deg")] = None
    speed: Annotated[tuple[DriveKind, float], SPEED]
    backlash: Annotated[tuple[DriveKind, float] | None, BACKLASH] = None
    duty_cycle: Annotated[float, Number(0.001, 1.0)] = default(0.25)
    duty_period: Annotated[float, Quantity(DURATION, "1 min", "24 h")] = default("20 min")
    dead_band: Annotated[float, Quantity(ANGLE, "0.001 deg", "10 deg")] = default("0.2 deg")
    soft_limits: Annotated[tuple[float, float] | None, TiltRange("-720 deg", "720 deg")] = None
    home: Annotated[float | None, Quantity(ANGLE, "-720 deg", "720 deg")] = None
    homing: Annotated[Direction, Word(("rising", "falling"))] = default("falling")
    approach: Annotated[Direction, Word(("rising", "falling"))] = default("rising")

    def _default_text(self, key: str) -> str | None:
        if key in (LINEAR_KEYS if self.kind == "rotary" else ROTARY_KEYS):
            return None
        return {
            "angle_offset": '"0 deg"',
            "extends_with": '"rising"',
            "gear": "1",
            "zero": '"0 deg"',
            "backlash": '"0 mm"' if self.kind == "linear" else '"0 deg"',
            "soft_limits": "the range of the mount, as far as the drive reaches",
            "home": "retracted" if self.kind == "linear" else "the lower soft limit, or 0 deg",
        }.get(key)

    def _problems(self) -> Iterator[Problem]:
        for key in NEEDED[self.kind]:
            if not self.given(key):
                yield Problem(
                    key=key, problem=f'this key is missing: kind = "{self.kind}" needs it', allowed=FORMS[key].allowed
                )
        other = "rotary" if self.kind == "linear" else "linear"
        for key in LINEAR_KEYS if self.kind == "rotary" else ROTARY_KEYS:
            if self.given(key):
                yield Problem(
                    key=key,
                    problem=f'kind = "{self.kind}" makes no use of this key',
                    allowed=f'leave it out, or write kind = "{other}"',
                )
        forms = {"speed": (self.speed, SPEED), "backlash": (self.backlash, BACKLASH)}
        for key, (value, form) in forms.items():
            if value is not None and value[0] != self.kind:
                right = form.linear if self.kind == "linear" else form.rotary
                yield Problem(
                    key=key,
                    problem=f'its unit is that of a {other} drive, but this one is kind = "{self.kind}"',
                    allowed=right.allowed,
                )

    def linkage(self) -> ArmLinkage | GearLinkage:
        """The linkage of these keys; ValueError if it closes no triangle."""
        if self.kind == "rotary":
            return GearLinkage(
                counts_per_degree=self.counts_per_degree or 0.0,
                gear=1.0 if self.gear is None else self.gear,
                zero=self.zero or 0.0,
            )
        return ArmLinkage(
            base_distance=self.base_distance or 0.0,
            arm_length=self.arm_length or 0.0,
            angle_offset=self.angle_offset or 0.0,
            retracted_length=self.retracted_length or 0.0,
            stroke=self.stroke or 0.0,
            counts_per_mm=self.counts_per_mm or 0.0,
            extends_with_angle=self.extends_with != "falling",
        )

    def actuator(self, linkage: ArmLinkage | GearLinkage, limits: tuple[float, float] | None) -> Actuator:
        """The drive of these keys with its limits [deg]."""
        if self.home is not None:
            home = self.home
        elif isinstance(linkage, ArmLinkage):
            home = float(linkage.angle(linkage.lengths[0]))
        else:
            home = 0.0 if limits is None else limits[0]
        return Actuator(
            linkage=linkage,
            speed=self.speed[1],
            backlash=0.0 if self.backlash is None else self.backlash[1],
            duty_cycle=self.duty_cycle,
            duty_period=self.duty_period,
            dead_band=self.dead_band,
            limits=limits,
            home=home,
            homing=self.homing,
            approach=self.approach,
        )


class ActuatorsTable(Table):
    """The drives of the mount."""

    tilt: ActuatorTable | None = None
    swivel: ActuatorTable | None = None

    def _default_text(self, key: str) -> str | None:
        return "none: set by hand" if key in {"tilt", "swivel"} else None


AXES_OF_KIND: dict[str, tuple[AxisName, ...]] = {
    "swivel-tilt": ("tilt", "swivel"),
    "tilt": ("tilt",),
    "polar": ("tilt", "swivel"),
    "fixed": (),
}
"""Which axes of each kind of mount can be driven."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadActuators:
    """The drives, what is wrong with them, and what a reader should know."""

    actuators: Actuators
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def read_actuators(tables: ActuatorsTable, mount: Mount) -> ReadActuators:
    """The drives of a mount, with the angles that they cannot reach named.

    They are a problem where nothing is left or where the soft limits ask for them; otherwise a note names them and the
    limits end there.
    """
    problems: list[Problem] = []
    notes: list[str] = []
    made: dict[str, Actuator] = {}
    for axis in ("tilt", "swivel"):
        table: ActuatorTable | None = getattr(tables, axis)
        if table is None:
            continue
        where = f"actuators.{axis}"
        if axis not in AXES_OF_KIND[mount.kind]:
            kinds = [f'"{kind}"' for kind, axes in AXES_OF_KIND.items() if axis in axes]
            problems.append(
                Problem(
                    key=where,
                    problem=f'a mount of kind = "{mount.kind}" has no {axis} that a motor could move',
                    allowed=f"leave the table out, or write kind = {listed(kinds, 'or')} in [mount]",
                )
            )
            continue
        try:
            linkage = table.linkage()
        except ValueError as error:
            problem, _, allowed = str(error).partition(" Allowed: ")
            key, _, problem = problem.partition(": ")
            problems.append(
                Problem(
                    key=f"{where}.{key.rpartition('.')[2] if problem else 'kind'}",
                    problem=(problem or key).rstrip("."),
                    allowed=allowed.rstrip(".") or "lengths that close a triangle",
                )
            )
            continue
        limits = _limits(axis, table, linkage, mount, problems, notes)
        if isinstance(linkage, ArmLinkage):
            weak = nearly_singular(linkage)
            if weak is not None and limits is not None and weak[0] < limits[1] and weak[1] > limits[0]:
                notes.append(
                    f"{where}: from {weak[0]:.1f} to {weak[1]:.1f} deg the actuator is nearly in line with its arm: "
                    "a millimetre of stroke or slack turns the lens more than five times as far there as at its best."
                )
        actuator = table.actuator(linkage, limits)
        low, high = linkage.reach
        if not low - ROUNDING <= actuator.home <= high + ROUNDING:
            problems.append(
                Problem(
                    key=f"{where}.home",
                    problem=f"the drive does not reach {actuator.home:g} deg",
                    allowed=f"an angle from {low:.3f} to {high:.3f} deg",
                )
            )
        made[axis] = actuator
    return ReadActuators(
        actuators=Actuators(tilt=made.get("tilt"), swivel=made.get("swivel")),
        problems=tuple(problems),
        notes=tuple(notes),
    )


def _limits(
    axis: str,
    table: ActuatorTable,
    linkage: ArmLinkage | GearLinkage,
    mount: Mount,
    problems: list[Problem],
    notes: list[str],
) -> tuple[float, float] | None:
    """The soft limits within the mount's range and the drive's reach."""
    where = f"actuators.{axis}"
    mount_range = mount.tilt_limits if axis == "tilt" else mount.swivel_limits
    low, high = linkage.reach
    if table.soft_limits is not None:
        wanted = table.soft_limits
        name = f"{where}.soft_limits"
    elif mount_range is not None:
        wanted = mount_range
        name = f"mount.{axis}_range"
    elif isinstance(linkage, GearLinkage):
        notes.append(f"{where}: neither soft limits nor a range are given: cables may wind up without end.")
        return None
    else:
        wanted = (low, high)
        name = f"mount.{axis}_range"
    beyond = []
    if wanted[0] < low - ROUNDING:
        beyond.append(f"{wanted[0]:g} to {min(low, wanted[1]):.2f} deg")
    if wanted[1] > high + ROUNDING:
        beyond.append(f"{max(high, wanted[0]):.2f} to {wanted[1]:g} deg")
    kept = (max(wanted[0], low), min(wanted[1], high))
    if mount_range is not None:
        kept = (max(kept[0], mount_range[0]), min(kept[1], mount_range[1]))
    if kept[0] >= kept[1] or (beyond and table.soft_limits is not None):
        reach = f"the stroke reaches {low:.2f} to {high:.2f} deg" if isinstance(linkage, ArmLinkage) else ""
        span = "" if mount_range is None else f"the mount's range is {mount_range[0]:g} to {mount_range[1]:g} deg"
        problems.append(
            Problem(
                key=f"{where}.soft_limits" if table.soft_limits is not None else f"{where}.stroke",
                problem=(
                    f"the angles {listed(beyond)} cannot be reached"
                    if beyond
                    else f"{shown([f'{each:g} deg' for each in wanted])} leaves no angle of the mount"
                ),
                allowed="; ".join(part for part in (reach, span) if part) or "two rising angles",
            )
        )
        return wanted
    if beyond:
        notes.append(
            f"{where}: the stroke does not reach {listed(beyond)} of {name}. The motors stay within {kept[0]:.2f} to "
            f"{kept[1]:.2f} deg."
        )
    return kept
