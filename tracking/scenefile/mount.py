"""The table [mount]."""

from collections.abc import Iterator
from typing import Annotated

from tracking.mount import (
    DEFAULT_DECLINATION_RANGE,
    DEFAULT_TILT_RANGE,
    Grooves,
    Mount,
    MountKind,
    RowTurnsWith,
    marked_swivels,
    marked_tilts,
)
from tracking.mount import Marks as MarkedAngles
from tracking.scenefile.forms import Form, Marks, Quantity, SwivelRange, TiltRange, Word
from tracking.scenefile.problems import Problem, listed
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import ANGLE, LENGTH, SMALL_ANGLE, shown

KEYS_OF_KIND: dict[str, frozenset[str]] = {
    "swivel-tilt": frozenset({"tilt_range", "swivel_range", "tilt_marks", "swivel_marks"}),
    "tilt": frozenset({"facing", "tilt_range", "tilt_marks"}),
    "polar": frozenset({"tilt_range", "swivel_range", "tilt_marks", "swivel_marks"}),
    "fixed": frozenset({"facing", "tilt"}),
}
"""Which of the keys that not every kind of mount knows go with which kind."""

NEEDED_BY_KIND: dict[str, tuple[str, ...]] = {"tilt": ("facing",), "fixed": ("facing", "tilt")}

FACING: Form = Quantity(ANGLE, "-360 deg", "360 deg")
TILT: Form = Quantity(ANGLE, "-90 deg", "90 deg")


class MountTable(Table):
    """How the lens is carried, turned and aimed."""

    kind: Annotated[MountKind, Word(("swivel-tilt", "tilt", "polar", "fixed"))]
    lens_height: Annotated[float, Quantity(LENGTH, "20 mm", "10 m")]
    grooves: Annotated[Grooves, Word(("level", "upslope"))] = default("level")
    row_turns_with: Annotated[RowTurnsWith, Word(("lens", "base"))] = default("lens")
    facing: Annotated[float | None, FACING] = None
    tilt: Annotated[float | None, TILT] = None
    tilt_range: Annotated[tuple[float, float] | None, TiltRange("-90 deg", "90 deg")] = None
    swivel_range: Annotated[tuple[float, float] | None, SwivelRange("-720 deg", "720 deg")] = None
    tilt_marks: Annotated[MarkedAngles | None, Marks("-90 deg", "90 deg")] = None
    swivel_marks: Annotated[MarkedAngles | None, Marks("-720 deg", "720 deg")] = None
    aiming_error: Annotated[float, Quantity(SMALL_ANGLE, "0 mrad", "50 mrad")] = default("0 mrad")

    def _default_text(self, key: str) -> str | None:
        if key not in KEYS_OF_KIND[self.kind]:
            return None
        limits = DEFAULT_DECLINATION_RANGE if self.kind == "polar" else DEFAULT_TILT_RANGE
        return {
            "tilt_range": shown([f"{limit:g} deg" for limit in limits]),
            "swivel_range": "unlimited",
            "tilt_marks": "none",
            "swivel_marks": "none",
        }.get(key)

    def _problems(self) -> Iterator[Problem]:
        forms = {"facing": FACING, "tilt": TILT}
        for key in NEEDED_BY_KIND.get(self.kind, ()):
            if not self.given(key):
                yield Problem(
                    key=key, problem=f'this key is missing: kind = "{self.kind}" needs it', allowed=forms[key].allowed
                )
        for key in frozenset.union(*KEYS_OF_KIND.values()) - KEYS_OF_KIND[self.kind]:
            if self.given(key):
                kinds = [f'"{kind}"' for kind, keys in KEYS_OF_KIND.items() if key in keys]
                yield Problem(
                    key=key,
                    problem=f'kind = "{self.kind}" makes no use of this key',
                    allowed=f"leave it out, or write kind = {listed(kinds, 'or')}",
                )
        if self.kind != "fixed" and not (self.kind == "tilt" and self.facing is None):
            yield from self._marks_out_of_reach()

    def _marks_out_of_reach(self) -> Iterator[Problem]:
        mount = self.mount(latitude=0.0)
        low, high = mount.tilt_limits
        marks = self.tilt_marks
        if isinstance(marks, tuple):
            outside = [f"{mark:g} deg" for mark in marks if not low <= mark <= high]
        else:
            outside = [] if marks is None or marked_tilts(mount, marks) else [f"each multiple of {marks:g} deg"]
        if outside:
            yield Problem(
                key="tilt_marks",
                problem=f"{listed(outside)} cannot be reached",
                allowed=f"marks within tilt_range, {low:g} deg to {high:g} deg",
            )
        # A dial may well be marked all around where the swivel is not free to turn all the way.
        if self.swivel_marks is not None and mount.swivel_limits is not None and not marked_swivels(mount, 1.0):
            low, high = mount.swivel_limits
            yield Problem(
                key="swivel_marks",
                problem="none of the marks can be reached",
                allowed=f"marks within swivel_range, {low:g} deg to {high:g} deg, whole turns aside",
            )

    def _notes(self) -> Iterator[str]:
        if self.kind == "tilt" and self.tilt_range is None:
            yield (
                f"mount.tilt_range is left at its default, {DEFAULT_TILT_RANGE[0]:g} to {DEFAULT_TILT_RANGE[1]:g} deg: "
                "the lens does not lean to the side away from its facing. The range may start below 0."
            )

    def mount(self, latitude: float) -> Mount:
        """The mount of these keys at a latitude [deg]."""
        return Mount(
            kind=self.kind,
            grooves=self.grooves,
            row_turns_with=self.row_turns_with,
            facing=self.facing,
            tilt=self.tilt,
            tilt_range=self.tilt_range,
            swivel_range=self.swivel_range,
            tilt_marks=self.tilt_marks,
            swivel_marks=self.swivel_marks,
            latitude=latitude,
        )
